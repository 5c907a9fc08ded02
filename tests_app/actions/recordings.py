"""Recorder files and charts: kept as received, read, and judged.

What the tester marks is kept beside what the search proposed. A judged step gets no other evidence before
what it was judged by is withdrawn with a reason: a failed hold is repeated in a step of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.models import User
from calcs.errors import InputError
from calcs.recordings import ChannelSeen, read_channels, read_recording, reduced
from calcs.recordings import Recording as Samples
from calcs.sizes import megabytes
from equipment import files
from equipment.errors import Refused
from tests_app.actions.drafts import hold_draft, hold_step, mark_changed, refuse_idle_reason
from tests_app.actions.drawdown_searching import forget_steps, propose_steps
from tests_app.actions.judging import judge_all, judge_beside, judge_step, samples_of
from tests_app.actions.searching import propose_holds
from tests_app.models import Evidence, Record, Recording, RecordingKind, RecordKind, Step
from tests_app.queries.proposals import are_moved, is_unconfirmed
from tests_app.queries.set_aside import judged_of
from tests_app.queries.stretches import file_elsewhere, judged_on_before, named
from tests_app.queries.verdicts import overlaps
from trail import entries

CURVE_POINTS: Final = 2_000
_PICTURES: Final = {
    b"\x89PNG\r\n\x1a\n": "image/png",
    b"\xff\xd8\xff": "image/jpeg",
    b"%PDF-": "application/pdf",
    b"II*\x00": "image/tiff",
    b"MM\x00*": "image/tiff",
}
"""First bytes of what a scan or photo comes as; the name and the browser's word are not taken for it."""


def attach_recording(
    record: Record,
    *,
    step: Step | None,
    file_name: str,
    content: bytes,
    content_type: str,
    pressure_unit: str = "",
    channel: str = "",
    by: User,
    at: datetime,
) -> Recording:
    """Keep a recorder's file and judge by it: the step given, or every step still without evidence.

    Where several columns can be the pressure and none is named, nothing is judged before the tester has chosen one
    (`actions.channels.choose_channel`).
    For a whole test the holds are searched; each is proposed for a step, and chosen where the step has none.
    The file is read before the transaction, so that nobody's writing waits for half a million samples.
    Raises Refused naming `recording`, `pressure_unit`, `channel` or `step` with what to do.
    """
    file = read_file(record, file_name, content, content_type, pressure_unit, channel)
    with transaction.atomic():
        held = hold_draft(record)
        return keep_file(held, own_step(held, step) if step else None, file, received_from=by, received_at=at)


@dataclass(frozen=True)
class FileRead:
    """A recorder's file as received, and what was read of it; `samples` is None where its column must be asked."""

    name: str
    content: bytes
    content_type: str
    pressure_unit: str
    seen: tuple[ChannelSeen, ...]
    samples: Samples | None


def read_file(
    record: Record, name: str, content: bytes, content_type: str, pressure_unit: str, channel: str
) -> FileRead:
    """Read a recorder's file, outside any transaction; raises Refused as `attach_recording` does."""
    _refuse_size(content)
    seen, samples = _read(content, record, pressure_unit, channel)
    return FileRead(name, content, content_type, pressure_unit.strip(), seen, samples)


def keep_file(
    held: Record, step: Step | None, file: FileRead, *, received_from: User, received_at: datetime
) -> Recording:
    """Keep a file with the held record and judge or propose by it; a part of the actions that attach one."""
    recording = _kept(held, step, file.name, file.content, file.content_type, received_from, received_at)
    recording.channel = file.samples.channel if file.samples else ""
    refuse_twice(held, recording, recording.channel)
    refuse_elsewhere(held, recording, recording.channel)
    recording.facts = {"pressure_unit_given": file.pressure_unit, **_choices_of(file.seen)}
    if file.samples is not None:
        take_samples(recording, held, file.samples, judged=[step] if step else [])
    else:
        recording.facts = {**_facts_without_channel(file.seen), **recording.facts}
        _save(recording)
    mark_changed(held)
    _tell("recording.attached", recording, by=received_from, at=received_at)
    return recording


