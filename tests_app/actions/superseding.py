"""Correcting a signed record: by a new draft that refers to it. The old one stays as it is."""

from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.models import User
from equipment.errors import Refused
from tests_app.actions.judging_by_kind import judge_record
from tests_app.actions.pressure_tests import save_numbered
from tests_app.models import FunctionLine, Record, Recording, RecordKind, Step
from trail import entries


@transaction.atomic
def supersede_record(record: Record, *, reason: str, by: User, at: datetime) -> Record:
    """Open a draft that corrects a signed record: a copy of it, to be changed and signed anew.

    A sealed record counts until the new one is sealed. One that still waits for signatures takes none any more and is
    never sealed. Raises Refused when the record is not signed, has a correction already, or no `reason` is given.
    """
    old = Record.objects.select_for_update(of=("self",), no_key=True).select_related("rig").get(pk=record.pk)
    if old.frozen_at is None:
        raise Refused("", f"{old} is not signed.", "Change it as it stands.")
    if not reason.strip():
        raise Refused("reason", "A correction says why.", "Say what was wrong with the record.")
    later = Record.objects.filter(supersedes=old).first()
    if later is not None:
        raise Refused("", f"{old} is corrected by {later} already.", "Correct that one.")
    new = _copy(old, by, at, reason.strip())
    entries.write(
        "record.superseded",
        new,
        by=by,
        at=at,
        rig_number=new.rig_id,
        after={"supersedes": old.number, "number": new.number},
        reason=reason.strip(),
    )
    return new


def _copy(old: Record, by: User, at: datetime, reason: str) -> Record:
    new = Record(
        rig=old.rig,
        stack_id=old.stack_id,
        section_id=old.section_id,
        kind=old.kind,
        edition=old.edition,
        started_at=old.started_at,
        concluded_at=old.concluded_at,
        remarks=old.remarks,
        created_at=at,
        created_by=by,
        supersedes=old,
        supersedes_reason=reason,
    )
    save_numbered(new)
    for use in old.instrument_uses.all():
        _save_copy(use, record=new)
    if old.kind == RecordKind.PRESSURE:
        _copy_pressure_test(old, new)
    elif old.kind == RecordKind.FUNCTION:
        _copy_function_test(old, new)
    else:
        _copy_bank_test(old, new)
    judge_record(new)
    return new


def _copy_pressure_test(old: Record, new: Record) -> None:
    _save_copy(old.pressure_test, record=new)
    _copy_steps(old, new)


def _copy_bank_test(old: Record, new: Record) -> None:
    """Copy a drawdown or pump test; what a search proposed refers to the new record's copy of the file."""
    is_drawdown = old.kind == RecordKind.DRAWDOWN
    _save_copy(old.drawdown_test if is_drawdown else old.pump_test, record=new)
    recordings = {recording.pk: _save_copy(recording, record=new) for recording in old.recordings.all()}
    for function in old.drawdown_functions.order_by("order"):
        proposed = function.proposed
        if proposed:
            proposed = {**proposed, "recording": recordings[proposed["recording"]].pk}
        _save_copy(function, record=new, proposed=proposed)
    for row in (*old.recharges.order_by("order"), *old.pump_readings.order_by("pk")):
        _save_copy(row, record=new)


def _copy_function_test(old: Record, new: Record) -> None:
    """Copy a function test; a line that works another again refers to the copy of that."""
    _save_copy(old.function_test, record=new)
    for recording in old.recordings.all():
        _save_copy(recording, record=new)
    lines: dict[int, FunctionLine] = {}
    for line in old.function_lines.order_by("order"):
        earlier, again = line.pk, line.retest_of_id
        lines[earlier] = _save_copy(line, record=new, retest_of=lines[again] if again else None)


def _copy_steps(old: Record, new: Record) -> None:
    """Copy steps and recordings, which refer to each other: the steps bare first, then the files, then the links."""
    steps: dict[int, Step] = {}
    for step in old.steps.order_by("order"):
        earlier, lines, readings = step.pk, list(step.lines.all()), list(step.typed_readings.all())
        retested = steps.get(step.retest_of_id) if step.retest_of_id else None
        judged_from = step.recording_id
        steps[earlier] = _save_copy(step, record=new, recording=None, retest_of=retested)
        steps[earlier].recording_id = judged_from
        for row in (*lines, *readings):
            _save_copy(row, step=steps[earlier])
    recordings: dict[int, Recording] = {}
    for recording in old.recordings.all():
        earlier = recording.pk
        of_step = steps.get(recording.step_id) if recording.step_id else None
        recordings[earlier] = _save_copy(recording, record=new, step=of_step)
    for step in steps.values():
        if step.recording_id:
            step.recording = recordings[step.recording_id]
            step.save()


def _save_copy(row: Any, **changed: Any) -> Any:
    """Save a row again as a new one, pointing elsewhere."""
    row.pk = None
    row._state.adding = True
    for name, value in changed.items():
        setattr(row, name, value)
    row.save(force_insert=True)
    return row
