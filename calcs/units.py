"""Units at the border: the one module of the project that imports pint.

Inside `calcs` every number is SI: Pa, m³, m, K, kg/m³, Pa/m, s, N, m². Field units live here alone.
Pressures are gauge unless a name says ``abs``; gauge and absolute are two types, never two units.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import Any, Final, Literal, NewType

import pint

from calcs.errors import InputError

GaugePressure = NewType("GaugePressure", float)
"""A pressure over the atmosphere, in Pa."""
AbsolutePressure = NewType("AbsolutePressure", float)
"""A pressure over vacuum, in Pa."""

STANDARD_ATMOSPHERE: Final = AbsolutePressure(101_325.0)
"""Standard atmosphere in Pa (ISO 2533 Standard Atmosphere, sea level)."""

System = Literal["us", "si"]


class Dimension(StrEnum):
    """What a number measures; each has one SI unit inside and field units outside."""

    PRESSURE = "pressure"
    PRESSURE_GRADIENT = "pressure gradient"
    PRESSURE_RATE = "pressure rate"
    DENSITY = "density"
    LENGTH = "length"
    VOLUME = "volume"
    AREA = "area"
    FORCE = "force"
    TEMPERATURE = "temperature"
    TIME = "time"
    RATIO = "ratio"


_SI: Final[Mapping[Dimension, str]] = {
    Dimension.PRESSURE: "Pa",
    Dimension.PRESSURE_GRADIENT: "Pa/m",
    Dimension.PRESSURE_RATE: "Pa/s",
    Dimension.DENSITY: "kg/m^3",
    Dimension.LENGTH: "m",
    Dimension.VOLUME: "m^3",
    Dimension.AREA: "m^2",
    Dimension.FORCE: "N",
    Dimension.TEMPERATURE: "K",
    Dimension.TIME: "s",
    Dimension.RATIO: "",
}

DISPLAY_UNITS: Final[Mapping[System, Mapping[Dimension, str]]] = {
    "us": {
        Dimension.PRESSURE: "psi",
        Dimension.PRESSURE_GRADIENT: "psi/ft",
        Dimension.PRESSURE_RATE: "psi/min",
        Dimension.DENSITY: "lb/gal",
        Dimension.LENGTH: "ft",
        Dimension.VOLUME: "gal",
        Dimension.AREA: "in^2",
        Dimension.FORCE: "lbf",
        Dimension.TEMPERATURE: "degF",
        Dimension.TIME: "min",
        Dimension.RATIO: "",
    },
    "si": {
        Dimension.PRESSURE: "kPa",
        Dimension.PRESSURE_GRADIENT: "kPa/m",
        Dimension.PRESSURE_RATE: "kPa/min",
        Dimension.DENSITY: "kg/m^3",
        Dimension.LENGTH: "m",
        Dimension.VOLUME: "L",
        Dimension.AREA: "cm^2",
        Dimension.FORCE: "kN",
        Dimension.TEMPERATURE: "degC",
        Dimension.TIME: "min",
        Dimension.RATIO: "",
    },
}

ENTRY_UNITS: Final[Mapping[Dimension, tuple[str, ...]]] = {
    Dimension.PRESSURE: ("psi", "kPa", "bar", "MPa"),
    Dimension.PRESSURE_GRADIENT: ("psi/ft", "kPa/m", "lb/gal", "SG", "kg/m^3"),
    Dimension.DENSITY: ("lb/gal", "kg/m^3", "SG", "lb/ft^3"),
    Dimension.LENGTH: ("ft", "m", "in", "mm"),
    Dimension.VOLUME: ("gal", "L", "m^3", "oil_bbl"),
    Dimension.TEMPERATURE: ("degF", "degC", "K"),
    Dimension.TIME: ("min", "s", "h"),
}
"""Units a form offers for each dimension, the commonest of the US oilfield first."""

# Spellings seen in the field that pint would read as something else or not at all. "gal" is pint's
# US liquid gallon already; "bbl" in pint is the US dry barrel, in the oilfield it is 42 US gallons.
_SPELLINGS: Final[Mapping[str, str]] = {
    "psi": "psi",
    "bar": "bar",
    "ft": "ft",
    "gal": "gal",
    "min": "min",
    "psi/ft": "psi/ft",
    "lb/gal": "lb/gal",
    "feet": "ft",
    "psig": "psi",
    "barg": "bar",
    "bar(g)": "bar",
    "kpag": "kPa",
    "mpag": "MPa",
    "kpa": "kPa",
    "mpa": "MPa",
    "ppg": "lb/gal",
    "sg": "SG",
    "s.g.": "SG",
    "lbm/gal": "lb/gal",
    "bbl": "oil_bbl",
    "l": "L",
    "litre": "L",
    "litres": "L",
    "°f": "degF",
    "°c": "degC",
    "f": "degF",
    "c": "degC",
    "kg/m3": "kg/m^3",
    "kg/m³": "kg/m^3",
    "m3": "m^3",
    "m³": "m^3",
    '"': "in",
    "sec": "s",
    "mins": "min",
    "hr": "h",
}
# Letters, a power of two or three, and quotients or products of such: all that a unit needs. Anything
# else is refused unread, since pint would work out a "unit" like 9**9**9 for as long as it takes.
_PLAIN: Final = re.compile(r"[A-Za-z°µμ%_]+(\^?[23²³])?([*/·][A-Za-z_]+(\^?[23²³])?){0,3}")
_POWER: Final = re.compile(r"([A-Za-z])(?:\*\*)?([23])(?![A-Za-z0-9])")
_LONGEST: Final = 32
_NUMBER: Final = re.compile(r"[+-]?([0-9]{1,3}(,[0-9]{3})+|[0-9]+)?(\.[0-9]*)?([eE][+-]?[0-9]{1,3})?")
_ABSOLUTE: Final = {"psia", "bara", "bar(a)", "kpaa", "mpaa", "atm"}


def _registry() -> pint.UnitRegistry[float]:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    registry.define("SG = 1000 * kilogram / meter ** 3")  # on a rig, weight in kg of a litre (common practice)
    return registry


_REGISTRY: Final = _registry()


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit, as entered or as shown.

    >>> Quantity(3000, "psi").si(Dimension.PRESSURE)
    20684271.87950509
    """

    value: float
    unit: str

    def si(self, dimension: Dimension, *, field: str = "") -> float:
        """Return the value in the SI unit of `dimension`; raises InputError for another dimension."""
        return to_si(self.value, self.unit, dimension, field=field)

    def __str__(self) -> str:
        """Return value and unit as a person writes them, without trailing zeros."""
        return f"{self.value:g} {self.unit}".strip()