@transaction.atomic
def attach_chart(
    record: Record,
    *,
    step: Step | None,
    file_name: str,
    content: bytes,
    content_type: str,
    by: User,
    at: datetime,
) -> Recording:
    """Keep a scan or photo of a paper chart, beside a recording or instead; nothing is read from it.

    Raises Refused naming `recording` for an empty or too large file, or one that is no picture or PDF.
    """
    held = hold_draft(record)
    step = own_step(held, step, has_evidence=True) if step else None
    _refuse_size(content)
    kind = next((kind for start, kind in _PICTURES.items() if content.startswith(start)), "")
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        kind = "image/webp"
    if not kind:
        raise Refused("recording", "This is no picture and no PDF.", "Give a scan or photo as PDF, JPEG, PNG or TIFF.")
    chart = _kept(held, step, file_name, content, kind, by, at)
    refuse_twice(held, chart, "")
    chart.kind = RecordingKind.CHART
    _save(chart)
    mark_changed(held)
    _tell("chart.attached", chart, by=by, at=at)
    return chart


@transaction.atomic
def choose_marks(
    step: Step, *, recording: Recording, start_s: float, end_s: float, reason: str = "", by: User, at: datetime
) -> Step:
    """Say which stretch of a recording proves a step, in elapsed seconds, and judge it by that; the proposal is kept.

    Marks that leave what was proposed, or part of a step's own file, need a reason: it stands on the certificate.

    Raises Refused naming `start`, `end` or `reason`, or `recording` when it is another test's, no recorder file, or
    withdrawn.
    """
    held = hold_step(step)
    own = held.record.recordings.filter(pk=recording.pk, kind=RecordingKind.SAMPLES, withdrawn_at__isnull=True).first()
    if own is None:
        raise Refused("recording", "This recording is not one of the test's.", "Choose a recorder file of this test.")
    if held.evidence == Evidence.TYPED:
        raise Refused("recording", f"{held} is judged by readings typed in.", "Take those back first, with a reason.")
    if end_s <= start_s:
        raise Refused("end", "The end mark lies before the start mark.", "Set it after the start.")
    before, left = entries.snapshot(held), held.recording
    moved = are_moved(held, own, start_s, end_s)
    if moved and not reason.strip():
        raise Refused(
            "reason", "The marks are moved without a reason.", "Say why this part is judged: the certificate prints it."
        )
    held.recording, held.evidence = own, Evidence.RECORDING
    held.chosen_marks = {"start_s": start_s, "end_s": end_s, "confirmed": True}
    if moved:
        held.chosen_marks["reason"] = reason.strip()
    samples = samples_of(own, held.record)
    _judge(held, held.record, samples)
    _refuse_shared(held)
    judge_beside(held, held.record, samples=samples)
    if left is not None and left != own:
        judge_all(held.record)  # what lay beside it there has nothing beside it now
    mark_changed(held.record)
    was, became = entries.changes(before, entries.snapshot(held))
    rig_number = held.record.rig_id
    entries.write("step.marks-chosen", held, by=by, at=at, rig_number=rig_number, before=was, after=became)
    return held


@transaction.atomic
def confirm_marks(recording: Recording, *, by: User, at: datetime) -> Recording:
    """Say that every hold the search proposed in a recording is the step's it was given to; nothing is signed before.

    Raises Refused when nothing waits to be confirmed.
    """
    held = hold_draft(recording.record)
    own = held.recordings.get(pk=recording.pk)
    waiting = [step for step in held.steps.filter(recording=own).order_by("order") if is_unconfirmed(step)]
    if not waiting:
        raise Refused("", f"No proposal in {own.file_name} waits to be confirmed.", "Look at the steps as they stand.")
    for step in waiting:
        assert step.chosen_marks is not None  # else it would not be unconfirmed
        step.chosen_marks = {**step.chosen_marks, "confirmed": True}
        step.save()
    mark_changed(held)
    confirmed = {str(step): step.chosen_marks for step in waiting}
    entries.write("recording.marks-confirmed", own, by=by, at=at, rig_number=held.rig_id, after={"steps": confirmed})
    return own


