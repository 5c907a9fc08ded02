"""Columns and anticipated pressures: their laws, their limits, their working."""

import math
import re
from itertools import product

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.pressures import (
    MAX_DENSITY,
    MAX_DEPTH,
    SEAWATER_GRADIENT,
    FractureGas,
    Method,
    Mudline,
    Part,
    PoreGas,
    gradient_of,
    hydrostatic,
    masp,
    weakest,
)
from calcs.units import Dimension, GaugePressure, to_si

PSI = to_si(1, "psi", Dimension.PRESSURE)
FOOT = to_si(1, "ft", Dimension.LENGTH)
PPG = to_si(1, "lb/gal", Dimension.DENSITY)
GAS = 0.1 * PSI / FOOT

DEPTHS = st.floats(min_value=1, max_value=MAX_DEPTH)
DENSITIES = st.floats(min_value=1, max_value=MAX_DENSITY)
BAD = [0.0, -1.0, math.nan, math.inf, 1e12]
BAD_GAS = BAD[1:]
"""Gas without weight is the most careful column, and taken."""


@given(DENSITIES, DEPTHS, DEPTHS)
def test_columns_stacked_weigh_their_sum(density: float, upper: float, lower: float):
    assume(upper + lower <= MAX_DEPTH)
    both = hydrostatic(density, upper).pressure_gauge + hydrostatic(density, lower).pressure_gauge
    assert hydrostatic(density, upper + lower).pressure_gauge == pytest.approx(both)


@given(DENSITIES, DEPTHS)
def test_the_rounded_constant_is_a_tenth_of_a_percent_high(density: float, depth: float):
    exact = hydrostatic(density, depth).pressure_gauge
    assert hydrostatic(density, depth, rounded=True).pressure_gauge / exact == pytest.approx(0.052 / (12 / 231))


@pytest.mark.parametrize("bad", BAD)
def test_a_column_out_of_range_is_refused(bad: float):
    with pytest.raises(InputError, match="mud weight"):
        hydrostatic(bad, 1000)
    with pytest.raises(InputError, match="depth"):
        hydrostatic(1000, bad)


@pytest.mark.parametrize(
    ("field", "bad"),
    [*product(["depth", "pore_pressure_gauge"], BAD), *product(["gas_gradient"], BAD_GAS)],
)
def test_a_formation_out_of_range_is_refused(field: str, bad: float):
    given = {"depth": 3000.0, "gas_gradient": GAS, "pore_pressure_gauge": GaugePressure(60e6)}
    with pytest.raises(InputError):
        PoreGas(**{**given, field: bad})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("field", "bad"),
    [*product(["shoe_depth", "fracture_gradient"], BAD), *product(["gas_gradient"], BAD_GAS)],
)
def test_a_shoe_out_of_range_is_refused(field: str, bad: float):
    given = {"shoe_depth": 1200.0, "fracture_gradient": 17e3, "gas_gradient": GAS}
    with pytest.raises(InputError):
        FractureGas(**{**given, field: bad})


@given(st.floats(min_value=0.05, max_value=1.0), st.floats(min_value=0.05, max_value=1.0))
def test_more_gas_in_the_hole_never_lowers_the_pressure_at_surface(one: float, other: float):
    less, more = sorted((one, other))
    at_less, at_more = (
        masp(PoreGas(3000, GAS, mud_weight=12 * PPG, gas_fraction=fraction)).pressure_gauge for fraction in (less, more)
    )
    assert at_less <= at_more * (1 + 1e-12)


def test_the_mud_below_the_gas_is_the_mud_without_its_margin():
    found = masp(PoreGas(3000, GAS, mud_weight=12 * PPG, margin=4 * PPG, gas_fraction=0.7))
    expected = gradient_of(16 * PPG) * 3000 - GAS * 2100 - gradient_of(12 * PPG) * 900
    assert found.pressure_gauge == pytest.approx(expected)


def test_gas_over_mud_of_no_stated_weight_is_refused():
    with pytest.raises(InputError) as refused:
        PoreGas(3000, GAS, pore_pressure_gauge=GaugePressure(50e6), gas_fraction=0.5)
    assert refused.value.field == "mud_weight"


@given(st.floats(min_value=100, max_value=4000), st.floats(min_value=12, max_value=19))
def test_the_lesser_method_governs(shoe: float, fracture_ppg: float):
    pore = PoreGas(4000, GAS, mud_weight=12 * PPG)
    fracture = FractureGas(shoe, gradient_of(fracture_ppg * PPG), GAS)
    both = masp(pore, fracture)
    alone = {Method.PORE_GAS: masp(pore).pressure_gauge, Method.FRACTURE_GAS: masp(None, fracture).pressure_gauge}
    assert both.pressure_gauge == min(alone.values())
    assert both.pressure_gauge == alone[both.governs]
    assert dict(both.considered) == alone


@pytest.mark.parametrize(
    "make",
    [
        lambda: masp(PoreGas(4000, GAS, mud_weight=12 * PPG), FractureGas(2000, gradient_of(11.9 * PPG), GAS)),
        lambda: masp(None, FractureGas(2000, gradient_of(11.9 * PPG), GAS, mud_weight=12 * PPG)),
        lambda: masp(None, FractureGas(2000, gradient_of(2 * PPG), GAS, mud_weight=12 * PPG)),
    ],
)
def test_a_shoe_that_breaks_under_the_mud_is_refused(make):
    """It would give a surface pressure that is dangerously low."""
    with pytest.raises(InputError, match="dangerously low") as refused:
        make()
    assert refused.value.field == "fracture_gradient"


