"""Banks of bottles: what they give, what is left, and what no sum may pretend."""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.accumulators import Bank, PrechargeBasis, precharge_at_temperature, pressure_after, usable_volume
from calcs.errors import InputError
from calcs.gas import Model
from calcs.surface import calculate
from calcs.units import Dimension, GaugePressure, to_si

PSI = to_si(1, "psi", Dimension.PRESSURE)
GALLON = to_si(1, "gal", Dimension.VOLUME)
FOOT = to_si(1, "ft", Dimension.LENGTH)
MODELS = pytest.mark.parametrize("model", list(Model))
BANK = {"bottle_volume": "10 gal", "precharge": "1000 psi", "charged": "3000 psi", "model": "boyle"}
USABLE = {**BANK, "minimum": "1200 psi"}


def psi(value: float) -> GaugePressure:
    return GaugePressure(value * PSI)


def bank_of(model: Model, **changes: Any) -> Bank:
    given_ = {"bottle_volume": 10 * GALLON, "precharge": psi(1000), "model": model, "temperature": 288.15}
    return Bank(**{**given_, **changes})


def refused(name: str, document: dict[str, Any], **changes: Any) -> InputError:
    with pytest.raises(InputError) as caught:
        calculate(name, {**document, **changes})
    return caught.value


# Laws.


@MODELS
@given(st.floats(min_value=1, max_value=76), st.integers(min_value=1, max_value=40))
@settings(max_examples=20, deadline=None)
def test_what_is_drawn_down_to_a_pressure_is_what_is_usable_to_it(model: Model, share: float, count: int):
    bank = bank_of(model, count=count)
    most = usable_volume(bank, psi(3000), psi(0)).stored
    withdrawn = most * share / 100
    pressure = pressure_after(bank, psi(3000), withdrawn).pressure
    assert usable_volume(bank, psi(3000), pressure).total == pytest.approx(withdrawn, rel=1e-6)


@MODELS
@given(st.integers(min_value=1, max_value=10_000))
@settings(max_examples=10, deadline=None)
def test_a_bank_gives_its_bottles_times_one(model: Model, count: int):
    one, bank = (usable_volume(bank_of(model, count=number), psi(3000), psi(1200)) for number in (1, count))
    assert bank.per_bottle == pytest.approx(one.per_bottle)
    assert bank.total == pytest.approx(count * one.total)


@MODELS
@given(st.floats(min_value=1001, max_value=2999), st.floats(min_value=1001, max_value=2999))
@settings(max_examples=20, deadline=None)
def test_a_lower_minimum_never_gives_less(model: Model, one: float, other: float):
    low, high = sorted((one, other))
    bank = bank_of(model)
    assert usable_volume(bank, psi(3000), psi(low)).total >= usable_volume(bank, psi(3000), psi(high)).total - 1e-15


@given(st.floats(min_value=800, max_value=2500), st.floats(min_value=0, max_value=8000))
@settings(max_examples=30, deadline=None)
def test_cold_gives_no_more_than_settled_and_the_hand_sum_is_not_the_least(precharge: float, depth: float):
    bank = bank_of(Model.NITROGEN_ISENTROPIC, precharge=psi(precharge), depth=depth * FOOT)
    beside = {one.model: one.per_bottle for one in usable_volume(bank, psi(3000), psi(2600)).beside}
    cold, settled = beside[Model.NITROGEN_ISENTROPIC], beside[Model.NITROGEN_ISOTHERMAL]
    assert cold is not None
    assert settled is not None
    assert cold <= settled * (1 + 1e-9)


@MODELS
def test_the_units_asked_in_change_nothing(model: Model):
    american = calculate("usable-volume", {**USABLE, "model": model.value, "temperature": "59 degF", "units": "si"})
    metric = {
        "bottle_volume": {"value": 37.85411784, "unit": "L"},
        "precharge": {"value": 1000 * PSI / 1e5, "unit": "bar"},
        "charged": {"value": 3000 * PSI / 1e6, "unit": "MPa"},
        "minimum": {"value": 1200 * PSI / 1e3, "unit": "kPa"},
        "temperature": "15 degC",
        "model": model.value,
        "units": "si",
    }
    assert calculate("usable-volume", metric)["total"]["value"] == pytest.approx(american["total"]["value"], rel=1e-9)


# Never one number only.


