"""Where defects are found: the failed lines of signed tests, what each asks of a retest, and those nobody took up."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db.models import Q

from equipment.models import Component, ComponentKind, ControlItem, Measured, Position, Rig
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from tests_app.models import (
    BarrierAffected,
    ClosedOn,
    Defect,
    Disposition,
    FunctionLine,
    Line,
    Outcome,
    PressureTest,
    Record,
    ShownBy,
)
from tests_app.queries.corrections import counts_instead_of, earlier_of, keys_corrected

CLOSES_ON_PIPE: Final = frozenset({ComponentKind.ANNULAR, ComponentKind.PIPE_RAM, ComponentKind.VARIABLE_BORE_RAM})
_STRING: Final = frozenset({ComponentKind.KELLY_VALVE, ComponentKind.SAFETY_VALVE, ComponentKind.INSIDE_BOP})
_CONTROL: Final = frozenset({ComponentKind.CLOSING_UNIT, ComponentKind.ACCUMULATOR_BANK})
_OUTSIDE: Final = frozenset({ComponentKind.CONNECTOR, ComponentKind.DRILLING_SPOOL, ComponentKind.RISER})
_LINES: Final = frozenset(
    {
        ComponentKind.CHOKE_VALVE,
        ComponentKind.KILL_VALVE,
        ComponentKind.GATE_VALVE_HYDRAULIC,
        ComponentKind.GATE_VALVE_MANUAL,
        ComponentKind.CHECK_VALVE,
        ComponentKind.CHOKE,
        ComponentKind.MANIFOLD,
        ComponentKind.STANDPIPE_VALVE,
        ComponentKind.FLEXIBLE_LINE,
    }
)


@dataclass(frozen=True)
class Failed:
    """What failed and what a retest has to show, as a line of a test has it.

    `found_at` is when its hold ended, or where no clock tells that when the test began: the earlier is the stricter.
    """

    rig: Rig
    shown_by: str
    found_at: datetime
    component: Component | None = None
    position: Position | None = None
    control_item: ControlItem | None = None
    line: Line | None = None
    function_line: FunctionLine | None = None
    pressure_from: str = ""
    pressure: Measured | None = None
    low_asked: bool = False
    closed_on: str = ""
    pipe: Measured | None = None

    @property
    def subject(self) -> str:
        """What failed, in words."""
        if self.position is not None:
            return f"{self.position.name}, {self.component}"
        return str(self.component or self.control_item)

    @property
    def record(self) -> Record | None:
        """The test it failed in."""
        return record_of_line(self.line or self.function_line) if self.line or self.function_line else None


def record_of_line(line: Line | FunctionLine | None) -> Record:
    """Return the test a line stands in."""
    assert line is not None
    return line.step.record if isinstance(line, Line) else line.record


def failed_line(line: Line | FunctionLine) -> Failed:
    """Return what a failed line says of what failed."""
    return _of_pressure(line) if isinstance(line, Line) else _of_function(line)


def _of_pressure(line: Line) -> Failed:
    record = line.step.record
    pipe = pipe_of(record.pressure_test) if line.component.kind in CLOSES_ON_PIPE else None
    return Failed(
        rig=record.rig,
        shown_by=ShownBy.PRESSURE,
        found_at=line.step.concluded_at or record.started_at,
        component=line.component,
        position=line.position,
        line=line,
        pressure_from=line.pressure_from,
        pressure=line.required_high,
        low_asked=line.required_low_min is not None,
        closed_on=closed_on_of(line.component.kind, pipe),
        pipe=pipe,
    )


def _of_function(line: FunctionLine) -> Failed:
    return Failed(
        rig=line.record.rig,
        shown_by=ShownBy.FUNCTION,
        found_at=line.record.started_at,
        component=line.component,
        position=line.position,
        control_item=line.control_item,
        function_line=line,
        closed_on=line.closed_on if line.component and line.component.kind in CLOSES_ON_PIPE else "",
        pipe=line.pipe if line.component and line.component.kind in CLOSES_ON_PIPE else None,
    )


def pipe_of(heading: PressureTest) -> Measured | None:
    """Return the pipe that stood in the hole during a pressure test."""
    pipe: Measured | None = heading.pipe_in_hole
    return pipe


def closed_on_of(kind: str, pipe: Measured | None) -> str:
    """Return what a component closed on in a pressure test; nothing of what closes on no pipe."""
    if kind not in CLOSES_ON_PIPE:
        return ""
    return ClosedOn.PIPE if pipe is not None else ClosedOn.OPEN_HOLE


def usual_barrier(failed: Failed) -> str:
    """Return the barrier the kind of thing usually is part of; a proposal, never a judgement."""
    if failed.component is None:
        return BarrierAffected.CONTROL
    return barrier_of(failed.component.kind)


def barrier_of(kind: str) -> str:
    """Return the barrier a kind of component is usually part of (common practice)."""
    found = {
        BarrierAffected.STRING: _STRING,
        BarrierAffected.CONTROL: _CONTROL,
        BarrierAffected.OUTSIDE: _OUTSIDE,
        BarrierAffected.LINES: _LINES,
    }
    return next((barrier for barrier, kinds in found.items() if kind in kinds), BarrierAffected.BORE)


def failed_line_for(user: Viewer, pk: int, *, worked: bool, needs: Right = Right.READ) -> Line | FunctionLine:
    """Return a line of a pressure test, or with `worked` of a function test; raises NotYours or NotAllowed."""
    found = _function_line(pk) if worked else _pressure_line(pk)
    access.checked(user, record_of_line(found).rig if found else None, needs=needs)
    assert found is not None
    return found


def read_again(line: Line | FunctionLine) -> Line | FunctionLine:
    """Return a line with its test as they are now: what was read before may have been corrected since."""
    fresh = _pressure_line(line.pk) if isinstance(line, Line) else _function_line(line.pk)
    assert fresh is not None  # lines of signed tests are never deleted
    return fresh


def _function_line(pk: int) -> FunctionLine | None:
    lines = FunctionLine.objects.select_related("record__rig", "component", "position", "control_item")
    return lines.filter(pk=pk).first()


def _pressure_line(pk: int) -> Line | None:
    links = ("step__record__rig", "step__record__pressure_test", "component", "position")
    return Line.objects.select_related(*links).filter(pk=pk).first()


def why_not_opened(line: Line | FunctionLine) -> str:
    """Return why no defect is opened from a line, in words; "" where one may be."""
    record = record_of_line(line)
    if line.outcome != Outcome.FAILED:
        return "This line did not fail."
    if record.frozen_at is None:
        return "The test is not signed yet, so its lines may still change."
    later = counts_instead_of(record)
    if later is not None:
        return f"Test {later.number} corrects this test: open the defect from there."
    known = defects_by_line(record).get(_place(line))
    return f"Defect {known.number} is open for this line already." if known else ""


LinePlace = tuple[int, int | None, str]
"""Where a line stands in a test: step or line number, position, side; the same in a correction of it."""


def _place(line: Line | FunctionLine) -> LinePlace:
    if isinstance(line, Line):
        return line.step.order, line.position_id, line.pressure_from
    return line.order, line.position_id, ""


def defects_by_line(record: Record) -> dict[LinePlace, Defect]:
    """Return the defects opened from lines of a test, or of those it corrects, by the place of the line.

    What was entered in error is left out. Two queries at most.
    """
    tests = {record.pk, *earlier_of(record)}
    named = Q(line__step__record__in=tests) | Q(function_line__record__in=tests)
    found = Defect.objects.filter(named).exclude(closings__disposition=Disposition.IN_ERROR)
    rows = found.select_related("line__step", "function_line").defer("line__step__verdict", "function_line__verdict")
    return {_place(line): one for one in rows if (line := one.line or one.function_line)}


@dataclass(frozen=True)
class LineDefect:
    """A failed line of a signed test with the defect opened from it, or where none was."""

    line: Line | FunctionLine
    defect: Defect | None


def failed_lines_of(record: Record) -> dict[LinePlace, LineDefect]:
    """Return the failed lines of a signed test by their place, each with its defect. A constant number of queries."""
    if record.frozen_at is None:
        return {}
    known = defects_by_line(record)
    pressed = Line.objects.filter(step__record=record, outcome=Outcome.FAILED).select_related("step", "position")
    worked = FunctionLine.objects.filter(record=record, outcome=Outcome.FAILED).select_related("position")
    lines: list[Line | FunctionLine] = [*pressed.defer("step__verdict", "step__limits"), *worked.defer("verdict")]
    return {_place(line): LineDefect(line, known.get(_place(line))) for line in lines}


def not_taken_up(rig: Rig, *, since: datetime) -> list[Line | FunctionLine]:
    """Return the failed lines of the rig's sealed tests since a moment that nobody opened a defect from, latest first.

    Tests that were corrected are left out. A constant number of queries.
    """
    tests = Record.objects.filter(rig=rig, sealed_at__isnull=False, started_at__gte=since)
    counting = tests.exclude(pk__in=keys_corrected(tests))
    mine = Q(defects__isnull=True) & Q(outcome=Outcome.FAILED)
    pressed = Line.objects.filter(mine, step__record__in=counting.values("pk")).select_related(
        "step__record", "position", "component"
    )
    worked = FunctionLine.objects.filter(mine, record__in=counting.values("pk")).select_related(
        "record", "position", "component", "control_item"
    )
    bulky = ("step__verdict", "step__limits", "step__record__content")
    lines: list[Line | FunctionLine] = [*pressed.defer(*bulky), *worked.defer("verdict", "record__content")]
    alone = [line for line in lines if not _known_from_before(line)]
    return sorted(alone, key=lambda line: record_of_line(line).started_at, reverse=True)


def _known_from_before(line: Line | FunctionLine) -> bool:
    """Tell whether a defect was opened from the same line of a test this one corrects."""
    record = record_of_line(line)
    return record.supersedes_id is not None and _place(line) in defects_by_line(record)
