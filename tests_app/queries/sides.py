"""From which sides an element is pressed on: the usual one, and those the rules ask for by name."""

from typing import Final

from calcs.errors import InputError
from calcs.rules import Choice, Side
from equipment.models import NOT_PRESSURE_TESTED
from equipment.queries.stacks import Standing
from tests_app.models import PressureFrom
from tests_app.queries.requirements import Circumstances, choice_for, default_side

BORE_SIDES: Final = (PressureFrom.BELOW, PressureFrom.ABOVE)
"""Sides of what closes the bore, the usual one first."""
OUTLET_SIDES: Final = (PressureFrom.WELL_SIDE, PressureFrom.FAR_SIDE)
"""Sides of valves and all else, the usual one first."""


def sides_of(kind: str) -> tuple[PressureFrom, PressureFrom]:
    """Return the two sides of a component of this kind: towards the well, and away from it."""
    return BORE_SIDES if default_side(kind) in BORE_SIDES else OUTLET_SIDES


def sides_asked(standing: Standing, *, under: Circumstances) -> tuple[PressureFrom, ...]:
    """Return the sides the rules ask a pressure test of an element from; none for what they exempt or don't speak of.

    The usual side unless they name sides and leave it out; the other one only where they name it.
    """
    component = standing.component
    if component is None or component.kind in NOT_PRESSURE_TESTED:
        return ()
    usual, other = sides_of(component.kind)
    asked = [usual] if _chosen(standing, usual, under) is not None else []
    named = _chosen(standing, other, under)
    if named is not None and _names(named, Side.OUTSIDE):
        asked.append(other)
    return tuple(asked)


def _chosen(standing: Standing, side: str, under: Circumstances) -> Choice | None:
    try:
        choice = choice_for(standing, side, under=under)
    except InputError:
        return None
    return None if choice.exempt is not None else choice


def _names(choice: Choice, side: Side) -> bool:
    """Tell whether one of the rules chosen is written for this side, and not for any."""
    scopes = (scope for rule in choice.pressure_rules for scope in rule.scopes)
    return any(side in scope.sides and not scope.mismatches(choice.subject) for scope in scopes)
