"""Units at the border: what is read, what is refused, and that nothing is lost on the way."""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import units
from calcs.errors import InputError
from calcs.units import DISPLAY_UNITS, Dimension, Quantity

FINITE = st.floats(min_value=-1e9, max_value=1e9, allow_nan=False)


@pytest.mark.parametrize(
    ("written", "value", "unit"),
    [
        ("3000 psi", 3000, "psi"),
        ("3,000 psi", 3000, "psi"),
        ("3000psi", 3000, "psi"),
        ("\u2212200 psi", -200, "psi"),
        ("1e3 kPa", 1000, "kPa"),
        ("5000 PSI", 5000, "psi"),
        ("35 barg", 35, "bar"),
        ({"value": 3000, "unit": "psi"}, 3000, "psi"),
        ({"value": "3000", "unit": "psig"}, 3000, "psi"),
    ],
)
def test_a_pressure_is_read_as_written(written: object, value: float, unit: str):
    assert units.read(written, Dimension.PRESSURE, field="p") == Quantity(value, unit)


@pytest.mark.parametrize(
    "written",
    [
        "3000",
        3000,
        True,
        None,
        [],
        "psi",
        "nan psi",
        "inf psi",
        "3,5 bar",  # must not become 35 bar
        "1_000 psi",
        "10 lb/gal",
        "10 fathoms of rope",
        "1e308 MPa",
        "5 psia",
        "5 bar(a)",
        {"value": 5},
        {"value": 5, "unit": "psi", "note": "x"},
        {"value": float("nan"), "unit": "psi"},
        {"value": 10**400, "unit": "psi"},
        {"value": 5, "unit": 5},
        {"value": 5, "unit": "9**9**9**9*psi"},
        {"value": 5, "unit": "psi" * 50},
        {"value": 5, "unit": "__import__('os')"},
    ],
)
def test_what_is_no_gauge_pressure_is_refused_by_its_field(written: object):
    with pytest.raises(InputError) as refused:
        units.read(written, Dimension.PRESSURE, field="rule.low.min")
    assert refused.value.field == "rule.low.min"
    assert refused.value.remedy


@pytest.mark.parametrize(
    ("written", "psi_per_foot"),
    [("10 lb/gal", 10 * 12 / 231), ("10 ppg", 10 * 12 / 231), ("0.465 psi/ft", 0.465), ("1 SG", 0.433528)],
)
def test_a_gradient_may_be_written_as_the_weight_of_its_mud(written: str, psi_per_foot: float):
    """12/231 psi/ft per lb/gal by the definitions of foot and gallon; a litre of 1 kg makes 9.80665 kPa a metre."""
    gradient = units.read(written, Dimension.PRESSURE_GRADIENT, field="g").si(Dimension.PRESSURE_GRADIENT)
    assert units.from_si(gradient, "psi/ft", Dimension.PRESSURE_GRADIENT) == pytest.approx(psi_per_foot, rel=1e-5)


def test_a_specific_gravity_is_a_density():
    assert units.read("1.25 SG", Dimension.DENSITY, field="d").si(Dimension.DENSITY) == pytest.approx(1250)
    assert units.read("1.25 sg", Dimension.DENSITY, field="d").unit == "SG"


def test_a_gradient_is_no_density():
    with pytest.raises(InputError):
        units.read("0.5 psi/ft", Dimension.DENSITY, field="d")


def test_a_ratio_may_be_bare_or_a_percentage():
    assert units.read(0.7, Dimension.RATIO, field="f").si(Dimension.RATIO) == 0.7
    assert units.read("70 %", Dimension.RATIO, field="f").si(Dimension.RATIO) == pytest.approx(0.7)


@given(FINITE, st.sampled_from(list(Dimension)), st.sampled_from(["us", "si"]))
def test_shown_and_read_back_is_the_same_quantity(si: float, dimension: Dimension, system: units.System):
    quantity = units.shown(si, dimension, system)
    assert quantity.si(dimension) == pytest.approx(si, rel=1e-12, abs=1e-9)


@given(st.text(max_size=40))
def test_no_text_breaks_the_reader(text: str):
    with contextlib.suppress(InputError):
        quantity = units.read(text, Dimension.PRESSURE, field="p")
        assert math.isfinite(quantity.si(Dimension.PRESSURE))


@pytest.mark.parametrize("unit", ["lb/ft3", "lb/ft^3", "lb/ft**3", "lb/ft³"])
def test_a_power_may_be_written_in_every_usual_way(unit: str):
    assert units.to_si(1, unit, Dimension.DENSITY) == pytest.approx(
        0.45359237 / 0.3048**3
    )  # both are exact by definition


@pytest.mark.parametrize("dimension", list(Dimension))
def test_every_display_unit_measures_its_dimension(dimension: Dimension):
    for system in ("us", "si"):
        assert units.scale(DISPLAY_UNITS[system][dimension], dimension)[0] > 0
