"""Function tests: opening one, its heading, what has to be so before it, and what of the stack it works."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Final

from django.db import transaction
from django.db.models import Max

from accounts.models import User
from equipment.actions import refusals, saving
from equipment.errors import Refused
from equipment.models import ControlItem, HoleSection, Instrument, Stack
from equipment.queries.controls import STATION_KINDS, controls_of
from tests_app.actions.drafts import hold_draft, mark_changed
from tests_app.actions.drawdowns import refuse_strangers
from tests_app.actions.function_judging import copy_rows, judge_function_record
from tests_app.actions.pressure_tests import save_numbered, use_instruments
from tests_app.models import ClosedOn, FunctionLine, FunctionTest, Record, RecordKind
from tests_app.queries.function_statements import statements_of
from tests_app.queries.function_subjects import BY_HAND, CLOSES_ON_SOMETHING, FunctionSubject, subjects_of
from tests_app.queries.requirements import edition_of
from trail import entries

MOST_LINES: Final = 200
_ENVELOPE: Final = ("started_at", "remarks")
_JUDGED: Final = ("verdict", "outcome", "subject_as_tested", "controls_as_used")
"""Columns worked out anew from the others: the trail keeps what was entered."""
_ON_NO_PIPE: Final = frozenset({"blind-ram", "blind-shear-ram", "casing-shear-ram"})
"""Kinds that close on no pipe, unless it is to be sheared (common practice)."""
_SAME_AGAIN: Final = ("position", "component", "control_item", "station", "pod", "worked", "closed_on", "pipe")


@dataclass(frozen=True)
class FunctionHeading:
    """What holds for the whole test, as typed; quantities as text with their unit, such as ``5 in``."""

    started_at: datetime
    reason: str
    pipe_in_hole: str = ""
    manifold_pressure: str = ""
    annular_pressure: str = ""
    operator: str = ""
    remarks: str = ""


@dataclass(frozen=True)
class WorkedFrom:
    """The station and pod something was worked from; None where that is not said yet."""

    station: ControlItem | None = None
    pod: ControlItem | None = None


NOT_SAID: Final = WorkedFrom()


@transaction.atomic
def open_function_test(
    *,
    stack: Stack,
    section: HoleSection | None,
    heading: FunctionHeading,
    subjects: Sequence[FunctionSubject],
    worked_from: WorkedFrom,
    instruments: Sequence[Instrument],
    by: User,
    at: datetime,
) -> Record:
    """Open a draft of a function test with a line for each of `subjects`, worked from one station and pod.

    Raises Refused or ValidationError naming the field of the heading, `subjects`, `station`, `pod`, `section` or
    `instruments`.
    """
    rig = stack.rig
    saving.not_after(heading.started_at, at, field="started_at")
    refuse_strangers(rig, section, instruments)
    if not subjects:
        raise Refused("subjects", "Nothing is chosen to be worked.", "Choose at least one.")
    record = Record(
        rig=rig,
        stack=stack,
        section=section,
        kind=RecordKind.FUNCTION,
        edition=edition_of(rig).id,
        started_at=heading.started_at,
        remarks=heading.remarks.strip(),
        created_at=at,
        created_by=by,
    )
    save_numbered(record)
    test = FunctionTest(record=record)
    _write_heading(test, heading)
    use_instruments(record, instruments)
    for subject in subjects:
        _add(record, subject, worked_from)
    judge_function_record(record)
    after = {**told(record, instruments), "lines": [subject.name for subject in subjects]}
    entries.write("record.opened", record, by=by, at=at, rig_number=rig.pk, after=after)
    return record


@transaction.atomic
def amend_function_heading(
    record: Record,
    *,
    section: HoleSection | None,
    heading: FunctionHeading,
    instruments: Sequence[Instrument],
    version: int,
    by: User,
    at: datetime,
) -> Record:
    """Change the heading of a draft; every line is judged again.

    Raises RecordIsStale when the draft changed since `version`, Refused naming `started_at` when something worked did
    not stand there then, else as `open_function_test`.
    """
    held = hold_function_draft(record, version=version)
    saving.not_after(heading.started_at, at, field="started_at")
    refuse_strangers(held.rig, section, instruments)
    if held.concluded_at is not None and held.concluded_at <= heading.started_at:
        raise Refused("started_at", "The test would begin after it concluded.", "Give an earlier time.")
    _refuse_absent(held, heading.started_at)
    before = told(held, [use.instrument for use in held.instrument_uses.select_related("instrument")])
    held.section, held.started_at, held.remarks = section, heading.started_at, heading.remarks.strip()
    held.version += 1
    held.save()
    _write_heading(held.function_test, heading)
    held.instrument_uses.all().delete()
    use_instruments(held, instruments)
    judge_function_record(held)
    was, became = entries.changes(before, told(held, instruments))
    entries.write("record.heading-amended", held, by=by, at=at, rig_number=held.rig_id, before=was, after=became)
    return held


@transaction.atomic
def confirm_statements(record: Record, *, confirmed: Collection[str], said_by: str, by: User, at: datetime) -> Record:
    """Keep which of the statements the test calls for somebody confirms, and who; the others are open.

    Raises Refused naming `confirmed` for a statement the test does not call for, `said_by` without a name.
    """
    held = hold_function_draft(record)
    asked = {one.key: one for one in statements_of(held, held.function_lines.all())}
    if any(key not in asked for key in confirmed):
        raise Refused("confirmed", "This test does not call for that statement.", "Look at the page again.")
    if confirmed and not said_by.strip():
        raise Refused("said_by", "It is not said who confirms this.", "Give the name of who saw it.")
    test = held.function_test
    before = {"confirmed": test.confirmed}
    test.confirmed = [
        {"key": key, "words": one.words, "clause": one.clause, "by": said_by.strip()}
        for key, one in asked.items()
        if key in confirmed
    ]
    test.save()
    mark_changed(held)
    after = {"confirmed": test.confirmed}
    entries.write("record.statements-confirmed", held, by=by, at=at, rig_number=held.rig_id, before=before, after=after)
    return held


@transaction.atomic
def add_function_line(
    record: Record, *, subject: FunctionSubject, worked_from: WorkedFrom = NOT_SAID, by: User, at: datetime
) -> FunctionLine:
    """Add a line for one more thing worked, or for one worked again from elsewhere. Raises Refused."""
    held = hold_function_draft(record)
    line = _add(held, subject, worked_from)
    _changed(held)
    after = told_of_line(line)
    entries.write("function-line.added", line, by=by, at=at, rig_number=held.rig_id, after=after)
    return line


@transaction.atomic
def work_again(line: FunctionLine, *, by: User, at: datetime) -> FunctionLine:
    """Add a line that works again what failed: once it passes, the earlier one is no longer left failed.

    Raises Refused when the line did not fail or is worked again already.
    """
    record = hold_function_draft(line.record)
    failed = record.function_lines.get(pk=line.pk)
    if failed.outcome != "failed":
        raise Refused("", f"{failed} did not fail.", "Enter another line for it instead.")
    if failed.retests.exists():
        raise Refused("", f"{failed} is worked again already.", "Use that line.")
    again = FunctionLine(record=record, order=_next_order(record), retest_of=failed)
    for name in _SAME_AGAIN:
        setattr(again, name, getattr(failed, name))
    copy_rows(again)
    again.save()
    _changed(record)
    entries.write(
        "function-line.retest-added", again, by=by, at=at, rig_number=record.rig_id, after=told_of_line(again)
    )
    return again


@transaction.atomic
def remove_function_line(line: FunctionLine, *, by: User, at: datetime) -> None:
    """Take a line out of a draft; the trail keeps what was entered. Raises Refused for one that is worked again."""
    record = hold_function_draft(line.record)
    held = record.function_lines.get(pk=line.pk)
    if held.retests.exists():
        raise Refused("", f"{held} is worked again by another line.", "Take that one out first.")
    before, key = told_of_line(held), held.pk
    held.delete()
    _changed(record)
    held.pk = key
    entries.write("function-line.removed", held, by=by, at=at, rig_number=record.rig_id, before=before)


def hold_function_draft(record: Record, *, version: int | None = None) -> Record:
    """Lock a draft of a function test and return it afresh; raises as `hold_draft`, Refused for other kinds."""
    held = hold_draft(record, version=version)
    if held.kind != RecordKind.FUNCTION:
        raise Refused("", f"{held} is no function test.", "Open one from the due list.")
    return held


def told(record: Record, instruments: Iterable[Instrument]) -> dict[str, Any]:
    """Return the envelope and heading as the trail keeps them."""
    found = {**entries.snapshot(record), **entries.snapshot(record.function_test)}
    found.pop("outcome")
    return {**found, "instruments": [str(instrument) for instrument in instruments]}


def told_of_line(line: FunctionLine) -> dict[str, Any]:
    """Return a line as the trail keeps it: what was entered, not what was judged of it."""
    return {name: value for name, value in entries.snapshot(line).items() if name not in _JUDGED}


def refuse_strange_controls(record: Record, worked_from: WorkedFrom) -> None:
    """Refuse a station or pod of another stack, or one not in service when the test began; names the field."""
    station, pod = worked_from.station, worked_from.pod
    known = {item.pk for item in controls_of(record.stack, at=record.started_at)} if station or pod else set()
    if station is not None and (station.kind not in STATION_KINDS or station.pk not in known):
        raise Refused("station", f"{station} was no station of this stack then.", "Choose one of the stack's own.")
    if pod is not None and (pod.kind != "pod" or pod.pk not in known):
        raise Refused("pod", f"{pod} was no pod of this stack then.", "Choose one of the stack's own.")


def _add(record: Record, subject: FunctionSubject, worked_from: WorkedFrom) -> FunctionLine:
    if record.function_lines.count() >= MOST_LINES:
        raise Refused("subjects", f"A test has {MOST_LINES} lines at most.", "Record the others in another test.")
    refuse_strange_controls(record, worked_from)
    _refuse_stranger(record, subject)
    line = FunctionLine(
        record=record,
        order=_next_order(record),
        position=subject.position,
        component=subject.component,
        control_item=subject.item,
        worked=subject.usual,
        **_from(subject, worked_from),
    )
    _propose_pipe(line, record.function_test)
    copy_rows(line)
    refusals.refuse_invalid(line, exclude=("record", "verdict"))
    line.save()
    return line


def _from(subject: FunctionSubject, worked_from: WorkedFrom) -> dict[str, ControlItem | None]:
    """Return station and pod of a line: a station is worked from itself, a pod through itself."""
    item = subject.item
    if subject.what in BY_HAND:
        return {}
    if item is None:
        return {"station": worked_from.station, "pod": worked_from.pod}
    if item.kind in STATION_KINDS:
        return {"station": item, "pod": worked_from.pod}
    return {"station": worked_from.station, "pod": item if item.kind == "pod" else worked_from.pod}


def _propose_pipe(line: FunctionLine, test: FunctionTest) -> None:
    """Say what a preventer closed on, as far as the heading and its kind tell; else it is for the tester to say."""
    component = line.component
    if component is None or component.kind not in CLOSES_ON_SOMETHING:
        return
    if component.kind in _ON_NO_PIPE:
        line.closed_on = ClosedOn.OPEN_HOLE
    elif test.pipe_in_hole is not None:
        line.closed_on, line.pipe = ClosedOn.PIPE, test.pipe_in_hole


def _refuse_stranger(record: Record, subject: FunctionSubject) -> None:
    known = {one.key for one in subjects_of(record.stack, None, at=record.started_at)}
    if subject.key not in known:
        raise Refused(
            "subjects", f"{subject.name} did not stand in {record.stack} when the test began.", "Look at the stack."
        )


def _refuse_absent(record: Record, started_at: datetime) -> None:
    there = subjects_of(record.stack, None, at=started_at)
    known = {(one.position.pk if one.position else None, one.component, one.item) for one in there}
    for line in record.function_lines.select_related("component", "control_item", "position"):
        if (line.position_id, line.component, line.control_item) not in known:
            raise Refused("started_at", f"{line} did not stand so at that time.", "Take its line out first, or look.")


def _next_order(record: Record) -> int:
    highest = record.function_lines.aggregate(highest=Max("order"))["highest"]
    return int(highest or 0) + 1


def _changed(record: Record) -> None:
    mark_changed(record)
    judge_function_record(record)


def _write_heading(test: FunctionTest, heading: FunctionHeading) -> None:
    saving.assign_values(test, {name: value for name, value in asdict(heading).items() if name not in _ENVELOPE})
    refusals.refuse_invalid(test, exclude=("record", "outcome"))
    test.save()
