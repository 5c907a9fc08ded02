"""Records and what hangs on them: getting hold of one as a person may, and how its lines stand."""

from collections.abc import Iterable
from datetime import datetime
from typing import Final, TypeVar

from django.db.models import Model, Prefetch, QuerySet

from equipment.errors import NotYours
from equipment.models import Rig, Stack
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from tests_app.models import (
    Certificate,
    DrawdownFunction,
    DrawdownTest,
    FunctionLine,
    FunctionTest,
    Line,
    Outcome,
    PumpReading,
    PumpTest,
    Recharge,
    Record,
    Recording,
    RecordKind,
    Step,
)

Row = TypeVar("Row", bound=Model)
_WITH: Final = (
    "rig",
    "stack__rig",
    "section__well",
    "pressure_test",
    "drawdown_test__bank__component__rig",
    "drawdown_test__precharge_check",
    "pump_test__bank__component__rig",
    "function_test",
    "created_by",
    "supersedes",
    "superseded_by",
)


def records_visible(user: Viewer, rig: Rig) -> QuerySet[Record]:
    """Return the rig's records, latest first; none when the rig is out of the person's sight."""
    if not access.may(user, rig, Right.READ):
        return Record.objects.none()
    listed = Record.objects.filter(rig=rig).defer("content", "superseded_by__content")
    return listed.select_related("rig", "stack", "section__well", "superseded_by", "certificate").prefetch_related(
        "signatures"
    )


def record_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Record:
    """Return the record with its heading; raises NotYours or NotAllowed."""
    return _checked(user, Record.objects.select_related(*_WITH).filter(pk=pk).first(), needs)


def step_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Step:
    """Return the step with its record; raises NotYours or NotAllowed."""
    step = Step.objects.select_related(*_under("record"), "recording").filter(pk=pk).first()
    return _checked(user, step, needs)


def line_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Line:
    """Return the line with its step and record; raises NotYours or NotAllowed."""
    line = Line.objects.select_related(*_under("step__record"), "position", "component").filter(pk=pk).first()
    return _checked(user, line, needs)


def recording_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Recording:
    """Return the recording with its record; raises NotYours or NotAllowed."""
    recording = Recording.objects.select_related(*_under("record"), "step", "received_from").filter(pk=pk).first()
    return _checked(user, recording, needs)


def function_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> DrawdownFunction:
    """Return the function of a drawdown with its record; raises NotYours or NotAllowed."""
    functions = DrawdownFunction.objects.select_related(*_under("record"), "position", "component")
    return _checked(user, functions.filter(pk=pk).first(), needs)


def recharge_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Recharge:
    """Return the timed charging with its record; raises NotYours or NotAllowed."""
    return _checked(user, Recharge.objects.select_related(*_under("record")).filter(pk=pk).first(), needs)


def pump_reading_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> PumpReading:
    """Return what one pump did, with its record; raises NotYours or NotAllowed."""
    return _checked(user, PumpReading.objects.select_related(*_under("record")).filter(pk=pk).first(), needs)


def function_line_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> FunctionLine:
    """Return a line of a function test with its record; raises NotYours or NotAllowed."""
    lines = FunctionLine.objects.select_related(*_under("record"), "position", "component", "control_item")
    return _checked(user, lines.filter(pk=pk).first(), needs)


def certificate_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Certificate:
    """Return the certificate of the record with that key; raises NotYours or NotAllowed."""
    certificate = Certificate.objects.select_related(*_under("record")).filter(record_id=pk).first()
    return _checked(user, certificate, needs)


def steps_of(record: Record) -> QuerySet[Step]:
    """Return the steps in order, with their lines, files, readings and retests. A constant number of queries."""
    lines = Line.objects.select_related("position__stack", "component").order_by("position__order", "pressure_from")
    return (
        record.steps.select_related("recording", "retest_of", "line_up")
        .defer("recording__curve", "retest_of__verdict")
        .prefetch_related(
            Prefetch("lines", queryset=lines),
            "typed_readings",
            Prefetch("recordings", queryset=Recording.objects.defer("curve")),
            Prefetch("retests", queryset=Step.objects.defer("verdict")),
        )
        .order_by("order")
    )


def recordings_of(record: Record) -> QuerySet[Recording]:
    """Return the record's files in the order received, withdrawn ones with them."""
    files = record.recordings.select_related("step", "received_from").defer("curve", "step__verdict")
    return files.order_by("received_at", "id")


def final_lines(lines: Iterable[Line]) -> list[Line]:
    """Return of each element and side the line of the last step that proves it: a retest replaces what failed."""
    last: dict[tuple[int, str], Line] = {}
    for line in sorted(lines, key=lambda line: line.step.order):
        last[(line.position_id, line.pressure_from)] = line
    return list(last.values())


def lines_of(record: Record) -> QuerySet[Line]:
    """Return all lines of a record, in the order of its steps."""
    lines = Line.objects.filter(step__record=record).select_related("step", "position", "component")
    lines = lines.defer("step__verdict")
    return lines.order_by("step__order", "position__order", "pressure_from")


def failed_lines_open(record: Record) -> list[Line]:
    """Return the lines left failed: no later step has proved the same element from the same side yet."""
    judged = lines_of(record).exclude(outcome=Outcome.PENDING)
    return [line for line in final_lines(judged) if line.outcome == Outcome.FAILED]


def is_passed(record: Record) -> bool:
    """Tell whether a judged record passes: no line of a pressure test is left failed, or its test passed as a whole."""
    if record.kind == RecordKind.PRESSURE:
        return not failed_lines_open(record)
    return bool(heading_of(record).outcome == Outcome.PASSED)


def heading_of(record: Record) -> DrawdownTest | PumpTest | FunctionTest:
    """Return the heading of a record that is judged as a whole: of every kind but a pressure test."""
    if record.kind == RecordKind.FUNCTION:
        return record.function_test
    return record.drawdown_test if record.kind == RecordKind.DRAWDOWN else record.pump_test


def last_station_and_pod(stack: Stack, *, before: datetime) -> tuple[str, str]:
    """Return the control station and pod of the stack's last sealed pressure test before a moment; empty where none.

    Stations and pods are used in turn from one test to the next (30 CFR 250.737(d)(5), from memory): a page
    can point out a repeat.
    """
    last = (
        Record.objects.filter(stack=stack, kind=RecordKind.PRESSURE, sealed_at__isnull=False, started_at__lt=before)
        .select_related("pressure_test")
        .order_by("-started_at")
        .first()
    )
    return ("", "") if last is None else (last.pressure_test.control_station, last.pressure_test.pod)


def _under(path: str) -> tuple[str, ...]:
    return tuple(f"{path}__{name}" for name in _WITH[:8])


def _checked(user: Viewer, row: Row | None, needs: Right) -> Row:
    if row is None:
        raise NotYours("There is nothing here.")
    access.check(user, _record_of(row).rig, needs=needs)
    return row


def _record_of(row: Model) -> Record:
    if isinstance(row, Record):
        return row
    if isinstance(row, Line):
        return row.step.record
    assert isinstance(row, Step | Recording | Certificate | DrawdownFunction | Recharge | PumpReading | FunctionLine)
    return row.record