@transaction.atomic
def withdraw_recording(recording: Recording, *, reason: str, by: User, at: datetime) -> Recording:
    """Set a file aside: it stays on file and on the certificate, marked, and the steps it judged have no evidence."""
    held = hold_draft(recording.record)
    own = Recording.objects.get(pk=recording.pk)
    if own.withdrawn_at is not None:
        raise Refused("", f"{own} is withdrawn already.", "")
    if not reason.strip():
        raise Refused("reason", "A file is not withdrawn without a reason.", "Say what is wrong with it.")
    judged = judged_of(held.steps.filter(recording=own).order_by("order"), held)
    if judged:
        refuse_idle_reason(reason, "A file that was judged is not set aside")
    own.facts = {**own.facts, "judged": judged}
    own.withdrawn_at, own.withdrawn_reason = at, reason.strip()
    _save(own)
    for step in held.steps.filter(recording=own):
        step.recording, step.evidence = None, Evidence.NONE
        step.proposed_marks = step.chosen_marks = None
        judge_step(step, held)
    forget_steps(held, own)
    mark_changed(held)
    _tell("recording.withdrawn", own, by=by, at=at, reason=reason.strip())
    return own


def take_samples(recording: Recording, record: Record, samples: Samples, *, judged: Sequence[Step]) -> None:
    """Keep what a column shows and judge by it: the steps given, for a step's own file; else holds are searched."""
    recording.facts = {**recording.facts, **_facts_of(samples)}
    times, pressures = reduced(samples, CURVE_POINTS)
    recording.curve = {"t": times.round(3).tolist(), "p": pressures.tolist()}
    _save(recording)
    if record.kind == RecordKind.DRAWDOWN:
        propose_steps(record, recording, samples)
        recording.save()
    elif recording.step_id is None:
        propose_holds(record, recording, samples)
        recording.save()
    for step in judged:
        step.recording, step.evidence = recording, Evidence.RECORDING
        _judge(step, record, samples)


def _facts_of(samples: Samples) -> dict[str, Any]:
    """Return what is known of a recorder file, as kept: pressures gauge in Pa, times in s or ISO."""
    return {
        **_facts_of_time(samples),
        "unit": samples.unit,
        "channel": samples.channel,
        "lowest": float(samples.pressures.min()),
        "highest": float(samples.pressures.max()),
        "searched": False,
        "holds": [],
    }


def _facts_of_time(samples: Samples) -> dict[str, Any]:
    ended = samples.clock(samples.duration)
    return {
        "samples": len(samples),
        "duration_s": samples.duration,
        "median_interval_s": samples.median_interval,
        "channels": list(samples.channels),
        "started_at": samples.started_at.isoformat() if samples.started_at else None,
        "ended_at": ended.isoformat() if ended else None,
        "skipped_lines": samples.skipped_lines,
    }


def _facts_without_channel(seen: Sequence[ChannelSeen]) -> dict[str, Any]:
    """Return what is known of a file before its column is chosen: what all its columns share."""
    readable = next(one.recording for one in seen if one.recording is not None)
    return {**_facts_of_time(readable), "unit": "", "channel": "", "holds": []}


def _choices_of(seen: Sequence[ChannelSeen]) -> dict[str, Any]:
    """Return what each column shows, where the tester has to tell them apart; pressures gauge in Pa."""
    return {"choices": [_choice_of(one) for one in seen]} if len(seen) > 1 else {}


def _choice_of(seen: ChannelSeen) -> dict[str, Any]:
    if seen.recording is None:
        return {"name": seen.name, "refused": str(seen.refusal.reason) if seen.refusal else ""}
    pressures = seen.recording.pressures
    return {
        "name": seen.name,
        "unit": seen.recording.unit,
        "first": float(pressures[0]),
        "last": float(pressures[-1]),
        "highest": float(pressures.max()),
    }


def own_step(record: Record, step: Step, *, has_evidence: bool = False) -> Step:
    """Return the step afresh; refused where it is another test's, or is judged already and may not be."""
    own = record.steps.filter(pk=step.pk).first()
    if own is None:
        raise Refused("step", "The step belongs to another test.", "Choose a step of this one.")
    if own.evidence != Evidence.NONE and not has_evidence:
        raise Refused(
            "step",
            f"{own} is judged already.",
            "A hold that failed is repeated in a step of its own. If the file was the wrong one, withdraw it first.",
        )
    return own