@MODELS
def test_every_answer_shows_all_models_beside_and_climbs_to_its_own(model: Model):
    answer = calculate("usable-volume", {**USABLE, "model": model.value, "temperature": "15 degC"})
    assert answer["beside"].keys() == {one.value for one in Model}
    assert answer["beside"]["boyle-gauge"]["per_bottle"]["value"] == pytest.approx(5.0)
    assert answer["beside"]["nitrogen-isentropic"]["per_bottle"]["value"] == pytest.approx(2.316, abs=0.001)
    rungs = answer["corrections"]
    assert rungs[-1]["per_bottle"] == answer["per_bottle"]
    changes = sum(one["change"]["value"] for one in rungs)
    assert rungs[0]["per_bottle"]["value"] + changes == pytest.approx(answer["per_bottle"]["value"])
    assert any("at once" in caution for caution in answer["cautions"])
    assert any(line.startswith("Usable fluid of the bank") for line in answer["working"])


def test_the_hand_sum_is_marked_as_one():
    assert any("hand sum" in one for one in calculate("usable-volume", {**USABLE, "model": "boyle-gauge"})["cautions"])


def test_a_model_without_an_answer_says_so_beside_the_others():
    document = {**USABLE, "precharge": "300 psi", "charged": "7500 psi", "minimum": "150 psi", "temperature": "0 degC"}
    beside = calculate("usable-volume", document)["beside"]
    assert beside["nitrogen-isentropic"]["per_bottle"] is None
    assert "liquid" in beside["nitrogen-isentropic"]["reason"]
    assert beside["nitrogen-isothermal"]["per_bottle"] is not None


# The traps of the trade, each by name.


@pytest.mark.parametrize("model", ["boyle", "boyle-gauge", "nitrogen-isothermal"])
def test_trap_a_minimum_under_the_precharge_is_capped_where_the_gas_has_settled(model: str):
    answer = calculate("usable-volume", {**USABLE, "minimum": "500 psi", "model": model})
    assert answer["total"] == answer["stored"]
    assert answer["emptied_before_minimum"] is True
    assert any("empty before the minimum" in one for one in answer["cautions"])


def test_trap_a_minimum_under_the_precharge_is_not_capped_where_the_gas_is_cold():
    document = {**USABLE, "model": "nitrogen-isentropic", "temperature": "15 degC"}
    at_precharge = calculate("usable-volume", {**document, "minimum": "1000 psi"})
    under = calculate("usable-volume", {**document, "minimum": "800 psi"})
    assert at_precharge["total"]["value"] < under["total"]["value"] < under["stored"]["value"]
    assert under["emptied_before_minimum"] is False


@MODELS
def test_trap_more_withdrawn_than_stored_is_refused_with_what_can_be_given(model: Model):
    bank = bank_of(model, count=12)
    most = usable_volume(bank, psi(3000), psi(0)).stored
    with pytest.raises(InputError, match=r"at most") as caught:
        pressure_after(bank, psi(3000), most * 1.001)
    assert caught.value.field == "withdrawn"
    assert f"{most / GALLON:.4g} gal" in caught.value.reason
    assert pressure_after(bank, psi(3000), most).left == pytest.approx(0, abs=1e-12)


def test_trap_the_fluid_column_is_taken_off_the_pressure_once():
    surface = calculate("pressure-after", {**BANK, "withdrawn": "0 gal"})
    subsea = calculate("pressure-after", {**BANK, "withdrawn": "0 gal", "depth": "1500 ft"})
    assert surface["pressure"]["value"] == subsea["pressure"]["value"] == pytest.approx(3000)
    bank = bank_of(Model.BOYLE, depth=1500 * FOOT)
    assert bank.at_surface(bank.at_bottle(psi(3000))) == pytest.approx(psi(3000))
    assert bank.head / PSI == pytest.approx(667.5)
    felt = calculate("usable-volume", {**USABLE, "depth": "1500 ft"})["at_bottle"]
    assert [felt[name]["value"] for name in ("precharge", "charged", "minimum")] == [1667.5, 3667.5, 1867.5]


def test_trap_the_column_is_not_added_to_a_precharge_as_set():
    answer = calculate("usable-volume", {**USABLE, "depth": "1500 ft", "precharge_basis": "as-set"})
    felt = answer["at_bottle"]
    assert [felt[name]["value"] for name in ("precharge", "charged", "minimum")] == [1000, 3667.5, 1867.5]
    above = calculate("usable-volume", {**USABLE, "depth": "1500 ft"})
    assert answer["total"]["value"] < above["total"]["value"]


def test_trap_a_precharge_set_on_a_warm_deck_is_lower_in_the_cold_sea():
    document = {**USABLE, "precharge": "3854 psi", "temperature": "80 degF", "depth": "5000 ft"}
    document |= {"precharge_basis": "as-set", "sea_temperature": "4 degC", "model": "nitrogen-isothermal"}
    felt = calculate("usable-volume", document)["at_bottle"]
    # Worked out by constant density: 1,200 psi over 2,225 psi of sea.
    assert felt["precharge"]["value"] == pytest.approx(3425, abs=2)


