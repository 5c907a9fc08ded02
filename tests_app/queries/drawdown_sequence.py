"""Which functions a drawdown usually works, from what stood in the stack, with the fluid each takes."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from equipment.models import Component, ComponentKind, Measured, Position, PositionGroup
from equipment.queries.stacks import Standing, as_installed
from tests_app.models import Movement, Record
from tests_app.queries.line_ups import BLIND

NEVER_ON_PIPE: Final = BLIND | {ComponentKind.CASING_SHEAR_RAM}
"""Kinds that are never closed in a drawdown while pipe stands in the hole."""
_PIPE_RAMS: Final = frozenset({ComponentKind.PIPE_RAM, ComponentKind.VARIABLE_BORE_RAM})
_LINE_VALVES: Final = frozenset(
    {ComponentKind.CHOKE_VALVE, ComponentKind.KILL_VALVE, ComponentKind.GATE_VALVE_HYDRAULIC}
)
_SIDES: Final = frozenset({PositionGroup.CHOKE_SIDE, PositionGroup.KILL_SIDE})


@dataclass(frozen=True)
class Planned:
    """One function of the usual sequence; `volume` is None where the component's is not on file."""

    position: Position
    component: Component
    movement: str
    volume: Measured | None

    @property
    def name(self) -> str:
        """Return what the function is called: ``Annular, close``."""
        return f"{self.position.name}, {self.movement}"


@dataclass(frozen=True)
class LeftOut:
    """What stood in the stack and is not worked, and why."""

    position: Position
    component: Component
    reason: str


@dataclass(frozen=True)
class UsualSequence:
    """The functions in order, and what was left out of them."""

    planned: tuple[Planned, ...]
    left_out: tuple[LeftOut, ...]


def usual_sequence(record: Record) -> UsualSequence:
    """Return annulars closed, pipe rams closed, then hydraulic choke and kill valves opened (common practice).

    Never a blind or shear ram. A pipe ram that does not close on the pipe in the hole is left out, and so is a line
    valve without an opening volume on file: it may be worked by hand. Two queries.
    """
    standings = [one for one in as_installed(record.stack, at=record.started_at) if one.component is not None]
    pipe = record.drawdown_test.pipe_in_hole
    planned: list[Planned] = []
    left_out: list[LeftOut] = []
    for position, component in _in_order(standings):
        reason = _left_out(component, pipe)
        if reason:
            left_out.append(LeftOut(position, component, reason))
        else:
            movement = Movement.OPEN if component.kind in _LINE_VALVES else Movement.CLOSE
            planned.append(Planned(position, component, movement, volume_of(component, movement)))
    return UsualSequence(tuple(planned), tuple(left_out))


def volume_of(component: Component, movement: str) -> Measured | None:
    """Return the fluid a movement of a component takes, as on file."""
    volume: Measured | None = component.opening_volume if movement == Movement.OPEN else component.closing_volume
    return volume


def _in_order(standings: Iterable[Standing]) -> Iterator[tuple[Position, Component]]:
    found = [(one.position, one.component) for one in standings if one.component is not None]
    bore = [one for one in found if one[0].group == PositionGroup.BORE]
    yield from (one for one in bore if one[1].kind == ComponentKind.ANNULAR)
    yield from (one for one in bore if one[1].kind in _PIPE_RAMS)
    yield from (one for one in bore if one[1].kind in NEVER_ON_PIPE)
    yield from (one for one in found if one[0].group in _SIDES and one[1].kind in _LINE_VALVES)


def _left_out(component: Component, pipe: Measured | None) -> str:
    if component.kind in NEVER_ON_PIPE:
        return "A blind or shear ram is not closed in a drawdown."
    if component.kind in _PIPE_RAMS and pipe is not None and not _closes_on(component, pipe):
        return f"It does not close on {pipe} pipe."
    if component.kind in _LINE_VALVES and component.opening_volume is None:
        return "No opening volume is on file: it may be worked by hand."
    return ""


def _closes_on(component: Component, pipe: Measured) -> bool:
    """Tell whether a ram closes on pipe of this size; one without sizes on file may."""
    smallest, largest = component.closes_on_smallest, component.closes_on_largest
    slack = 1e-6
    over = smallest is None or pipe.si >= smallest.si - slack
    return over and (largest is None or pipe.si <= largest.si + slack)