def _refuse_size(content: bytes) -> None:
    most = settings.WELLHOLD_MAX_RECORDING_BYTES
    if len(content) > most:
        raise Refused(
            "recording",
            f"The file is {megabytes(len(content))}; at most {megabytes(most)} are taken.",
            "Export this test alone, or fewer samples a second.",
        )
    if not content:
        raise Refused("recording", "The file is empty.", "Export it from the recorder again.")


def _read(
    content: bytes, record: Record, pressure_unit: str, channel: str
) -> tuple[tuple[ChannelSeen, ...], Samples | None]:
    """Return the columns that can be the pressure, and the one named or the only one; None where it must be asked."""
    unit, zone = pressure_unit.strip() or None, record.rig.zone
    try:
        seen = read_channels(content, pressure_unit=unit, zone=zone)
        if channel.strip():
            return seen, read_recording(content, pressure_unit=unit, channel=channel.strip(), zone=zone)
    except InputError as error:
        raise Refused(error.field, error.reason, error.remedy) from error
    return seen, seen[0].recording if len(seen) == 1 else None


def _kept(
    record: Record, step: Step | None, file_name: str, content: bytes, content_type: str, by: User, at: datetime
) -> Recording:
    return Recording(
        record=record,
        step=step,
        kind=RecordingKind.SAMPLES,
        file_name=file_name.strip()[:200] or "without a name",
        sha256=files.keep(content),
        size=len(content),
        content_type=content_type[:80] or "application/octet-stream",
        received_at=at,
        received_from=by,
    )


def refuse_twice(record: Record, recording: Recording, channel: str) -> None:
    """Refuse a file, or a column of one, that the test has already."""
    standing = record.recordings.filter(sha256=recording.sha256, channel=channel, withdrawn_at__isnull=True)
    same = standing.exclude(pk=recording.pk or 0).first()
    if same is not None:
        raise Refused(
            "recording",
            f"This file is attached already, as {same.file_name}.",
            "Choose its marks for the step instead, or give another file or channel.",
        )


def refuse_elsewhere(record: Record, recording: Recording, channel: str) -> None:
    """Refuse a recorder file, or a column of one, that another test of the rig rests on."""
    same = file_elsewhere(record, recording, channel)
    if same is not None:
        judged = same.judged_steps.order_by("order").first()
        where = f"{judged} of test {same.record.number}" if judged else f"test {same.record.number}"
        raise Refused(
            "recording",
            f"This file belongs to {where} already, as {same.file_name}.",
            "One recording proves one test: give this test's own.",
        )


def _save(recording: Recording) -> None:
    try:
        recording.full_clean(exclude=("record", "step", "received_from", "facts", "curve"))
    except ValidationError as error:
        raise Refused("recording", " ".join(error.messages)) from error
    recording.save()


def _judge(step: Step, record: Record, samples: Samples) -> None:
    try:
        judge_step(step, record, samples=samples)
    except InputError as error:
        raise Refused(error.field, error.reason, error.remedy) from error
    before = judged_on_before(record, [step]).get(step.pk)
    if before is not None:
        raise Refused(
            "recording",
            f"These samples prove {named(before, record)} already.",
            "One hold proves one step, once: give the recording of this step.",
        )


def _refuse_shared(step: Step) -> None:
    others = step.record.steps.filter(recording=step.recording, evidence=Evidence.RECORDING).exclude(pk=step.pk)
    shared = next((other for other in others if overlaps(step.verdict, other.verdict)), None)
    if shared is not None:
        raise Refused(
            "start", f"This hold proves {shared} already.", "Mark the hold of this step; one hold proves one step."
        )


def _tell(event: str, recording: Recording, *, by: User, at: datetime, reason: str = "") -> None:
    kept = {key: value for key, value in entries.snapshot(recording).items() if key != "curve"}
    rig_number = recording.record.rig_id
    entries.write(event, recording, by=by, at=at, rig_number=rig_number, after=kept, reason=reason)