def test_trap_the_volume_given_is_the_gas_volume_and_the_answer_shows_it():
    answer = calculate("usable-volume", {**USABLE, "bottle_volume": "11 gal"})
    assert answer["gas_volumes"]["precharged"]["value"] == pytest.approx(11)


def test_trap_charging_is_slow_so_all_nitrogen_starts_from_the_settled_volume():
    volumes = [
        calculate("usable-volume", {**USABLE, "model": model})["gas_volumes"]["charged"]
        for model in ("nitrogen-isothermal", "nitrogen-isentropic")
    ]
    assert volumes[0] == volumes[1]


# Precharge and temperature.


@MODELS
def test_real_precharge_changes_more_with_temperature_than_ideal(model: Model):
    warmed = precharge_at_temperature(model, psi(1000), 293.15, 333.15)
    ideal = precharge_at_temperature(Model.BOYLE, psi(1000), 293.15, 333.15)
    assert warmed > ideal if model.is_real else warmed == ideal


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"precharge": "0 psi"}, "precharge"),
        ({"precharge": "20000 psi"}, "precharge"),
        ({"from": "-200 degF"}, "from"),
        ({"to": "500 degF"}, "to"),
        ({"to": None}, "to"),
        ({"model": "adiabatic"}, "model"),
    ],
)
def test_a_precharge_question_out_of_range_is_refused_by_name(changes: dict[str, Any], field: str):
    document = {"precharge": "1000 psi", "from": "70 degF", "to": "40 degF", "model": "boyle"}
    assert refused("precharge-at-temperature", document, **changes).field == field


# Bad input.


@MODELS
@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"precharge": "3000 psi"}, "precharge"),
        ({"precharge": "4000 psi"}, "precharge"),
        ({"precharge": "-1 psi"}, "precharge"),
        ({"precharge": "1000 psia"}, "precharge"),
        ({"charged": "3000 psia"}, "charged"),
        ({"charged": "207 bara"}, "charged"),
        ({"charged": "20000 psi"}, "charged"),
        ({"minimum": "3001 psi"}, "minimum"),
        ({"minimum": "-1 psi"}, "minimum"),
        ({"minimum": {"value": math.nan, "unit": "psi"}}, "minimum"),
        ({"minimum": "nan psi"}, "minimum"),
        ({"minimum": 1200}, "minimum"),
        ({"bottle_volume": "-10 gal"}, "bottle_volume"),
        ({"bottle_volume": "0 gal"}, "bottle_volume"),
        ({"bottle_volume": "10 psi"}, "bottle_volume"),
        ({"count": 0}, "count"),
        ({"count": -1}, "count"),
        ({"count": 2.5}, "count"),
        ({"count": True}, "count"),
        ({"count": "twelve"}, "count"),
        ({"count": 10_001}, "count"),
        ({"temperature": "-150 degF"}, "temperature"),
        ({"temperature": "300 degF"}, "temperature"),
        ({"depth": "-1 ft"}, "depth"),
        ({"depth": "99999999 ft"}, "depth"),
        ({"fluid_gradient": "0 psi/ft"}, "fluid_gradient"),
        ({"fluid_gradient": "2 psi/ft"}, "fluid_gradient"),
        ({"precharge_basis": "absolute"}, "precharge_basis"),
        ({"sea_temperature": "4 degC"}, "sea_temperature"),
        ({"precharge_basis": "as-set", "sea_temperature": "-150 degC"}, "sea_temperature"),
        ({"pumps": 2}, "pumps"),
    ],
)
def test_a_bank_out_of_range_is_refused_by_name(model: Model, changes: dict[str, Any], field: str):
    error = refused("usable-volume", {**USABLE, "model": model.value}, **changes)
    assert error.field == field
    assert error.reason
    assert error.remedy


@pytest.mark.parametrize("withdrawn", ["-1 gal", "1000 gal", "nan gal", "1 psi"])
def test_a_withdrawal_no_bank_gives_is_refused_by_name(withdrawn: str):
    assert refused("pressure-after", {**BANK, "withdrawn": withdrawn}).field == "withdrawn"


def test_a_bank_charged_no_higher_than_its_minimum_gives_nothing():
    assert calculate("usable-volume", {**USABLE, "minimum": "3000 psi"})["total"]["value"] == pytest.approx(0, abs=1e-9)


def test_a_basis_is_a_word_of_the_bank():
    assert {one.value for one in PrechargeBasis} == {"above-hydrostatic", "as-set"}
