"""Sequences on the bank alone, and the pressure an operator needs."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.accumulators import Bank, pressure_after
from calcs.closing import MAX_FUNCTIONS, Function, closing_sequence
from calcs.errors import InputError
from calcs.gas import Model
from calcs.surface import calculate
from calcs.units import Dimension, GaugePressure, to_si

PSI = to_si(1, "psi", Dimension.PRESSURE)
GALLON = to_si(1, "gal", Dimension.VOLUME)
MODELS = pytest.mark.parametrize("model", list(Model))
BANK = {"bottle_volume": "10 gal", "count": 12, "precharge": "1000 psi", "charged": "3000 psi", "model": "boyle"}
ANNULAR = {"name": "annular", "volume": "20 gal"}
RAM = {"name": "pipe ram", "volume": "10 gal"}
SEQUENCE = {**BANK, "functions": [ANNULAR, RAM]}
RAM_QUESTION = {"wellbore_pressure": "10000 psi", "closing_ratio": 7.11}
PIPE = {"pipe_od": "5 in", "pipe_id": "4.276 in", "yield_strength": "135 ksi", "closing_area": "200 in^2"}


def psi(value: float) -> GaugePressure:
    return GaugePressure(value * PSI)


def answer(document: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return calculate("closing-sequence", {**document, **changes})


def refused(name: str, document: dict[str, Any], **changes: Any) -> InputError:
    with pytest.raises(InputError) as caught:
        calculate(name, {**document, **changes})
    return caught.value


@MODELS
@given(st.lists(st.floats(min_value=0.1, max_value=4), min_size=1, max_size=12))
@settings(max_examples=15, deadline=None)
def test_each_step_is_the_pressure_after_all_that_was_drawn(model: Model, volumes: list[float]):
    bank = Bank(10 * GALLON, psi(1000), model, count=12)
    functions = [Function(str(index), volume * GALLON) for index, volume in enumerate(volumes)]
    found = closing_sequence(bank, psi(3000), functions)
    drawn = sum(function.volume for function in functions)
    alone = pressure_after(bank, psi(3000), drawn)
    assert found.final_pressure == pytest.approx(alone.pressure)
    assert found.steps[-1].stored_left == pytest.approx(alone.left)
    pressures = [step.pressure for step in found.steps if step.pressure is not None]
    assert pressures == sorted(pressures, reverse=True)


def test_a_bank_that_keeps_its_reserve_passes_with_its_margin():
    found = answer(SEQUENCE)
    assert found["passes"] is True
    assert found["reasons"] == []
    assert found["limit"]["value"] == pytest.approx(1200)
    assert found["final_pressure"]["value"] == pytest.approx(1715.1, abs=0.1)
    assert found["margin"]["value"] == pytest.approx(515.1, abs=0.1)
    assert [step["name"] for step in found["steps"]] == ["annular", "pipe ram"]


def test_the_same_bank_fails_when_the_fluid_is_drawn_at_once_and_says_why():
    found = answer(SEQUENCE, model="nitrogen-isentropic", temperature="15 degC")
    assert found["passes"] is False
    assert found["margin"]["value"] == pytest.approx(1139 - 1200, abs=1)
    assert "under precharge and reserve" in found["reasons"][0]
    assert found["beside"]["boyle"]["passes"] is True
    assert found["beside"]["nitrogen-isentropic"]["passes"] is False


def test_usable_fluid_left_is_counted_down_to_the_reserve():
    found = answer(SEQUENCE, functions=[ANNULAR], model="boyle-gauge")
    # 120 gal · (1000/1200 − 1000/3000) = 60 gal usable, 80 stored.
    assert found["steps"][0]["usable_left"]["value"] == pytest.approx(40)
    assert found["steps"][0]["stored_left"]["value"] == pytest.approx(60)


def test_trap_the_order_of_functions_decides():
    needs = {**ANNULAR, "minimum_pressure": "1900 psi"}
    assert answer(SEQUENCE, functions=[needs, RAM])["passes"] is True
    late = answer(SEQUENCE, functions=[RAM, needs])
    assert late["passes"] is False
    assert [step["minimum_met"] for step in late["steps"]] == [True, False]
    assert late["reasons"][0].startswith("annular:")


@MODELS
def test_trap_a_set_point_over_the_bank_pressure_is_never_met(model: Model):
    found = answer(SEQUENCE, functions=[{**RAM, "minimum_pressure": "3100 psi"}], model=model.value)
    assert found["steps"][0]["minimum_met"] is False
    assert found["passes"] is False


def test_trap_a_column_of_two_fluids_is_cautioned_subsea():
    document = {**BANK, "withdrawn": "10 gal"}
    subsea, surface = (
        calculate("pressure-after", {**document, "depth": one})["cautions"] for one in ("900 ft", "0 ft")
    )
    assert any("two columns" in caution for caution in subsea)
    assert not any("two columns" in caution for caution in surface)


@MODELS
def test_trap_a_bank_that_runs_out_names_the_functions_it_leaves_short(model: Model):
    big = {"name": "blind ram", "volume": "90 gal"}
    found = answer(SEQUENCE, functions=[big, RAM], model=model.value)
    assert found["passes"] is False
    assert found["final_pressure"] is found["margin"] is None
    assert [step["pressure"] for step in found["steps"]] == [None, None]
    assert [reason.split(":")[0] for reason in found["reasons"]] == ["blind ram", "pipe ram"]


def test_trap_the_reserve_goes_with_the_precharge_given_and_a_low_one_makes_it_easier():
    nominal, low = answer(SEQUENCE), answer(SEQUENCE, precharge="900 psi")
    assert low["limit"]["value"] == pytest.approx(1100)
    assert low["final_pressure"]["value"] < nominal["final_pressure"]["value"]
    assert any("the one measured" in caution for caution in low["cautions"])


def test_a_limit_met_to_the_last_digit_counts_as_met():
    found = answer(SEQUENCE, functions=[{"name": "all", "volume": "60 gal"}], model="boyle-gauge")
    assert found["final_pressure"]["value"] == pytest.approx(1200)
    assert found["passes"] is True


def test_the_limit_of_a_subsea_bank_is_as_the_surface_gauge_shows_it():
    above = answer(SEQUENCE, depth="1500 ft")
    as_set = answer(SEQUENCE, depth="1500 ft", precharge_basis="as-set")
    assert above["limit"]["value"] == pytest.approx(1200)
    assert as_set["limit"]["value"] == pytest.approx(1200 - 667.5)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"functions": []}, "functions"),
        ({"functions": None}, "functions"),
        ({"functions": "annular"}, "functions"),
        ({"functions": [ANNULAR] * 10_000}, "functions"),
        ({"functions": [ANNULAR] * (MAX_FUNCTIONS + 1)}, "functions"),
        ({"functions": [ANNULAR, {**RAM, "volume": "-1 gal"}]}, "functions.1.volume"),
        ({"functions": [ANNULAR, {**RAM, "volume": "0 gal"}]}, "functions.1.volume"),
        ({"functions": [{**RAM, "minimum_pressure": "-1 psi"}]}, "functions.0.minimum_pressure"),
        ({"functions": [{**RAM, "minimum_pressure": "1500 psia"}]}, "functions.0.minimum_pressure"),
        ({"functions": [{"volume": "1 gal"}]}, "functions.0.name"),
        ({"functions": [{**RAM, "opening": "1 gal"}]}, "functions.0.opening"),
        ({"reserve": "-200 psi"}, "reserve"),
        ({"reserve": "200 psia"}, "reserve"),
        ({"count": 0}, "count"),
        ({"precharge": "3000 psi"}, "precharge"),
    ],
)
@MODELS
def test_a_sequence_out_of_range_is_refused_by_name(model: Model, changes: dict[str, Any], field: str):
    assert refused("closing-sequence", {**SEQUENCE, "model": model.value}, **changes).field == field


def test_trap_the_volume_asked_for_is_the_one_to_close_not_to_open():
    error = refused("closing-sequence", SEQUENCE, functions=[{**RAM, "volume": "0 gal"}])
    assert "CLOSE" in error.remedy


# Closing and shearing.


def test_friction_is_added_to_the_wellbores_share():
    plain = calculate("closing-pressure", RAM_QUESTION)
    rough = calculate("closing-pressure", {**RAM_QUESTION, "operator_friction": "750 psi"})
    assert rough["pressure"]["value"] - plain["pressure"]["value"] == pytest.approx(750)
    assert "shear" not in plain


def test_shearing_stands_on_closing_and_is_called_an_estimate():
    found = calculate("closing-pressure", {**RAM_QUESTION, "shear": PIPE})
    over = found["shear"]["pressure_estimate"]["value"] - found["pressure"]["value"]
    assert over == pytest.approx(found["shear"]["force_estimate"]["value"] / 200)
    assert found["shear"]["pressure"] == found["shear"]["pressure_estimate"]
    assert found["shear"]["is_estimate"] is True
    assert any(caution.startswith("An estimate only") for caution in found["cautions"])


def test_the_makers_tested_figure_prevails_over_the_estimate():
    tested = {**PIPE, "tested_pressure": "2600 psi"}
    found = calculate("closing-pressure", {**RAM_QUESTION, "operator_friction": "750 psi", "shear": tested})
    assert found["shear"]["pressure"]["value"] == pytest.approx(2600 + 10000 / 7.11)
    assert found["shear"]["is_estimate"] is False
    assert found["shear"]["pressure_estimate"]["value"] != found["shear"]["pressure"]["value"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"wellbore_pressure": "-1 psi"}, "wellbore_pressure"),
        ({"wellbore_pressure": "10000 psia"}, "wellbore_pressure"),
        ({"closing_ratio": 0}, "closing_ratio"),
        ({"closing_ratio": 0.5}, "closing_ratio"),
        ({"closing_ratio": "nan"}, "closing_ratio"),
        ({"closing_ratio": 1000}, "closing_ratio"),
        ({"operator_friction": "-1 psi"}, "operator_friction"),
        ({"shear": {**PIPE, "pipe_id": "6 in"}}, "shear.pipe_id"),
        ({"shear": {**PIPE, "pipe_od": "0 in"}}, "shear.pipe_od"),
        ({"shear": {**PIPE, "yield_strength": "0 psi"}}, "shear.yield_strength"),
        ({"shear": {**PIPE, "closing_area": "0 in^2"}}, "shear.closing_area"),
        ({"shear": {**PIPE, "tested_pressure": "0 psi"}}, "shear.tested_pressure"),
        ({"shear": {**PIPE, "grade": "S-135"}}, "shear.grade"),
    ],
)
def test_a_ram_out_of_range_is_refused_by_name(changes: dict[str, Any], field: str):
    assert refused("closing-pressure", RAM_QUESTION, **changes).field == field