def test_a_fracture_gradient_equal_to_the_mud_weight_is_taken():
    fracture = FractureGas(2000, gradient_of(12 * PPG), GAS, mud_weight=12 * PPG)
    assert masp(PoreGas(4000, GAS, mud_weight=12 * PPG), fracture).governs is Method.FRACTURE_GAS


def test_a_kick_margin_over_the_mud_may_pass_the_fracture_gradient():
    """It is what the lesser method is for: the shoe breaks before the margin's pressure comes to surface."""
    pore = PoreGas(4000, GAS, mud_weight=12 * PPG, margin=4 * PPG)
    assert masp(pore, FractureGas(1200, gradient_of(14.2 * PPG), GAS)).governs is Method.FRACTURE_GAS
    stated = PoreGas(4000, GAS, pore_pressure_gauge=GaugePressure(gradient_of(16 * PPG) * 4000))
    assert masp(stated, FractureGas(1200, gradient_of(14.2 * PPG), GAS)).governs is Method.FRACTURE_GAS


def test_gas_without_weight_is_the_most_careful_column():
    assert masp(PoreGas(3000, 0.0, pore_pressure_gauge=GaugePressure(50e6))).pressure_gauge == pytest.approx(50e6)


@pytest.mark.parametrize(
    "make",
    [
        lambda: PoreGas(4000, 0.26 * PSI / FOOT, mud_weight=12 * PPG),
        lambda: FractureGas(2000, gradient_of(12 * PPG), 0.26 * PSI / FOOT),
        lambda: masp(PoreGas(4000, 0.25 * PSI / FOOT, mud_weight=4.7 * PPG), mudline=Mudline(2000)),
        lambda: masp(
            PoreGas(4000, 0.2 * PSI / FOOT, pore_pressure_gauge=GaugePressure(0.19 * PSI / FOOT * 4000)),
            mudline=Mudline(2000),
        ),
    ],
)
def test_what_is_as_heavy_as_a_fluid_is_no_gas(make):
    with pytest.raises(InputError) as refused:
        make()
    assert refused.value.field == "gas_gradient"


def test_subsea_the_pressure_is_the_wellheads_and_the_differential_less_the_sea():
    mudline = Mudline(5000 * FOOT, air_gap=80 * FOOT)
    found = masp(PoreGas(16000 * FOOT, GAS, pore_pressure_gauge=GaugePressure(11500 * PSI)), mudline=mudline)
    assert found.pressure_gauge / PSI == pytest.approx(11500 - 0.1 * 11000)
    assert found.differential_gauge is not None
    assert found.differential_gauge / PSI == pytest.approx(10400 - 0.445 * 4920)
    assert "0.445 psi/ft" in found.working[-1].line("us")


def test_the_sea_never_makes_a_differential_negative():
    mudline = Mudline(3900)
    found = masp(PoreGas(4000, GAS, pore_pressure_gauge=GaugePressure(30e6)), mudline=mudline)
    assert found.pressure_gauge < SEAWATER_GRADIENT * 3900
    assert found.differential_gauge == 0


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: masp(), "method"),
        (lambda: masp(PoreGas(1000, GAS, mud_weight=1200), FractureGas(2000, 16e3, GAS)), "shoe_depth"),
        (lambda: masp(PoreGas(1000, GAS, mud_weight=1200), mudline=Mudline(1000)), "depth"),
        (lambda: masp(PoreGas(5000, GAS, pore_pressure_gauge=GaugePressure(1e6))), "pore_pressure"),
        (lambda: PoreGas(1000, GAS), "pore_pressure"),
        (lambda: PoreGas(1000, GAS, GaugePressure(2e7), margin=50), "margin"),
        (lambda: PoreGas(1000, GAS, mud_weight=1200, margin=-1), "margin"),
        (lambda: PoreGas(1000, GAS, mud_weight=1200, gas_fraction=0), "gas_fraction"),
        (lambda: PoreGas(1000, GAS, mud_weight=1200, gas_fraction=1.1), "gas_fraction"),
        (lambda: Mudline(100, air_gap=100), "air_gap"),
        (lambda: weakest([]), "weakest_part"),
    ],
)
def test_sets_that_cannot_be_are_refused_by_field(make, field: str):
    with pytest.raises(InputError) as refused:
        make()
    assert refused.value.field == field
    assert refused.value.remedy


def test_every_step_of_a_working_adds_up_in_both_unit_systems():
    found = masp(PoreGas(12000 * FOOT, 0.12 * PSI / FOOT, mud_weight=12 * PPG, margin=4 * PPG, rounded=True))
    lines = [step.line("us") for step in found.working]
    assert lines[-1] == "Pressure from the formation, at surface: 9,984 psi − 1,440 psi = 8,544 psi"
    metric = [step.line("si") for step in found.working]
    assert all("kPa" in line and "psi" not in line for line in metric)
    assert re.search(r"3,657\.6 m\b", metric[0])


@given(st.lists(st.floats(min_value=1e5, max_value=1e8), min_size=1, max_size=6))
def test_the_weakest_part_is_no_stronger_than_any(limits: list[float]):
    parts = [Part(f"part {index}", GaugePressure(limit)) for index, limit in enumerate(limits)]
    assert weakest(parts).limit_gauge == min(limits)
