"""The steps of a pressure test and the elements each proves."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import inf
from typing import Any

from django.db import transaction
from django.db.models import Max

from accounts.models import User
from calcs.errors import InputError
from calcs.units import Dimension, from_si, to_si
from equipment.errors import Refused
from equipment.models import Measured, Position
from tests_app.actions.drafts import hold_draft, hold_step, mark_changed
from tests_app.actions.judging import fall_allowed, give_outcome, judge_step, write_requirements
from tests_app.models import Evidence, Line, Outcome, Record, Step
from tests_app.queries.requirements import circumstances_of, needs_of
from trail import entries


@dataclass(frozen=True)
class LineSpec:
    """An element a step is to prove; without a side it is proved from the usual one for what stands there."""

    position: Position
    pressure_from: str = ""


@transaction.atomic
def add_step(
    record: Record,
    *,
    name: str,
    pump_point: str,
    lines: Sequence[LineSpec],
    retest_of: Step | None = None,
    remarks: str = "",
    max_decay: str = "",
    by: User,
    at: datetime,
) -> Step:
    """Add a step after the others, with what it must show worked out.

    `max_decay` is the largest fall the test plan allows in a hold, such as ``50 psi``; "" for none.
    Raises Refused naming `lines` when one hold cannot prove them all, or `retest_of` when that step did not fail.
    """
    held = hold_draft(record)
    if retest_of is not None:
        _refuse_retest(retest_of, held)
    step = _append(
        held,
        name=name,
        pump_point=pump_point,
        lines=lines,
        retest_of=retest_of,
        remarks=remarks,
        allowed=_allowed(max_decay),
    )
    _tell("step.added", step, by=by, at=at)
    return step


@transaction.atomic
def retest_step(step: Step, *, by: User, at: datetime) -> Step:
    """Add a step that repeats a failed one for the elements that failed in it; the failed step stays."""
    held = hold_step(step)
    _refuse_retest(held, held.record)
    failed = [line for line in held.lines.select_related("position__stack__rig") if line.outcome == Outcome.FAILED]
    retest = _append(
        held.record,
        name=held.name,
        pump_point=held.pump_point,
        lines=[LineSpec(line.position, line.pressure_from) for line in failed],
        retest_of=held,
        remarks="",
        allowed=fall_allowed(held),
    )
    _tell("step.retest-added", retest, by=by, at=at)
    return retest


@transaction.atomic
def amend_step(
    step: Step,
    *,
    name: str,
    pump_point: str,
    lines: Sequence[LineSpec] | None = None,
    remarks: str = "",
    max_decay: str | None = None,
    version: int | None = None,
    by: User,
    at: datetime,
) -> Step:
    """Change a step. What it proves changes only while it has no evidence: a judged hold proves what it proved.

    `max_decay` as for a new step, None to leave it; of a judged step it may only be made stricter.
    Raises RecordIsStale when the draft changed since `version`, where one is given.
    """
    held = hold_step(step, version=version)
    before = _told(held)
    held.name, held.pump_point, held.remarks = name.strip(), pump_point.strip(), remarks.strip()
    held.full_clean(exclude=("record", "limits"))
    held.save()
    if lines is not None:
        _change_lines(held, lines)
    if max_decay is not None:
        _change_allowed(held, _allowed(max_decay))
    mark_changed(held.record)
    _tell("step.amended", held, by=by, at=at, before=before)
    return held


@transaction.atomic
def remove_step(step: Step, *, by: User, at: datetime) -> None:
    """Take a step without evidence out of a draft; those after it move up. A file set aside stays with the record."""
    held = hold_step(step)
    if held.evidence != Evidence.NONE or held.recordings.filter(withdrawn_at__isnull=True).exists():
        raise Refused(
            "", f"{held} has evidence: what was tested stays.", "Withdraw its recording first, with a reason."
        )
    if held.retests.exists():
        raise Refused("", f"{held} is repeated by another step.", "Take that one out first.")
    before = _told(held)
    told = held.pk
    for recording in held.recordings.all():
        recording.step = None
        recording.save()
    for line in held.lines.all():
        line.delete()
    record, order = held.record, held.order
    held.delete()
    for later in record.steps.filter(order__gt=order).order_by("order"):
        later.order -= 1
        later.save()
    mark_changed(record)
    held.pk = told
    entries.write("step.removed", held, by=by, at=at, rig_number=record.rig_id, before=before)


@transaction.atomic
def note_line(
    line: Line,
    *,
    leak_seen: bool,
    leak_description: str = "",
    remarks: str = "",
    version: int | None = None,
    by: User,
    at: datetime,
) -> Line:
    """Write what was seen of an element: a leak fails its line even where the pressure held.

    Raises RecordIsStale when the draft changed since `version`, where one is given.
    """
    step = hold_step(line.step, version=version)
    held = Line.objects.get(pk=line.pk)
    if leak_seen and not leak_description.strip():
        raise Refused("leak_description", "A leak was seen, but not where.", "Say where and how much it leaked.")
    before = entries.snapshot(held)
    held.leak_seen = leak_seen
    held.leak_description = leak_description.strip() if leak_seen else ""
    held.remarks = remarks.strip()
    held.full_clean(exclude=("step", "position", "component", "component_as_tested", "working", "rules"))
    give_outcome(held, step)
    mark_changed(step.record)
    was, became = entries.changes(before, entries.snapshot(held))
    entries.write("line.noted", held, by=by, at=at, rig_number=step.record.rig_id, before=was, after=became)
    return held


def _append(
    record: Record,
    *,
    name: str,
    pump_point: str,
    lines: Sequence[LineSpec],
    retest_of: Step | None,
    remarks: str,
    allowed: dict[str, Any],
) -> Step:
    last = record.steps.aggregate(last=Max("order"))["last"]
    step = Step(
        record=record,
        order=(last or 0) + 1,
        name=name.strip(),
        pump_point=pump_point.strip(),
        retest_of=retest_of,
        remarks=remarks.strip(),
        limits=allowed,
    )
    step.full_clean(exclude=("record", "limits", "retest_of"))
    _refuse_doubles(lines)
    needs = needs_of([(line.position, line.pressure_from) for line in lines], under=circumstances_of(record))
    write_requirements(step, needs)
    mark_changed(record)
    return step


def _change_lines(step: Step, lines: Sequence[LineSpec]) -> None:
    _refuse_doubles(lines)
    needs = needs_of([(line.position, line.pressure_from) for line in lines], under=circumstances_of(step.record))
    wanted = {(need.standing.position.pk, need.pressure_from) for need in needs}
    standing = set(step.lines.values_list("position_id", "pressure_from"))
    if wanted == standing:
        return
    if step.evidence != Evidence.NONE:
        raise Refused("lines", f"{step} is judged: what it proves no longer changes.", "Add a step for the others.")
    write_requirements(step, needs)


def _allowed(max_decay: str) -> dict[str, Any]:
    """Return the largest fall allowed as it stands among the limits; raises Refused naming `max_decay`."""
    if not max_decay.strip():
        return {}
    try:
        given = Measured.of(max_decay, Dimension.PRESSURE, field="max_decay")
    except InputError as error:
        raise Refused(error.field, error.reason, error.remedy) from error
    if given.si <= 0:
        raise Refused("max_decay", "The largest fall allowed is not over zero.", "Give it, or leave it empty.")
    value = float(f"{from_si(given.si, given.unit, Dimension.PRESSURE):.12g}")
    return {"max_decay": {"value": value, "unit": given.unit}}


def _change_allowed(step: Step, allowed: dict[str, Any]) -> None:
    """Hold a step to another largest fall. A step that is judged is not made to pass by a wider one."""
    before, after = _fall(step.limits), _fall(allowed)
    if before == after:
        return
    if step.evidence != Evidence.NONE and after > before:
        raise Refused(
            "max_decay", f"{step} is judged: what it may fall is not widened.", "Repeat it in a step of its own."
        )
    step.limits = {**{key: value for key, value in step.limits.items() if key != "max_decay"}, **allowed}
    step.save()
    if step.evidence != Evidence.NONE:
        judge_step(step, step.record)


def _fall(limits: Mapping[str, Any]) -> float:
    kept = limits.get("max_decay")
    return to_si(kept["value"], kept["unit"], Dimension.PRESSURE) if kept else inf


def _refuse_doubles(lines: Sequence[LineSpec]) -> None:
    seen: set[tuple[int, str]] = set()
    for line in lines:
        key = (line.position.pk, line.pressure_from)
        if key in seen:
            raise Refused("lines", f"{line.position} is named twice.", "Name each element once, or give another side.")
        seen.add(key)


def _refuse_retest(step: Step, record: Record) -> None:
    if step.record_id != record.pk:
        raise Refused("retest_of", f"{step} belongs to another test.", "Choose a step of this one.")
    if not step.lines.filter(outcome=Outcome.FAILED).exists():
        raise Refused("retest_of", f"{step} has no failed line: there is nothing to repeat.", "Add a new step instead.")


def _told(step: Step) -> dict[str, Any]:
    return {**entries.snapshot(step), "lines": [str(line) for line in step.lines.select_related("position")]}


def _tell(event: str, step: Step, *, by: User, at: datetime, before: dict[str, Any] | None = None) -> None:
    after = _told(step)
    was, became = entries.changes(before, after) if before is not None else (None, after)
    entries.write(event, step, by=by, at=at, rig_number=step.record.rig_id, before=was, after=became)