@lru_cache(maxsize=512)
def _factor(unit: str, dimension: Dimension) -> tuple[float, float]:
    """Return (scale, offset) with SI = value·scale + offset; raises KeyError when not that dimension.

    A gradient may be written as the weight of the mud that has it: 14.2 lb/gal, 1.7 SG (common practice).
    """
    if dimension is Dimension.PRESSURE_GRADIENT and _REGISTRY.Unit(unit).is_compatible_with("kg/m^3"):
        column = _REGISTRY.Quantity(1.0, unit) * _REGISTRY.Quantity(1.0, "standard_gravity")
        return float(column.to(_SI[dimension]).magnitude), 0.0
    one = _REGISTRY.Quantity(1.0, unit).to(_SI[dimension]).magnitude
    zero = _REGISTRY.Quantity(0.0, unit).to(_SI[dimension]).magnitude
    return float(one) - float(zero), float(zero)


def canonical_unit(unit: str) -> str:
    """Return the project's spelling of a unit (``psig`` becomes ``psi``); unknown ones come back as given.

    >>> canonical_unit("lb/ft3"), canonical_unit("kg/m**3")
    ('lb/ft^3', 'kg/m^3')
    """
    stripped = unit.strip()
    return _SPELLINGS.get(stripped.lower()) or _POWER.sub(r"\1^\2", stripped)


def scale(unit: str, dimension: Dimension, *, field: str = "unit") -> tuple[float, float]:
    """Return (scale, offset) that turn a value in `unit` into SI: value·scale + offset.

    Raises InputError naming `field` for a unit that is unknown, absolute, or of another dimension.
    """
    if dimension is Dimension.PRESSURE and unit.strip().lower() in _ABSOLUTE:
        raise InputError(
            field,
            f"{unit.strip()} is an absolute pressure; gauge pressure is expected here.",
            "Give the gauge figure, in psi, bar, kPa or MPa.",
        )
    try:
        return _factor(_plain(canonical_unit(unit), dimension), dimension)
    except Exception as error:  # pint raises many types, tokenizer errors among them
        known = ", ".join(ENTRY_UNITS.get(dimension, (_SI[dimension] or "no unit",)))
        raise InputError(
            field,
            f"{unit.strip()[:_LONGEST]!r} is not a unit of {dimension.value}.",
            f"Use one of: {known}.",
        ) from error


