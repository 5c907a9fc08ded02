"""Unit factors against the tables of scipy.constants, which follow CODATA and NIST SP 811."""

import pytest
from scipy import constants

from calcs.units import Dimension, scale

GALLON = constants.gallon
FOOT = constants.foot
PSI = constants.psi


@pytest.mark.parametrize(
    ("unit", "dimension", "factor"),
    [
        ("psi", Dimension.PRESSURE, PSI),
        ("bar", Dimension.PRESSURE, constants.bar),
        ("kPa", Dimension.PRESSURE, constants.kilo),
        ("MPa", Dimension.PRESSURE, constants.mega),
        ("psi/ft", Dimension.PRESSURE_GRADIENT, PSI / FOOT),
        ("psi/min", Dimension.PRESSURE_RATE, PSI / constants.minute),
        ("lb/gal", Dimension.DENSITY, constants.pound / GALLON),
        ("lb/ft^3", Dimension.DENSITY, constants.pound / FOOT**3),
        ("ft", Dimension.LENGTH, FOOT),
        ("in", Dimension.LENGTH, constants.inch),
        ("gal", Dimension.VOLUME, GALLON),
        ("L", Dimension.VOLUME, constants.liter),
        ("bbl", Dimension.VOLUME, 42 * GALLON),
        ("in^2", Dimension.AREA, constants.inch**2),
        ("lbf", Dimension.FORCE, constants.pound_force),
        ("min", Dimension.TIME, constants.minute),
        ("h", Dimension.TIME, constants.hour),
        ("d", Dimension.TIME, constants.day),
    ],
)
def test_a_unit_has_the_factor_of_the_tables(unit: str, dimension: Dimension, factor: float):
    found, offset = scale(unit, dimension)
    assert found == pytest.approx(factor, rel=1e-9)
    assert offset == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(("unit", "name"), [("degF", "Fahrenheit"), ("degC", "Celsius"), ("K", "Kelvin")])
@pytest.mark.parametrize("reading", [-40.0, 0.0, 60.0, 212.0])
def test_a_temperature_is_the_tables_kelvin(unit: str, name: str, reading: float):
    factor, offset = scale(unit, Dimension.TEMPERATURE)
    assert reading * factor + offset == pytest.approx(constants.convert_temperature(reading, name, "K"), rel=1e-9)
