"""Which column of a recorder file is the pressure of the test: asked where several can be, and never guessed."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.models import User
from calcs.errors import InputError
from calcs.recordings import Recording as Samples
from calcs.recordings import read_recording
from equipment import files
from equipment.errors import Refused
from tests_app.actions.drafts import hold_draft, mark_changed
from tests_app.actions.judging import judge_step
from tests_app.actions.recordings import own_step, refuse_elsewhere, refuse_twice, take_samples
from tests_app.models import Evidence, Record, Recording, Step
from trail import entries


@transaction.atomic
def choose_channel(recording: Recording, *, channel: str, reason: str = "", by: User, at: datetime) -> Recording:
    """Say which column of a file is the pressure, and judge by it; another one later needs a reason.

    A step's own file is judged anew on the marks it has. A file of the whole test is searched anew: its holds were
    those of the other column, so what was proposed and confirmed on them no longer stands.

    Raises Refused naming `channel` or `reason`.
    """
    held = hold_draft(recording.record)
    own = held.recordings.get(pk=recording.pk)
    _refuse_choice(own, channel, reason)
    samples = _read(own, held, channel)
    refuse_twice(held, own, channel)
    refuse_elsewhere(held, own, channel)
    before = _told(own)
    steps = list(held.steps.filter(recording=own).order_by("order"))
    own.facts["channel_reasons"] = [*own.facts.get("channel_reasons", ()), *_reasons(own, reason)]
    own.channel = samples.channel
    if own.step_id is None:
        _clear(steps, held)
        steps = []
    elif own.step is not None and not before["channel"]:
        steps = [own_step(held, own.step)]
    take_samples(own, held, samples, judged=steps)
    mark_changed(held)
    entries.write(
        "recording.channel-chosen",
        own,
        by=by,
        at=at,
        rig_number=held.rig_id,
        before=before,
        after=_told(own),
        reason=reason.strip(),
    )
    return own


def _refuse_choice(own: Recording, channel: str, reason: str) -> None:
    if own.withdrawn_at is not None:
        raise Refused("channel", f"{own} is set aside.", "Attach the file again.")
    if channel not in own.facts.get("channels", ()):
        listed = "; ".join(own.facts.get("channels", ())) or "none"
        raise Refused("channel", f"The file has no pressure column {channel!r}.", f"Its columns are: {listed}.")
    if channel == own.channel:
        raise Refused("channel", f"{own} is read from {channel} already.", "Choose another column, or leave it.")
    if own.channel and not reason.strip():
        raise Refused(
            "reason",
            "Another column is not taken without a reason.",
            f"Say why {own.channel} was the wrong one: the certificate prints that.",
        )


def _reasons(own: Recording, reason: str) -> Sequence[dict[str, str]]:
    return [{"instead_of": own.channel, "reason": reason.strip()}] if own.channel else []


def _read(own: Recording, record: Record, channel: str) -> Samples:
    try:
        return read_recording(
            files.fetch(own.sha256),
            pressure_unit=own.facts.get("pressure_unit_given") or None,
            channel=channel,
            zone=record.rig.zone,
        )
    except InputError as error:
        raise Refused("channel", error.reason, error.remedy) from error


def _clear(steps: Sequence[Step], record: Record) -> None:
    for step in steps:
        step.recording, step.evidence = None, Evidence.NONE
        step.proposed_marks = step.chosen_marks = None
        judge_step(step, record)


def _told(own: Recording) -> dict[str, Any]:
    judged = own.judged_steps.order_by("order")
    return {"channel": own.channel, "steps": {str(step): [step.outcome, step.chosen_marks] for step in judged}}