def _plain(unit: str, dimension: Dimension) -> str:
    """Return `unit` if it is written as a unit is; raises ValueError for anything else."""
    if dimension is Dimension.RATIO and not unit:
        return unit
    if len(unit) > _LONGEST or not _PLAIN.fullmatch(unit):
        raise ValueError(unit)
    return unit


def to_si(value: float, unit: str, dimension: Dimension, *, field: str = "") -> float:
    """Return `value` in `unit` as SI; raises InputError for an unknown unit or a number not finite."""
    if not math.isfinite(value):
        raise InputError(field, "The number is not finite.", "Give a plain number.")
    factor, offset = scale(unit, dimension, field=field)
    si = value * factor + offset
    if not math.isfinite(si):
        raise InputError(field, "The number is absurdly large.", "Check the value and its unit.")
    return si


def from_si(si: float, unit: str, dimension: Dimension) -> float:
    """Return the SI value `si` expressed in `unit`."""
    factor, offset = scale(unit, dimension)
    return (si - offset) / factor


def shown(si: float, dimension: Dimension, system: System = "us") -> Quantity:
    """Return `si` in the display unit of `system`.

    >>> shown(20684271.87950509, Dimension.PRESSURE).unit
    'psi'
    """
    unit = DISPLAY_UNITS[system][dimension]
    return Quantity(from_si(si, unit, dimension), unit)


def read(given: Any, dimension: Dimension, *, field: str) -> Quantity:
    """Read a quantity as callers write it: ``"3000 psi"`` or ``{"value": 3000, "unit": "psi"}``.

    Raises InputError naming `field` when it is neither, has no unit, is not finite, or is of another
    dimension. A bare number is refused for every dimension but a ratio: a unit is never guessed.
    """
    quantity = _split(given, dimension, field)
    quantity.si(dimension, field=field)
    return quantity


def _split(given: Any, dimension: Dimension, field: str) -> Quantity:
    if isinstance(given, Quantity):
        return given
    if isinstance(given, Mapping):
        unknown = set(given) - {"value", "unit"}
        if unknown or "value" not in given:
            example = 'For instance {"value": 3000, "unit": "psi"}.'
            raise InputError(field, "A quantity has the keys value and unit.", example)
        return Quantity(_number(given["value"], field), _unit(given.get("unit", ""), dimension, field))
    if isinstance(given, str):
        text = given.strip().replace("\u2212", "-")
        head, _, tail = text.partition(" ")
        if not tail and dimension is not Dimension.RATIO:
            head, tail = _unspaced(text)
        return Quantity(_number(head, field), _unit(tail, dimension, field))
    if dimension is Dimension.RATIO and isinstance(given, int | float) and not isinstance(given, bool):
        return Quantity(_number(given, field), "")
    raise InputError(field, "A quantity with its unit is expected.", f'For instance "{_example(dimension)}".')


def _unspaced(text: str) -> tuple[str, str]:
    """Split ``3000psi`` into number and unit."""
    end = len(text)
    while end and not (text[end - 1].isdigit() or text[end - 1] == "."):
        end -= 1
    return text[:end], text[end:]


def _number(given: Any, field: str) -> float:
    if isinstance(given, bool):
        raise InputError(field, "A number is expected.", "Give a plain number.")
    try:
        number = float(_digits(given)) if isinstance(given, str) else float(given)
    except (TypeError, ValueError, OverflowError) as error:
        shown_part = repr(given)[:40]
        raise InputError(
            field, f"{shown_part} is not a number.", "Give a number with a decimal point, and its unit."
        ) from error
    if not math.isfinite(number):
        raise InputError(field, "The number is not finite.", "Give a plain number.")
    return number


def _digits(text: str) -> str:
    """Return a written number without its thousands separators.

    A comma elsewhere is refused: 3,5 bar must not become 35 bar. Raises ValueError for other text.
    """
    if not _NUMBER.fullmatch(text):
        raise ValueError(text)
    return text.replace(",", "")


def _unit(unit: Any, dimension: Dimension, field: str) -> str:
    if not isinstance(unit, str):
        raise InputError(field, "The unit is a text.", f'For instance "{_example(dimension)}".')
    if not unit.strip() and dimension is not Dimension.RATIO:
        raise InputError(field, "The unit is missing.", f'For instance "{_example(dimension)}".')
    return canonical_unit(unit)


def _example(dimension: Dimension) -> str:
    units = ENTRY_UNITS.get(dimension, (_SI[dimension],))
    return f"10 {units[0]}".strip()
