"""How many bottles, and which precharge: both limits, the sequence beside them, the best and its curve."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.accumulators import Bank, usable_volume
from calcs.errors import InputError
from calcs.gas import Model
from calcs.sizing import Demand, best_precharge, bottles_required, volumetric_efficiency
from calcs.surface import calculate
from calcs.units import Dimension, GaugePressure, to_si

PSI = to_si(1, "psi", Dimension.PRESSURE)
GALLON = to_si(1, "gal", Dimension.VOLUME)
MODELS = pytest.mark.parametrize("model", list(Model))
BANK = {"bottle_volume": "10 gal", "precharge": "1000 psi", "charged": "3000 psi", "model": "boyle-gauge"}
EFFICIENCY = {**BANK, "minimum": "1200 psi", "pressure_factor": 1.0, "volume_factor": 1.5}
BOTTLES = {**EFFICIENCY, "functional_volume": "60 gal"}
BEST = {**BANK, "minimum": "1200 psi", "temperature": "15 degC"}


def psi(value: float) -> GaugePressure:
    return GaugePressure(value * PSI)


def bank_of(model: Model, precharge: float = 1000) -> Bank:
    return Bank(10 * GALLON, psi(precharge), model, temperature=288.15)


def refused(name: str, document: dict[str, Any], **changes: Any) -> InputError:
    with pytest.raises(InputError) as caught:
        calculate(name, {key: value for key, value in {**document, **changes}.items() if value is not None})
    return caught.value


# Both limits.


def test_a_low_precharge_is_limited_by_pressure_and_a_high_one_by_volume():
    low, high = (
        calculate("volumetric-efficiency", {**EFFICIENCY, "precharge": one}) for one in ("700 psi", "1100 psi")
    )
    assert low["governs"] == "pressure"
    assert high["governs"] == "volume"
    # 700/1200 − 700/3000 = 0.35; (1 − 1100/3000)/1.5 = 0.4222.
    assert low["volumetric_efficiency"] == low["pressure_limited"] == pytest.approx(0.35)
    assert high["volumetric_efficiency"] == high["volume_limited"] == pytest.approx(0.42222, abs=1e-5)


def test_trap_the_factors_are_not_interchangeable_and_each_is_written_in_the_working():
    swapped = calculate("volumetric-efficiency", {**EFFICIENCY, "pressure_factor": 1.5, "volume_factor": 1.0})
    given_ = calculate("volumetric-efficiency", EFFICIENCY)
    assert swapped["volumetric_efficiency"] == pytest.approx(0.5 / 1.5)
    assert given_["volumetric_efficiency"] == pytest.approx((1 - 1 / 3) / 1.5)
    assert any("factor 1.5" in line for line in given_["working"])
    assert any("factor 1 " in line for line in given_["working"])


@pytest.mark.parametrize("name", ["volumetric-efficiency", "bottles-required"])
@pytest.mark.parametrize("factor", ["pressure_factor", "volume_factor"])
def test_trap_no_factor_has_a_silent_default(name: str, factor: str):
    error = refused(name, {**BOTTLES} if name == "bottles-required" else {**EFFICIENCY}, **{factor: None})
    assert error.field == factor
    assert "not confirmed" in error.reason
    assert "edition" in error.remedy


@pytest.mark.parametrize("name", ["volumetric-efficiency", "bottles-required"])
def test_every_answer_says_that_the_factors_are_the_readers_own(name: str):
    document = BOTTLES if name == "bottles-required" else EFFICIENCY
    assert any("not confirmed to us" in caution for caution in calculate(name, document)["cautions"])


@MODELS
@given(
    st.floats(min_value=300, max_value=2900), st.floats(min_value=1, max_value=2), st.floats(min_value=1, max_value=2)
)
@settings(max_examples=15, deadline=None)
def test_no_precharge_beats_the_optimum(model: Model, precharge: float, pressure_factor: float, volume_factor: float):
    factors = (pressure_factor, volume_factor)
    found = volumetric_efficiency(bank_of(model, precharge), psi(3000), psi(1200), *factors)
    at_best = volumetric_efficiency(bank_of(model, found.optimum_precharge / PSI), psi(3000), psi(1200), *factors)
    assert found.efficiency <= at_best.efficiency * (1 + 1e-9)


# Counting bottles.


def test_bottles_are_rounded_up_to_whole_ones():
    found = calculate("bottles-required", BOTTLES)
    # 60/(10 · 0.4444) = 13.5.
    assert found["exact"] == pytest.approx(13.5)
    assert found["bottles"] == 14
    assert found["governs"] == "volume"


def test_trap_five_bottles_and_the_noise_of_the_sum_are_five():
    exact = bottles_required(bank_of(Model.BOYLE_GAUGE), psi(3000), psi(1200), 25.0000005 * GALLON, (1.0, 1.0))
    assert 5 < exact.exact < 5.000_001
    assert exact.bottles == 5
    more = bottles_required(bank_of(Model.BOYLE_GAUGE), psi(3000), psi(1200), 25.001 * GALLON, (1.0, 1.0))
    assert more.bottles == 6


@MODELS
@given(st.floats(min_value=1, max_value=500))
@settings(max_examples=15, deadline=None)
def test_the_bottles_give_the_volume_and_one_fewer_does_not(model: Model, gallons: float):
    found = bottles_required(bank_of(model), psi(3000), psi(1200), gallons * GALLON, (1.0, 1.0))
    one = usable_volume(bank_of(model), psi(3000), psi(1200)).per_bottle / GALLON
    assert found.bottles * one >= gallons * (1 - 1e-6)
    assert (found.bottles - 1) * one < gallons


def test_the_other_models_stand_beside_the_count():
    beside = {name: one["bottles"] for name, one in calculate("bottles-required", BOTTLES)["beside"].items()}
    assert beside.keys() == {one.value for one in Model}
    assert beside["nitrogen-isentropic"] > beside["nitrogen-isothermal"] >= beside["boyle"]


def test_trap_a_sum_at_the_last_minimum_leaves_an_earlier_function_short():
    functions = [
        {"name": "annular", "volume": "30 gal", "minimum_pressure": "2000 psi"},
        {"name": "pipe ram", "volume": "10 gal", "minimum_pressure": "1200 psi"},
    ]
    document = {**BOTTLES, "functional_volume": None, "volume_factor": 1.0, "functions": functions}
    found = calculate("bottles-required", {key: value for key, value in document.items() if value is not None})
    # 40 gal at 5 gal a bottle are 8; but 30 gal down to 2,000 psi take 30/(5 − 3.333) = 18.
    assert found["bottles"] == 8
    assert found["sequence"]["passes"] is False
    assert found["sequence"]["steps"][0]["minimum_met"] is False
    assert found["bottles_for_sequence"] == 18
    assert any("earlier function" in caution for caution in found["cautions"])


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"functional_volume": None}, "functional_volume"),
        ({"functional_volume": "-60 gal"}, "functional_volume"),
        ({"functional_volume": "0 gal"}, "functional_volume"),
        ({"functional_volume": "900000 gal"}, "functional_volume"),
        ({"pressure_factor": 0}, "pressure_factor"),
        ({"pressure_factor": 0.9}, "pressure_factor"),
        ({"volume_factor": "nan"}, "volume_factor"),
        ({"volume_factor": 100}, "volume_factor"),
        ({"minimum": "3000 psi"}, "minimum"),
        ({"minimum": "3500 psi"}, "minimum"),
        ({"minimum": "0 psi"}, "minimum"),
        ({"precharge": "3000 psi"}, "precharge"),
        ({"functions": [{"name": "ram", "volume": "1 gal"}] * 10_000}, "functions"),
    ],
)
def test_a_sizing_out_of_range_is_refused_by_name(changes: dict[str, Any], field: str):
    assert refused("bottles-required", BOTTLES, **changes).field == field


# The best precharge.


@pytest.mark.parametrize("model", ["boyle", "boyle-gauge", "nitrogen-isothermal"])
def test_settled_gas_gives_most_when_precharged_to_the_minimum(model: str):
    found = calculate("best-precharge", {**BEST, "model": model})
    assert found["precharge"]["value"] == pytest.approx(1200)


def test_gas_let_out_at_once_gives_most_when_precharged_over_the_minimum_and_is_cautioned():
    found = calculate("best-precharge", {**BEST, "model": "nitrogen-isentropic"})
    assert found["precharge"]["value"] > 1500
    assert any("over the minimum pressure" in caution for caution in found["cautions"])
    assert found["beside"]["boyle"]["precharge"]["value"] == pytest.approx(1200)


@MODELS
def test_no_point_of_the_curve_is_over_the_best_and_the_curve_is_what_the_bank_gives(model: Model):
    found = best_precharge(bank_of(model), psi(3000), [Demand(psi(1200))])
    assert max(point.usable for point in found.curve) == pytest.approx(found.usable)
    assert len(found.curve) > 20
    assert [point.precharge for point in found.curve] == sorted(point.precharge for point in found.curve)
    for point in found.curve[::6]:
        bank = bank_of(model, point.precharge / PSI)
        assert usable_volume(bank, psi(3000), psi(1200)).total == pytest.approx(point.usable, rel=1e-6)
    assert found.now.usable == pytest.approx(usable_volume(bank_of(model), psi(3000), psi(1200)).total)


def test_several_minimums_are_weighed_by_how_many_times_each_is_covered():
    functions = [
        {"name": "annular", "volume": "3 gal", "minimum_pressure": "2000 psi"},
        {"name": "pipe ram", "volume": "1 gal", "minimum_pressure": "1200 psi"},
    ]
    document = {key: value for key, value in BEST.items() if key != "minimum"}
    found = calculate("best-precharge", {**document, "functions": functions})
    # Annular: x/2000 − x/3000 of 10 gal over 3; ram: 1 − x/3000 of 10 gal over 4 past 1,200. They meet where
    # (10/3)·x/6000 = (10/4)·(1 − x/3000), at 1,800 psi: covered once over.
    assert found["precharge"]["value"] == pytest.approx(1800)
    assert found["times_covered"] == pytest.approx(1.0)
    assert found["now"]["times_covered"] < 1.0


def test_a_precharge_is_not_asked_for_where_the_best_is_sought():
    without = {key: value for key, value in BEST.items() if key != "precharge"}
    found = calculate("best-precharge", without)
    assert found["now"] is None
    assert found["precharge"] == calculate("best-precharge", BEST)["precharge"]


@pytest.mark.parametrize("basis", ["above-hydrostatic", "as-set"])
def test_the_best_of_a_subsea_bank_is_counted_as_its_precharge_is(basis: str):
    deep = {**BEST, "model": "nitrogen-isothermal", "depth": "5000 ft", "precharge_basis": basis}
    deep |= {"precharge": "2500 psi"}
    found = calculate("best-precharge", deep)
    again = calculate("best-precharge", {**deep, "precharge": found["precharge"]})
    assert again["now"]["usable"]["value"] == pytest.approx(found["usable"]["value"], rel=1e-9)
    expected = 1200 if basis == "above-hydrostatic" else 1200 + 0.445 * 5000
    assert found["precharge"]["value"] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"minimum": None}, "minimum"),
        ({"minimum": "3000 psi"}, "minimum"),
        ({"minimum": "4000 psi"}, "minimum"),
        ({"minimum": "-1 psi"}, "minimum"),
        ({"charged": "0 psi"}, "charged"),
        ({"charged": "-5 psi", "precharge": None}, "charged"),
        ({"charged": "20000 psi", "precharge": None}, "charged"),
        ({"charged": "50000 psi", "precharge": None}, "charged"),
        ({"functions": [{"name": "ram", "volume": "1 gal"}], "minimum": None}, "functions.0.minimum_pressure"),
        ({"functions": []}, "functions"),
    ],
)
@MODELS
def test_a_best_that_cannot_be_sought_is_refused_by_name(model: Model, changes: dict[str, Any], field: str):
    assert refused("best-precharge", {**BEST, "model": model.value}, **changes).field == field
