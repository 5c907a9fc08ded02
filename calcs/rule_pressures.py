"""Reading the pressures and holds of rules from data: low band, high pressure in the closed vocabulary, hold."""

from typing import Final

from calcs.errors import InputError
from calcs.fields import Fields
from calcs.rule_parts import read_source, under
from calcs.rules import (
    Approved,
    Fixed,
    Formula,
    Fraction,
    Greatest,
    High,
    Hold,
    HoldCondition,
    Least,
    LowBand,
    MaspPlus,
    PerDepth,
    Rating,
)
from calcs.units import Dimension, GaugePressure


def read_low(fields: Fields) -> LowBand:
    """Read the low band."""
    min_gauge = fields.si("min", Dimension.PRESSURE)
    max_gauge = fields.si("max", Dimension.PRESSURE)
    restart = fields.si_or_none("restart_above", Dimension.PRESSURE)
    source = read_source(fields)
    return under(
        fields,
        lambda: LowBand(
            GaugePressure(min_gauge),
            GaugePressure(max_gauge),
            GaugePressure(max_gauge if restart is None else restart),
            source,
        ),
    )


def read_high(fields: Fields) -> High:
    """Read the high pressure, with its alternative where it has one."""
    source = read_source(fields)
    alternative = fields.object("alternative") if fields.has("alternative") else None
    return High(_formula(fields), source, _formula(alternative) if alternative else None)


_DEEPEST: Final = 4
_FORMULAS: Final = ("fraction", "masp_plus", "fixed", "per_casing_depth", "approved", "least", "greatest")


def _formula(fields: Fields, depth: int = 0) -> Formula:
    given = [key for key in _FORMULAS if fields.has(key)]
    if len(given) != 1 or depth > _DEEPEST:
        raise InputError(
            fields.path_of_self,
            "One pressure is expected here, in the vocabulary of the rules.",
            f"Give exactly one of: {', '.join(_FORMULAS)}.",
        )
    return under(fields, lambda: _formula_of(given[0], fields, depth))


def _formula_of(key: str, fields: Fields, depth: int) -> Formula:
    if key == "fraction":
        of = Rating(fields.choice("of", list(Rating), Rating.COMPONENT))
        return Fraction(fields.si("fraction", Dimension.RATIO), of)
    if key == "masp_plus":
        return MaspPlus(fields.si("masp_plus", Dimension.PRESSURE), fields.flag("needs_approval", True))
    if key == "fixed":
        return Fixed(GaugePressure(fields.si("fixed", Dimension.PRESSURE)))
    if key == "per_casing_depth":
        return PerDepth(fields.si("per_casing_depth", Dimension.PRESSURE_GRADIENT))
    if key == "approved":
        if not fields.flag("approved"):
            raise InputError("approved", "An approved value is either asked for or not written.", "Give true.")
        return Approved()
    terms = tuple(_formula(term, depth + 1) for term in fields.objects(key))
    if len(terms) < 2:
        raise InputError(key, "Several pressures are compared here.", "Give at least two.")
    return Least(terms) if key == "least" else Greatest(terms)


def read_hold(fields: Fields) -> Hold:
    """Read how long a pressure is held."""
    duration = fields.si("time", Dimension.TIME)
    reduced = fields.si_or_none("reduced", Dimension.TIME)
    conditions = tuple(HoldCondition(word) for word in fields.choices("conditions", list(HoldCondition)))
    low = fields.si_or_none("low_time", Dimension.TIME)
    source = read_source(fields)
    return under(fields, lambda: Hold(duration, source, reduced, conditions, low))
