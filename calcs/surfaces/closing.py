"""The surfaces ``closing-sequence`` and ``closing-pressure``."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calcs import closing, working
from calcs.accumulators import Bank
from calcs.closing import DEFAULT_RESERVE, NO_FRICTION, ClosingPressure, ClosingSequence, Function, SequenceStep, Shear
from calcs.errors import InputError
from calcs.fields import Fields
from calcs.rules import Edition
from calcs.surfaces.accumulators import read_bank, read_pressure
from calcs.surfaces.answers import quantity, quantity_or_none
from calcs.units import Dimension, GaugePressure, System


@dataclass(frozen=True, slots=True)
class SequenceQuestion:
    """A bank, what it is charged to, the functions in order, and the pressure to keep over the precharge."""

    bank: Bank
    charged: GaugePressure
    functions: tuple[Function, ...]
    reserve: GaugePressure


@dataclass(frozen=True, slots=True)
class ClosingQuestion:
    """A ram against a wellbore pressure, and the pipe in it."""

    wellbore_pressure: GaugePressure
    closing_ratio: float
    operator_friction: GaugePressure
    shear: Shear | None


def read_functions(fields: Fields) -> tuple[Function, ...]:
    """Read the functions in their order; a list too long is refused before it is read."""
    given = fields.any("functions")
    if isinstance(given, list | tuple):
        closing.check_functions(given)
    return tuple(_function(one) for one in fields.objects("functions"))


def _function(one: Fields) -> Function:
    name, volume = one.text("name"), one.si("volume", Dimension.VOLUME)
    least = one.si_or_none("minimum_pressure", Dimension.PRESSURE)
    try:
        return Function(name, volume, None if least is None else GaugePressure(least))
    except InputError as error:
        raise error.under(one.path_of_self) from error


def read_reserve(fields: Fields) -> GaugePressure:
    """Read the pressure to keep over the precharge, 200 psi when none is given."""
    return read_pressure(fields, "reserve") if fields.has("reserve") else DEFAULT_RESERVE


def parse_closing_sequence(fields: Fields, _: Sequence[Edition]) -> SequenceQuestion:
    """Read bank, charged pressure, functions and reserve."""
    return SequenceQuestion(
        read_bank(fields), read_pressure(fields, "charged"), read_functions(fields), read_reserve(fields)
    )


def compute_closing_sequence(asked: SequenceQuestion) -> ClosingSequence:
    """Answer the question."""
    return closing.closing_sequence(asked.bank, asked.charged, asked.functions, asked.reserve)


def format_closing_sequence(found: ClosingSequence, system: System) -> dict[str, Any]:
    """Write every step, the final pressure with its margin, the verdict with its reasons, every model beside."""
    return {
        "steps": [_step(step, system) for step in found.steps],
        "final_pressure": quantity_or_none(found.final_pressure, Dimension.PRESSURE, system),
        "limit": quantity(found.limit, Dimension.PRESSURE, system),
        "margin": quantity_or_none(found.margin, Dimension.PRESSURE, system),
        "passes": found.passes,
        "reasons": list(found.reasons),
        "beside": {
            model.value: {
                "final_pressure": quantity_or_none(final, Dimension.PRESSURE, system),
                "passes": passes,
                "words": model.words,
            }
            for model, final, passes in found.beside
        },
        "working": working.lines(found.working, system),
        "cautions": list(found.cautions),
    }


def _step(step: SequenceStep, system: System) -> dict[str, Any]:
    return {
        "name": step.name,
        "volume": quantity(step.volume, Dimension.VOLUME, system),
        "pressure": quantity_or_none(step.pressure, Dimension.PRESSURE, system),
        "usable_left": quantity(step.usable_left, Dimension.VOLUME, system),
        "stored_left": quantity(step.stored_left, Dimension.VOLUME, system),
        "minimum_pressure": quantity_or_none(step.minimum_pressure, Dimension.PRESSURE, system),
        "minimum_met": step.met,
        "gas_temperature": quantity_or_none(step.gas_temperature, Dimension.TEMPERATURE, system),
    }


def parse_closing_pressure(fields: Fields, _: Sequence[Edition]) -> ClosingQuestion:
    """Read wellbore pressure, closing ratio, friction, and pipe to shear under ``shear``."""
    return ClosingQuestion(
        read_pressure(fields, "wellbore_pressure"),
        fields.si("closing_ratio", Dimension.RATIO),
        read_pressure(fields, "operator_friction") if fields.has("operator_friction") else NO_FRICTION,
        _shear(fields.object("shear")) if fields.has("shear") else None,
    )


def _shear(one: Fields) -> Shear:
    outside, inside = one.si("pipe_od", Dimension.LENGTH), one.si("pipe_id", Dimension.LENGTH)
    strength, area = one.si("yield_strength", Dimension.PRESSURE), one.si("closing_area", Dimension.AREA)
    tested = one.si_or_none("tested_pressure", Dimension.PRESSURE)
    try:
        return Shear(outside, inside, strength, area, None if tested is None else GaugePressure(tested))
    except InputError as error:
        raise error.under(one.path_of_self) from error


def compute_closing_pressure(asked: ClosingQuestion) -> ClosingPressure:
    """Answer the question."""
    return closing.closing_pressure(asked.wellbore_pressure, asked.closing_ratio, asked.operator_friction, asked.shear)


def format_closing_pressure(found: ClosingPressure, system: System) -> dict[str, Any]:
    """Write the pressure, the shear estimate where pipe is given, working and cautions."""
    answer: dict[str, Any] = {"pressure": quantity(found.pressure, Dimension.PRESSURE, system)}
    if found.shear_force is not None:
        answer["shear"] = {
            "force_estimate": quantity(found.shear_force, Dimension.FORCE, system),
            "pressure_estimate": quantity_or_none(found.shear_estimate, Dimension.PRESSURE, system),
            "pressure": quantity_or_none(found.shear_pressure, Dimension.PRESSURE, system),
            "is_estimate": found.shear_pressure == found.shear_estimate,
        }
    return {**answer, "working": working.lines(found.working, system), "cautions": list(found.cautions)}
