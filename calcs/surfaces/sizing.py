"""The surfaces ``volumetric-efficiency``, ``bottles-required`` and ``best-precharge``."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from calcs import nitrogen, sizing, working
from calcs.accumulators import Bank
from calcs.closing import Function
from calcs.errors import InputError
from calcs.fields import Fields
from calcs.gas import DEFAULT_TEMPERATURE, absolute
from calcs.rules import Edition
from calcs.sizing import BestPrecharge, BottlesRequired, CurvePoint, Demand, VolumetricEfficiency
from calcs.surfaces.accumulators import read_bank, read_pressure
from calcs.surfaces.answers import quantity, quantity_or_none, trimmed
from calcs.surfaces.closing import format_closing_sequence, read_functions
from calcs.units import Dimension, GaugePressure, System


@dataclass(frozen=True, slots=True)
class EfficiencyQuestion:
    """A bank between two pressures, with pressure factor and volume factor."""

    bank: Bank
    charged: GaugePressure
    minimum: GaugePressure
    factors: tuple[float, float]


@dataclass(frozen=True, slots=True)
class BottlesQuestion:
    """The same, the fluid wanted, and the functions in order where they are known."""

    efficiency: EfficiencyQuestion
    functional_volume: float
    functions: tuple[Function, ...]


@dataclass(frozen=True, slots=True)
class BestQuestion:
    """A bank, what it is charged to, and what is asked of it."""

    bank: Bank
    charged: GaugePressure
    demands: tuple[Demand, ...]
    has_precharge: bool


def parse_volumetric_efficiency(fields: Fields, _: Sequence[Edition]) -> EfficiencyQuestion:
    """Read bank, pressures and both factors, which have no default."""
    return EfficiencyQuestion(
        read_bank(fields),
        read_pressure(fields, "charged"),
        read_pressure(fields, "minimum"),
        (_factor(fields, "pressure_factor"), _factor(fields, "volume_factor")),
    )


def _factor(fields: Fields, key: str) -> float:
    if not fields.has(key):
        raise InputError(
            fields.path(key),
            "This factor is missing, and there is no default: the published values are not confirmed to us.",
            f"Give {key} from the edition of API Specification 16D that applies to you.",
        )
    return fields.si(key, Dimension.RATIO)


def compute_volumetric_efficiency(asked: EfficiencyQuestion) -> VolumetricEfficiency:
    """Answer the question."""
    return sizing.volumetric_efficiency(asked.bank, asked.charged, asked.minimum, *asked.factors)


def format_volumetric_efficiency(found: VolumetricEfficiency, system: System) -> dict[str, Any]:
    """Write the efficiency, both limits, which governs, the optimum precharge, working and cautions."""
    return {
        **_efficiency(found, system),
        "working": working.lines(found.working, system),
        "cautions": list(found.cautions),
    }


def _efficiency(found: VolumetricEfficiency, system: System) -> dict[str, Any]:
    return {
        "volumetric_efficiency": trimmed(found.efficiency),
        "pressure_limited": trimmed(found.pressure_limited),
        "volume_limited": trimmed(found.volume_limited),
        "governs": found.governs,
        "optimum_precharge": quantity(found.optimum_precharge, Dimension.PRESSURE, system),
    }


def parse_bottles_required(fields: Fields, editions: Sequence[Edition]) -> BottlesQuestion:
    """Read the efficiency's keys, the fluid wanted, and functions for the check of the sequence.

    Without ``functional_volume`` the functions' volumes are added up.
    """
    functions = read_functions(fields) if fields.has("functions") else ()
    wanted = fields.si_or_none("functional_volume", Dimension.VOLUME)
    if wanted is None and not functions:
        raise InputError("functional_volume", "This value is missing.", "Give functional_volume, or functions.")
    total = sum(one.volume for one in functions) if wanted is None else wanted
    return BottlesQuestion(parse_volumetric_efficiency(fields, editions), total, functions)


def compute_bottles_required(asked: BottlesQuestion) -> BottlesRequired:
    """Answer the question."""
    one = asked.efficiency
    return sizing.bottles_required(
        one.bank, one.charged, one.minimum, asked.functional_volume, one.factors, asked.functions
    )


def format_bottles_required(found: BottlesRequired, system: System) -> dict[str, Any]:
    """Write the count, what governs it, the sequence on so many bottles, every model beside."""
    sequence = found.sequence
    return {
        "bottles": found.bottles,
        "exact": trimmed(found.exact),
        **_efficiency(found.efficiency, system),
        "sequence": None if sequence is None else format_closing_sequence(sequence, system),
        "bottles_for_sequence": found.bottles_for_sequence,
        "beside": {model.value: {"bottles": bottles, "words": model.words} for model, bottles in found.beside},
        "working": working.lines(found.working, system),
        "cautions": list(found.cautions),
    }


def parse_best_precharge(fields: Fields, _: Sequence[Edition]) -> BestQuestion:
    """Read a bank, whose precharge may be left out, and ``minimum`` or ``functions`` with their minimums."""
    charged = read_pressure(fields, "charged")
    if not charged > 0:
        raise InputError(fields.path("charged"), "The charged pressure is not over zero.", "Give the gauge pressure.")
    nitrogen.checked(absolute(charged), DEFAULT_TEMPERATURE, field=fields.path("charged"))
    has_precharge = fields.has("precharge")
    # Any precharge under the charged pressure will do where none is given: it is what is sought.
    bank = read_bank(fields, precharge=None if has_precharge else GaugePressure(charged / 2))
    return BestQuestion(bank, charged, _demands(fields), has_precharge)


def _demands(fields: Fields) -> tuple[Demand, ...]:
    least = fields.si_or_none("minimum", Dimension.PRESSURE)
    if not fields.has("functions"):
        return (Demand(GaugePressure(fields.si("minimum", Dimension.PRESSURE) if least is None else least)),)
    found = []
    for index, function in enumerate(read_functions(fields)):
        minimum = function.minimum_pressure if function.minimum_pressure is not None else least
        if minimum is None:
            path = f"{fields.path('functions')}.{index}.minimum_pressure"
            raise InputError(path, "The function has no minimum pressure.", "Give it, or minimum for all.")
        found.append(Demand(GaugePressure(minimum), function.volume))
    return tuple(found)


def compute_best_precharge(asked: BestQuestion) -> tuple[BestQuestion, BestPrecharge]:
    """Answer the question."""
    return asked, sizing.best_precharge(asked.bank, asked.charged, asked.demands)


def format_best_precharge(answer: tuple[BestQuestion, BestPrecharge], system: System) -> dict[str, Any]:
    """Write the precharge, what it gives, the curve, every model beside, working and cautions."""
    asked, found = answer
    return {
        "precharge": quantity(found.precharge, Dimension.PRESSURE, system),
        "usable": quantity(found.usable, Dimension.VOLUME, system),
        "times_covered": trimmed(found.times_covered) if _has_volumes(asked) else None,
        "now": _point(asked, found.now, system) if asked.has_precharge else None,
        "curve": [_point(asked, one, system) for one in found.curve],
        "beside": {
            model.value: {
                "precharge": quantity_or_none(precharge, Dimension.PRESSURE, system),
                "words": model.words,
            }
            for model, precharge in found.beside
        },
        "working": working.lines(found.working, system),
        "cautions": list(found.cautions),
    }


def _has_volumes(asked: BestQuestion) -> bool:
    return asked.demands != tuple(replace(one, volume=1.0) for one in asked.demands)


def _point(asked: BestQuestion, point: CurvePoint, system: System) -> dict[str, Any]:
    return {
        "precharge": quantity(point.precharge, Dimension.PRESSURE, system),
        "usable": quantity(point.usable, Dimension.VOLUME, system),
        "times_covered": trimmed(point.times_covered) if _has_volumes(asked) else None,
    }
