"""A recorder's file of a drawdown: attached, its steps proposed, and taken over by the tester's word."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.models import User
from equipment.errors import Refused
from tests_app.actions.drafts import hold_draft, mark_changed
from tests_app.actions.drawdown_judging import judge_drawdown_record
from tests_app.actions.drawdown_searching import propose_steps
from tests_app.actions.judging import samples_of
from tests_app.actions.recordings import keep_file, read_file
from tests_app.models import DrawdownFunction, Record, Recording, RecordingKind, RecordKind
from tests_app.queries.drawdowns import functions_of
from trail import entries


def attach_drawdown_recording(
    record: Record,
    *,
    file_name: str,
    content: bytes,
    content_type: str,
    pressure_unit: str = "",
    channel: str = "",
    by: User,
    at: datetime,
) -> Recording:
    """Keep a recorder's file of a drawdown and propose its steps for the functions, in order; nothing is judged by it.

    Where several columns can be the pressure and none is named, the steps are proposed once the tester has chosen one
    (`actions.channels.choose_channel`). Raises Refused naming `recording`, `pressure_unit` or `channel`.
    """
    _refuse_kind(record)
    file = read_file(record, file_name, content, content_type, pressure_unit, channel)
    with transaction.atomic():
        return keep_file(hold_draft(record), None, file, received_from=by, received_at=at)


@transaction.atomic
def search_steps_again(recording: Recording, *, by: User, at: datetime) -> Recording:
    """Search a file anew, now that the functions have changed; what was taken over stays as it is.

    Raises Refused where the file is set aside, is no recorder file, or waits for its channel.
    """
    held = hold_draft(recording.record)
    _refuse_kind(held)
    own = held.recordings.get(pk=recording.pk)
    if own.kind != RecordingKind.SAMPLES or own.withdrawn_at is not None:
        raise Refused("", f"{own} is no recorder file in use.", "Choose one that is, and is not set aside.")
    propose_steps(held, own, samples_of(own, held))
    own.save()
    mark_changed(held)
    after = {"drops": own.facts["drops"], "reasons": own.facts["reasons"]}
    entries.write("recording.drops-searched", own, by=by, at=at, rig_number=held.rig_id, after=after)
    return own


@transaction.atomic
def accept_proposed(record: Record, *, version: int, by: User, at: datetime) -> Record:
    """Take the steps found in the recorder's file over as readings: pressures replace what was typed.

    A time typed from the watch stands, as does a start pressure: the file knows when the pressure fell, not when the
    preventer sealed off. Raises RecordIsStale when the draft changed since `version`, Refused where nothing waits.
    """
    held = hold_draft(record, version=version)
    _refuse_kind(held)
    waiting = [one for one in functions_of(held) if one.proposed and not one.proposed["confirmed"]]
    if not waiting:
        raise Refused("", "Nothing found in a recorder's file waits to be taken over.", "Attach the file first.")
    was: dict[str, Any] = {}
    became: dict[str, Any] = {}
    for function in waiting:
        before = entries.snapshot(function)
        _take_over(function)
        was[str(function)], became[str(function)] = entries.changes(before, entries.snapshot(function))
    _complete_heading(held, [one.proposed for one in waiting if one.proposed])
    mark_changed(held)
    judge_drawdown_record(held)
    entries.write("record.proposals-accepted", held, by=by, at=at, rig_number=held.rig_id, before=was, after=became)
    return held


def _complete_heading(record: Record, proposed: Sequence[Mapping[str, Any]]) -> None:
    """Put the start pressure and the shortest wait in where the heading has none; judging saves it."""
    test = record.drawdown_test
    if test.start_pressure is None:
        test.start_pressure = _text(proposed[0]["start_pressure"])
    waits = [one["wait_s"] for one in proposed if one["wait_s"] is not None and one["pressure_settled"] is not None]
    if test.wait_seconds is None and waits:
        test.wait_seconds = max(1, round(min(waits)))


def _take_over(function: DrawdownFunction) -> None:
    proposed = function.proposed or {}
    function.pressure_at_once = _text(proposed["pressure_at_once"])
    if proposed["pressure_settled"] is not None:
        function.pressure_settled = _text(proposed["pressure_settled"])
    if function.seconds is None and proposed["seconds"] > 0:
        function.seconds = proposed["seconds"]
    function.proposed = {**proposed, "confirmed": True}
    function.save()


def _text(kept: dict[str, str]) -> str:
    return f"{kept['value']} {kept['unit']}"


def _refuse_kind(record: Record) -> None:
    if record.kind != RecordKind.DRAWDOWN:
        raise Refused("", f"{record} is no drawdown test.", "Attach the file to one.")
