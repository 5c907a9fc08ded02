"""The sealed content of a pressure test, copied once from its rows. See `documents.content`."""

from collections.abc import Iterable, Sequence
from typing import Any

from tests_app.documents import content as shape
from tests_app.documents.envelope import choice, envelope_of, file_content, section_content
from tests_app.documents.step_copies import Local, as_entered, open_line, step_content, unassigned_hold
from tests_app.models import Line, Outcome, PressureTest, Record, Recording, Step
from tests_app.queries.alarms import alarms_of
from tests_app.queries.proposals import loose_holds
from tests_app.queries.records import final_lines, recordings_of, steps_of
from tests_app.queries.unproven import Unproven, unproven_of


def pressure_content(record: Record) -> shape.Content:
    """Return the content of a pressure test that is being sealed, from its rows. A constant number of queries."""
    local = Local.of(record.rig)
    steps = list(steps_of(record))
    recordings = list(recordings_of(record))
    by_key = {step.pk: step for step in steps}
    final = final_lines(_with_steps(steps))
    open_lines = [line for line in final if line.outcome == Outcome.FAILED]
    return {
        "form": "pressure-test/1",
        **envelope_of(record, local),
        "section": section_content(record.section),
        "heading": heading_content(record.pressure_test),
        "rules": rules_content(line for step in steps for line in step.lines.all()),
        "passed": not open_lines,
        "open_lines": [open_line(line, by_key[line.step_id]) for line in open_lines],
        "alarms": [alarm.text for alarm in alarms_of(record, steps)],
        "steps": [step_content(step, local=local, proved_by=proved_by(steps)) for step in steps],
        "unproven": [_unproven(one, local) for one in unproven_of(record, steps)],
        "files": [file_content(recording, _used(recording, steps), local) for recording in recordings],
        "unassigned_holds": [unassigned_hold(hold, local) for hold in loose_holds(recordings, steps)],
    }


def _with_steps(steps: Iterable[Step]) -> list[Line]:
    """Return the lines of all steps, each knowing its step without another query."""
    lines = []
    for step in steps:
        for line in step.lines.all():
            line.step = step
            lines.append(line)
    return lines


def proved_by(steps: Sequence[Step]) -> dict[int, int]:
    """Return for each line that a later step proves after it the order of that step, the first that passed."""
    proved: dict[int, int] = {}
    later: dict[tuple[int, str], int] = {}
    for step in reversed(steps):
        for line in step.lines.all():
            key = (line.position_id, line.pressure_from)
            if key in later:
                proved[line.pk] = later[key]
        for line in step.lines.all():
            key = (line.position_id, line.pressure_from)
            if line.outcome == Outcome.PASSED:
                later[key] = step.order
    return proved


def _unproven(one: Unproven, local: Local) -> shape.UnprovenContent:
    return {
        "position": one.position.name,
        "kind": one.component.get_kind_display(),
        "serial": one.component.serial,
        "by_hold": one.by_hold,
        "failed_here": one.failed_here,
        "last_proved": _proof(one.last, local),
        "failed_since": _proof(one.failed_since, local),
    }


def _proof(test: Record | None, local: Local) -> shape.ProofContent | None:
    if test is None or test.concluded_at is None:
        return None
    return {"record": test.number, "concluded_at": local.moment(test.concluded_at)}


def heading_content(heading: PressureTest) -> shape.Heading:
    """Return what holds for the whole test."""
    station = {"key": heading.control_station, "text": heading.get_control_station_display()}
    pod = {"key": heading.pod, "text": heading.get_pod_display()}
    return {
        "reason": {"key": heading.reason, "text": heading.get_reason_display()},
        "fluid": {"key": heading.fluid, "text": heading.get_fluid_display()},
        "barrier": {"key": heading.barrier, "text": heading.get_barrier_display()},
        "pipe_in_hole": as_entered(heading.pipe_in_hole),
        "control_station": choice(station),
        "pod": choice(pod),
        "pump_operator": heading.pump_operator,
        "plan_reference": heading.plan_reference,
    }


def rules_content(lines: Iterable[Line]) -> list[shape.RuleContent]:
    """Return each clause the lines stand on, once."""
    rows: dict[tuple[str, str], Any] = {}
    for line in lines:
        for rule in line.rules:
            row = {"clause": rule["clause"], "text": rule["text"], "confidence": rule["confidence"]}
            rows.setdefault((rule["clause"], rule["text"]), row)
    return [rows[key] for key in sorted(rows)]


def _used(recording: Recording, steps: Sequence[Step]) -> list[int]:
    """Return the orders of the steps judged from a file or attached to it."""
    return sorted({step.order for step in steps if recording.pk == step.recording_id or step.pk == recording.step_id})
