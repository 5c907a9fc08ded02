"""The calculations by name, reached the same way from Python, a command line and HTTP.

A document goes in (an object of named values) and an object comes out, ready for JSON. Quantities
are texts with a unit (``"3000 psi"``) or ``{"value": 3000, "unit": "psi"}``; pressures are gauge unless
a key says otherwise. ``"units": "si"`` answers in kPa, m and °C, the default ``"us"`` in psi, ft and °F.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from calcs.errors import InputError
from calcs.fields import Fields
from calcs.rules import Edition
from calcs.surfaces import (
    accumulators,
    closing,
    drawdown,
    drawdown_records,
    holds,
    line_ups,
    pressures,
    recurrence,
    requirements,
    sizing,
)
from calcs.units import System

SYSTEMS: Final[tuple[System, System]] = ("us", "si")


@dataclass(frozen=True, slots=True)
class Calculation:
    """One calculation: a document is parsed, the result computed, and written in a unit system.

    Attributes:
        name: what callers ask for.
        summary: one line on what it answers.
        parse: reads every key it knows from the fields; keys left unread are refused afterwards. The
            second argument holds the editions of the rule book, for those that look rules up.
        compute: the pure function.
        format: writes the result in the unit system.
    """

    name: str
    summary: str
    parse: Callable[[Fields, Sequence[Edition]], Any]
    compute: Callable[[Any], Any]
    format: Callable[[Any, System], dict[str, Any]]


_TABLE: Final = (
    Calculation(
        "hydrostatic",
        "Pressure of a mud column at a true vertical depth.",
        pressures.parse_hydrostatic,
        pressures.compute_hydrostatic,
        pressures.format_hydrostatic,
    ),
    Calculation(
        "masp",
        "Maximum anticipated surface pressure, with what governs it and the working.",
        pressures.parse_masp,
        pressures.compute_masp,
        pressures.format_masp,
    ),
    Calculation(
        "test-pressures",
        "Low band, high pressure and hold a rule requires of a component.",
        requirements.parse_test_pressures,
        requirements.compute_test_pressures,
        requirements.format_test_pressures,
    ),
    Calculation(
        "due",
        "When the next test of an item is due in the rig's own time, and why.",
        recurrence.parse_due,
        recurrence.compute_due,
        recurrence.format_due,
    ),
    Calculation(
        "hold-check",
        "Whether a recording shows the low and the high hold of a step, and why not.",
        holds.parse_hold_check,
        holds.compute_hold_check,
        holds.format_hold_check,
    ),
    Calculation(
        "find-holds",
        "The low and high holds in the recording of a whole test, and the step each is proposed for.",
        holds.parse_find_holds,
        holds.compute_find_holds,
        holds.format_find_holds,
    ),
    Calculation(
        "usable-volume",
        "Fluid a bank gives between charged and minimum pressure, by every model, with each correction.",
        accumulators.parse_usable_volume,
        accumulators.compute_usable_volume,
        accumulators.format_usable_volume,
    ),
    Calculation(
        "pressure-after",
        "Pressure of a bank after fluid is drawn from it.",
        accumulators.parse_pressure_after,
        accumulators.compute_pressure_after,
        accumulators.format_pressure_after,
    ),
    Calculation(
        "precharge-at-temperature",
        "A precharge at another gas temperature.",
        accumulators.parse_precharge_at_temperature,
        accumulators.compute_precharge_at_temperature,
        accumulators.format_precharge_at_temperature,
    ),
    Calculation(
        "closing-sequence",
        "Whether a bank closes a sequence of functions with its pumps dead, step by step.",
        closing.parse_closing_sequence,
        closing.compute_closing_sequence,
        closing.format_closing_sequence,
    ),
    Calculation(
        "closing-pressure",
        "Pressure a ram needs to close and hold, with an estimate of the pressure to shear.",
        closing.parse_closing_pressure,
        closing.compute_closing_pressure,
        closing.format_closing_pressure,
    ),
    Calculation(
        "volumetric-efficiency",
        "Usable fluid over bottle volume with the design factors given, and the optimum precharge.",
        sizing.parse_volumetric_efficiency,
        sizing.compute_volumetric_efficiency,
        sizing.format_volumetric_efficiency,
    ),
    Calculation(
        "bottles-required",
        "Bottles a functional volume asks for, and how the sequence fares on them.",
        sizing.parse_bottles_required,
        sizing.compute_bottles_required,
        sizing.format_bottles_required,
    ),
    Calculation(
        "best-precharge",
        "The precharge that gives the most usable fluid, with the curve.",
        sizing.parse_best_precharge,
        sizing.compute_best_precharge,
        sizing.format_best_precharge,
    ),
    Calculation(
        "precharge-from-drawdown",
        "Average precharge of a bank from one drawdown, and what each gas law makes of the same readings.",
        drawdown.parse_precharge,
        drawdown.compute_precharge,
        drawdown.format_precharge,
    ),
    Calculation(
        "drawdown-fit",
        "What the pressures of a drawdown say about the gas of a bank, how surely, and what they can't tell.",
        drawdown.parse_fit,
        drawdown.compute_fit,
        drawdown.format_fit,
    ),
    Calculation(
        "drawdown-verdict",
        "Whether a drawdown, its timed chargings and its pumps meet the rules, and why not.",
        drawdown_records.parse_verdict,
        drawdown_records.compute_verdict,
        drawdown_records.format_verdict,
    ),
    Calculation(
        "drawdown-steps",
        "The drops of a drawdown in a recorder's file, and how far the pressure came back after each.",
        drawdown_records.parse_steps,
        drawdown_records.compute_steps,
        drawdown_records.format_steps,
    ),
    Calculation(
        "line-ups",
        "The fewest steps that pressure-test every element asked, with what each proves and why no fewer will do.",
        line_ups.parse_line_ups,
        line_ups.compute_line_ups,
        line_ups.format_line_ups,
    ),
)

CALCULATIONS: Final[Mapping[str, Calculation]] = {calculation.name: calculation for calculation in _TABLE}
"""Every calculation by name."""


def calculate(name: str, document: Any, *, editions: Sequence[Edition] = ()) -> dict[str, Any]:
    """Answer the calculation `name` for `document`.

    Raises InputError with the dotted path of the field at fault; for an unknown name the field is
    ``name`` and the remedy lists the known ones.

    >>> answer = calculate("hydrostatic", {"mud_weight": "10 lb/gal", "depth": "7000 ft"})
    >>> round(answer["pressure"]["value"], 1), answer["pressure"]["unit"]
    (3636.4, 'psi')
    """
    calculation = named(name)
    fields = Fields(document)
    system = _system(fields)
    try:
        asked = calculation.parse(fields, editions)
        fields.close()
        return calculation.format(calculation.compute(asked), system)
    except (ArithmeticError, RecursionError) as error:
        raise InputError(
            "", "The values can't be worked with: they are out of all proportion.", "Check them."
        ) from error


def named(name: str) -> Calculation:
    """Return the calculation of that name; raises InputError listing the known ones."""
    if name not in CALCULATIONS:
        known = ", ".join(sorted(CALCULATIONS))
        raise InputError("name", "There is no calculation of that name.", f"Known are: {known}.")
    return CALCULATIONS[name]


def _system(fields: Fields) -> System:
    chosen: Literal["us", "si"] = "si" if fields.choice("units", SYSTEMS, "us") == "si" else "us"
    return chosen
