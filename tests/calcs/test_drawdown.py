"""What a drawdown tells of its bank, what it can't tell, and which readings are refused."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calcs.accumulators import Bank, pressure_after
from calcs.drawdown import DrawdownTest, Nameplate, Reading, fit_drawdown, precharge_from_drawdown
from calcs.drawdown_diagnosis import Pattern
from calcs.drawdown_words import WHAT_WOULD_SETTLE_IT, beside_gauges, explanation, verdict, warnings
from calcs.errors import InputError
from calcs.gas import Model, absolute, gauge, packing, unpacked
from calcs.surface import calculate
from calcs.units import GaugePressure

PSI, GALLON, FIFTEEN = 6894.757293168361, 0.003785411784, 288.15
NAMEPLATE = Nameplate(10 * GALLON, 12, GaugePressure(1000 * PSI))
SETTLED, COLD, IDEAL = Model.NITROGEN_ISOTHERMAL, Model.NITROGEN_ISENTROPIC, Model.BOYLE
STEPS = (0, 8, 16, 24, 32, 40, 48)


def healthy(gallons: float, model: Model = SETTLED, count: float = 12, precharge_psi: float = 1000) -> float:
    """Pressure in psi of a bank after so many gallons, by the gas itself."""
    held = packing(model, GaugePressure(precharge_psi * PSI), FIFTEEN) * count * 10
    start = packing(model, GaugePressure(3000 * PSI), FIFTEEN)
    return unpacked(model, held / (held / start + gallons), FIFTEEN) / PSI


def drawdown_of(
    readings: dict[float, float], model: Model = SETTLED, accuracy_psi: float | None = None
) -> DrawdownTest:
    points = tuple(Reading(volume * GALLON, GaugePressure(psi * PSI)) for volume, psi in readings.items())
    return DrawdownTest(points, NAMEPLATE, model, FIFTEEN, None if accuracy_psi is None else accuracy_psi * PSI)


def noisy(readings: dict[float, float], seed: int, noise_psi: float = 8) -> dict[float, float]:
    scatter = np.random.default_rng(seed).normal(0, noise_psi, len(readings))
    return {volume: psi + off for (volume, psi), off in zip(readings.items(), scatter, strict=True)}


def document(**changes: Any) -> dict[str, Any]:
    points = [{"withdrawn": f"{each} gal", "pressure": f"{healthy(each)} psi"} for each in STEPS]
    nameplate = {"bottle_volume": "10 gal", "count": 12, "precharge": "1000 psi"}
    return {"points": points, "nameplate": nameplate, "model": "nitrogen-isothermal", **changes}


def refused(**changes: Any) -> InputError:
    with pytest.raises(InputError) as caught:
        calculate("drawdown-fit", document(**changes))
    return caught.value


# Precharge from one drawdown


@pytest.mark.parametrize("model", Model)
@settings(deadline=None)  # the first question of all loads the equation of state
@given(precharge_psi=st.floats(300, 2000), fall=st.floats(0.05, 0.95), temperature=st.floats(260, 330))
def test_a_bank_gives_its_own_precharge_back(model: Model, precharge_psi: float, fall: float, temperature: float):
    charged = GaugePressure(3000 * PSI)
    bank = Bank(10 * GALLON, GaugePressure(precharge_psi * PSI), model, count=12, temperature=temperature)
    stored = 1 - packing(model, bank.precharge, temperature) / packing(model, charged, temperature)
    # As much as there is in the bottles; cold gas in them is far from liquid here.
    drawn = fall * stored * 120 * GALLON * (0.6 if model is COLD else 1)
    end = pressure_after(bank, charged, drawn).pressure
    found = precharge_from_drawdown(120 * GALLON, charged, end, drawn, model, temperature)
    assert found.precharge == pytest.approx(bank.precharge, rel=1e-6)


def test_the_hand_sum_is_marked_and_stands_beside_the_real_gas():
    asked = {"total_volume": "180 gal", "start": "3000 psi", "end": "2200 psi", "withdrawn": "20 gal"}
    answer = calculate("precharge-from-drawdown", asked)
    assert answer["model"] == "boyle-gauge"
    assert answer["by_model"].keys() == {model.value for model in Model}
    assert answer["by_model"]["nitrogen-isothermal"]["value"] > answer["precharge"]["value"]
    assert any("hand sum" in remark for remark in answer["remarks"])
    assert any("reads low on a healthy bank" in remark for remark in answer["remarks"])


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"withdrawn": "0 gal"}, "withdrawn"),
        ({"withdrawn": "-5 gal"}, "withdrawn"),
        ({"withdrawn": "180 gal"}, "withdrawn"),
        ({"withdrawn": "120 gal"}, "withdrawn"),
        ({"total_volume": "0 gal"}, "total_volume"),
        ({"end": "3000 psi"}, "end"),
        ({"end": "0 psi"}, "end"),
        ({"end": "2200 psia"}, "end"),
        ({"start": "20000 psi"}, "start"),
        ({"temperature": "-300 degF"}, "temperature"),
        ({"model": "adiabatic"}, "model"),
        ({"start": float("nan")}, "start"),
    ],
)
def test_one_drawdown_that_cannot_be_is_refused_by_field(changes: dict[str, Any], field: str):
    asked = {"total_volume": "180 gal", "start": "3000 psi", "end": "2200 psi", "withdrawn": "20 gal", **changes}
    with pytest.raises(InputError) as caught:
        calculate("precharge-from-drawdown", asked)
    assert caught.value.field == field
    assert caught.value.remedy


# The curve: one number of the bank


@pytest.mark.parametrize("model", [SETTLED, IDEAL])
def test_trap_a_bottle_lost_and_precharge_low_by_as_much_read_the_same(model: Model):
    lost = {each: healthy(each, model, count=11) for each in STEPS}
    held = packing(model, NAMEPLATE.precharge, FIFTEEN) * 11 / 12
    low_psi = unpacked(model, held, FIFTEEN) / PSI
    low = {each: healthy(each, model, precharge_psi=low_psi) for each in STEPS}
    by_bottles, by_precharge = (fit_drawdown(drawdown_of(each, model)) for each in (lost, low))
    for found in (by_bottles, by_precharge):
        assert found.bottles_if_precharge_right.value == pytest.approx(11, rel=1e-4)
        assert found.precharge_if_all_bottles.value == pytest.approx(low_psi * PSI, rel=1e-4)
        assert not found.told_apart
        assert verdict(found) == "charge-low"
        said = explanation(found, "us")
        assert "11.0 bottles of 12" in said
        assert f"{low_psi:,.0f} psi" in said
        assert WHAT_WOULD_SETTLE_IT in said


def test_a_healthy_bank_is_as_its_nameplate():
    found = fit_drawdown(drawdown_of(noisy({each: healthy(each) for each in STEPS}, seed=2)))
    assert verdict(found) == "as-nameplate"
    assert "no evidence of a fault" in explanation(found, "us")


def test_an_extra_bottle_is_charge_high():
    found = fit_drawdown(drawdown_of({each: healthy(each, count=13.5) for each in STEPS}))
    assert verdict(found) == "charge-high"
    assert "pump ran" in explanation(found, "us")


def test_few_rough_readings_say_that_they_would_not_show_a_lost_bottle():
    found = fit_drawdown(drawdown_of(noisy({each: healthy(each) for each in (0, 10, 20)}, seed=5, noise_psi=20)))
    assert "one bottle of 12" in explanation(found, "us")


def test_gauges_on_every_bottle_part_bottles_shut_off_from_a_low_precharge():
    ten = fit_drawdown(drawdown_of({each: healthy(each, count=10) for each in STEPS}))
    assert "as if 2.0 of them gave nothing" in beside_gauges(ten, 1.0, 12)
    assert beside_gauges(ten, 10 / 12, 12).endswith("the drawdown bears that out.")
    assert "a pump ran" in beside_gauges(ten, 0.75, 12)


def test_few_rough_readings_bear_nothing_out():
    found = fit_drawdown(drawdown_of(noisy({each: healthy(each) for each in (0, 10, 20)}, seed=5, noise_psi=20)))
    assert beside_gauges(found, 1.0, 12).endswith("the drawdown does not speak against it.")


def test_the_interval_says_that_it_takes_the_volumes_as_exact():
    found = fit_drawdown(drawdown_of({each: healthy(each) for each in STEPS}))
    assert any("volumes as exact" in each for each in warnings(found))


def test_every_model_stands_beside_the_one_asked_for():
    answer = calculate("drawdown-fit", document(temperature="15 degC"))
    assert answer["by_model"].keys() == {model.value for model in Model}
    assert answer["by_model"]["boyle"]["gas_charge_ratio"] < 0.97
    assert any("at once" in each for each in answer["warnings"])


def test_pressures_are_explained_in_the_units_asked_for():
    said = calculate(
        "drawdown-fit",
        document(units="si", nameplate={"bottle_volume": "10 gal", "count": 14, "precharge": "1000 psi"}),
    )["explanation"]
    assert "kPa" in said
    assert "psi" not in said


# The kink: where bottles run empty


def emptied(precharge_psi: float, count: int, last: float = 0.0) -> dict[float, float]:
    """A bleed-down of settled gas to where the bottles have nothing left."""
    volumes = [0, 10, 20, 30, 40, 50, 60, 65, 70, 75, 80, 85]
    curve = {each: healthy(each, count=count, precharge_psi=precharge_psi) for each in volumes}
    given = {volume: psi for volume, psi in curve.items() if psi >= precharge_psi}
    gone = next(volume for volume, psi in curve.items() if psi < precharge_psi)
    return {**given, gone: last}


@pytest.mark.parametrize(("precharge_psi", "count"), [(1000, 12), (1000, 11), (900, 12), (880, 11)])
def test_a_bleed_down_to_empty_tells_bottles_from_precharge(precharge_psi: int, count: int):
    found = fit_drawdown(drawdown_of(noisy(emptied(precharge_psi, count), seed=4, noise_psi=2) | {}))
    assert found.told_apart
    assert found.kink is not None
    assert found.kink.all_emptied
    assert found.kink.precharge.low <= precharge_psi * PSI <= found.kink.precharge.high
    assert found.kink.bottles.low <= count <= found.kink.bottles.high
    assert "parts bottles from precharge" in explanation(found, "us")
    assert WHAT_WOULD_SETTLE_IT not in explanation(found, "us")


HELD = [packing(SETTLED, GaugePressure(psi * PSI), FIFTEEN) for psi in (1000, 700)]
BEGUN = packing(SETTLED, GaugePressure(3000 * PSI), FIFTEEN)
ALL, FOUR = 80 * HELD[0] + 40 * HELD[1], 40 * HELD[1]
KNEE = ALL * (1 / HELD[0] - 1 / BEGUN)


def two_groups(gallons: float) -> float:
    """Eight bottles at 1,000 psi and four at 700 psi: the eight run empty first, the four go on alone."""
    if gallons <= KNEE:
        return unpacked(SETTLED, ALL / (ALL / BEGUN + gallons), FIFTEEN) / PSI
    alone = FOUR / (FOUR / HELD[0] + gallons - KNEE)
    return unpacked(SETTLED, alone, FIFTEEN) / PSI if alone >= HELD[1] else 0.0


def test_a_group_of_bottles_running_empty_is_counted():
    volumes = [0, 15, 30, 40, 50, 60, 65, KNEE - 1.5, KNEE + 1.5, KNEE + 4, KNEE + 7]
    found = fit_drawdown(drawdown_of({each: two_groups(each) for each in volumes}))
    assert found.kink is not None
    assert not found.kink.all_emptied
    assert "a group of bottles" in explanation(found, "us")
    assert found.kink.precharge.value == pytest.approx(1000 * PSI, rel=2e-3)
    assert found.kink.bottles.value == pytest.approx(8, abs=0.1)


def test_a_coarse_bleed_down_brackets_the_bottles_and_asks_for_smaller_steps():
    coarse = {each: healthy(each, count=11) for each in (0, 30, 60)} | {85: 0.0}
    found = fit_drawdown(drawdown_of(coarse))
    assert found.kink is not None
    assert found.kink.bottles.low <= 11 <= found.kink.bottles.high
    assert "Smaller steps" in explanation(found, "us")


def test_one_reading_between_two_groups_running_empty_brackets_the_first():
    curve = {each: two_groups(each) for each in range(0, 91, 10)}
    assert [each > 0 for each in curve.values()] == [True] * 9 + [False]
    found = fit_drawdown(drawdown_of(curve))
    assert found.kink is not None
    assert not found.kink.all_emptied
    assert found.kink.bottles.low < 8 < found.kink.bottles.high


def test_a_smooth_curve_below_the_nameplates_precharge_tells_nothing_apart_but_is_remarked():
    low = {each: healthy(each, precharge_psi=700) for each in (0, 10, 20, 30, 40, 50, 60)}
    assert min(low.values()) < 1000
    found = fit_drawdown(drawdown_of(low))
    assert not found.told_apart
    assert found.below_nameplate
    assert "Fluid still came" in explanation(found, "us")


def test_fluid_lost_at_one_step_is_no_kink():
    lost = {each: healthy(each + (12 if each >= 32 else 0)) for each in STEPS}
    found = fit_drawdown(drawdown_of(lost))
    assert not found.told_apart
    assert found.lack_of_fit is not None
    assert found.lack_of_fit.pattern is Pattern.STEP_DOWN
    assert found.lack_of_fit.point == STEPS.index(32)


def test_more_bottles_than_there_are_can_not_have_run_empty():
    # A sudden fall far above what any precharge of twelve bottles allows: not read as their running empty.
    found = fit_drawdown(drawdown_of({**{each: healthy(each, count=24) for each in STEPS}, 56: 5.0}))
    assert not found.told_apart


# Points off their curve


def drifting(per_step: float) -> dict[float, float]:
    """Fluid lost, or won, more and more with every step."""
    return {each: healthy(each + per_step * index**2) for index, each in enumerate(STEPS)}


def test_a_growing_leak_shows_as_a_curve_that_falls_faster():
    found = fit_drawdown(drawdown_of(noisy(drifting(0.4), seed=1, noise_psi=1)))
    assert found.lack_of_fit is not None
    assert found.lack_of_fit.pattern is Pattern.FALLS_FASTER
    assert any("leak" in each for each in warnings(found))


def test_a_pump_running_or_gas_re_warming_shows_as_a_curve_that_falls_more_slowly():
    found = fit_drawdown(drawdown_of(noisy(drifting(-0.3), seed=1, noise_psi=1)))
    assert found.lack_of_fit is not None
    assert found.lack_of_fit.pattern is Pattern.FALLS_SLOWER
    assert any("pump" in each and "re-warming" in each for each in warnings(found))


def test_a_pump_that_started_once_shows_as_a_step():
    won = {each: healthy(each - (7 if each >= 24 else 0)) for each in STEPS}
    found = fit_drawdown(drawdown_of(noisy(won, seed=3, noise_psi=1)))
    assert found.lack_of_fit is not None
    assert found.lack_of_fit.pattern is Pattern.STEP_UP
    assert "From reading 4 on" in " ".join(warnings(found))


def test_readings_rougher_than_the_stated_accuracy_widen_the_interval():
    rough = noisy({each: healthy(each) for each in STEPS}, seed=8, noise_psi=30)
    trusted, belied = (
        fit_drawdown(drawdown_of(rough, accuracy_psi=30)),
        fit_drawdown(drawdown_of(rough, accuracy_psi=3)),
    )
    assert trusted.lack_of_fit is None
    assert belied.lack_of_fit is not None
    width = [found.gas_charge_ratio.high - found.gas_charge_ratio.low for found in (trusted, belied)]
    assert width[1] > width[0] / 3


def test_healthy_banks_are_seldom_called_anything_else():
    alarms, kinks = 0, 0
    for seed in range(60):
        found = fit_drawdown(drawdown_of(noisy({each: healthy(each) for each in STEPS}, seed=seed)))
        alarms += found.lack_of_fit is not None
        kinks += found.told_apart
    assert kinks == 0
    assert alarms <= 4


def test_the_same_readings_in_other_units_have_the_same_answer():
    metric = document()
    metric["points"] = [
        {"withdrawn": f"{each * GALLON * 1000} L", "pressure": f"{healthy(each) * PSI / 1e5} bar"} for each in STEPS
    ]
    ratios = [calculate("drawdown-fit", each)["gas_charge_ratio"]["value"] for each in (document(), metric)]
    assert ratios[0] == pytest.approx(ratios[1], rel=1e-8)


# Refusals


def point(gallons: str, psi: str) -> dict[str, str]:
    return {"withdrawn": gallons, "pressure": psi}


FIRST = point("0 gal", "3000 psi")
GOOD = [FIRST, point("20 gal", "1955 psi"), point("40 gal", "1462 psi")]


@pytest.mark.parametrize(
    ("points", "field"),
    [
        ([], "points"),
        ([FIRST], "points"),
        (GOOD[:2], "points"),
        ([point("1 gal", "3000 psi"), *GOOD[1:]], "points.0.withdrawn"),
        ([*GOOD[:2], point("40 gal", "1956 psi")], "points.2.pressure"),
        ([*GOOD[:2], point("20 gal", "1900 psi")], "points.2.withdrawn"),
        ([*GOOD[:2], point("-40 gal", "1462 psi")], "points.2.withdrawn"),
        ([*GOOD[:2], point("40 gal", "-1 psi")], "points.2.pressure"),
        ([*GOOD[:2], point("40 gal", "NaN psi")], "points.2.pressure"),
        ([*GOOD[:2], point("40 gal", "1462 psia")], "points.2.pressure"),
        ([*GOOD[:2], point("40", "1462 psi")], "points.2.withdrawn"),
        ([*GOOD[:2], {"withdrawn": "40 gal"}], "points.2.pressure"),
        ([FIRST, point("1 gal", "3000 psi"), point("2 gal", "3000 psi")], "points.2.pressure"),
        ([FIRST] + [point(f"{each} gal", "2000 psi") for each in range(1, 1001)], "points"),
        ("three", "points"),
    ],
)
def test_readings_that_are_no_drawdown_are_refused_by_field(points: Any, field: str):
    error = refused(points=points)
    assert error.field == field
    assert error.remedy


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"bottle_volume": "0 gal"}, "nameplate.bottle_volume"),
        ({"bottle_volume": "-10 gal"}, "nameplate.bottle_volume"),
        ({"count": 0}, "nameplate.count"),
        ({"count": 1.5}, "nameplate.count"),
        ({"count": math.inf}, "nameplate.count"),
        ({"count": True}, "nameplate.count"),
        ({"count": "12"}, "nameplate.count"),
        ({"precharge": "3000 psi"}, "nameplate.precharge"),
        ({"precharge": "0 psi"}, "nameplate.precharge"),
    ],
)
def test_a_nameplate_that_cannot_be_is_refused_by_field(changes: dict[str, Any], field: str):
    error = refused(nameplate={"bottle_volume": "10 gal", "count": 12, "precharge": "1000 psi", **changes})
    assert error.field == field
    assert error.remedy


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"model": "adiabatic"}, "model"),
        ({"model": None}, "model"),
        ({"temperature": "-350 degF"}, "temperature"),
        ({"pressure_accuracy": "0 psi"}, "pressure_accuracy"),
        ({"pressure_accuracy": "-8 psi"}, "pressure_accuracy"),
    ],
)
def test_a_question_that_cannot_be_is_refused_by_field(changes: dict[str, Any], field: str):
    assert refused(**changes).field == field


def test_a_rise_within_the_stated_accuracy_is_no_rise():
    points = [*GOOD, point("42 gal", "1464 psi")]
    assert refused(points=points).field == "points.3.pressure"
    answer = calculate("drawdown-fit", document(points=points, pressure_accuracy="8 psi"))
    assert answer["gas_charge_ratio"]["value"] == pytest.approx(1, abs=0.05)
    assert any("one standard deviation" in each for each in answer["warnings"])


def test_readings_at_which_cold_nitrogen_would_be_liquid_are_refused():
    points = [FIRST, point("40 gal", "900 psi"), point("120 gal", "300 psi"), point("900 gal", "40 psi")]
    error = refused(points=points, model="nitrogen-isentropic")
    assert error.field == "points.3.pressure"
    assert "nitrogen-isothermal" in error.remedy


@settings(deadline=None)
@given(
    readings=st.lists(st.tuples(st.floats(0.1, 50), st.floats(0, 1)), min_size=2, max_size=6),
    model=st.sampled_from(Model),
    accuracy=st.none() | st.floats(0.01, 500),
)
def test_any_falling_readings_have_an_answer_or_a_reason(
    readings: list[tuple[float, float]], model: Model, accuracy: float | None
):
    volumes = np.cumsum([0, *(each for each, _ in readings)])
    pressures = 3000 * np.cumprod([1, *(share for _, share in readings)])
    assume(np.all(np.diff(volumes) > 0))
    readings_made = dict(zip(volumes.tolist(), pressures.tolist(), strict=True))
    try:
        found = fit_drawdown(drawdown_of(readings_made, model, accuracy))
    except InputError as error:
        found = error
    if isinstance(found, InputError):
        assert found.field.startswith("points")
        assert found.remedy
        return
    ratio = found.gas_charge_ratio
    assert 0 < ratio.low <= ratio.value
    assert ratio.high is None or ratio.high >= ratio.value
    assert explanation(found, "us")


def test_the_nameplates_gas_and_the_precharge_answer_are_two_sides_of_one_figure():
    found = fit_drawdown(drawdown_of({each: healthy(each, IDEAL, count=9) for each in STEPS}, IDEAL))
    expected = gauge(absolute(NAMEPLATE.precharge) * found.gas_charge_ratio.value)
    assert found.precharge_if_all_bottles.value == pytest.approx(expected, rel=1e-9)
    assert found.bottles_if_precharge_right.value == pytest.approx(12 * found.gas_charge_ratio.value, rel=1e-9)
