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
from calcs.surfaces import holds, pressures, recurrence, requirements
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
        "hold-check",
        "Whether a recording holds the low and the high pressure a rule requires, and why not.",
        holds.parse_hold_check,
        holds.compute_hold_check,
        holds.format_hold_check,
    ),
    Calculation(
        "find-holds",
        "The low and high holds in a recording of several steps, in order, each with its step.",
        holds.parse_find_holds,
        holds.compute_find_holds,
        holds.format_find_holds,
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
