"""Readings typed in, where the recorder failed or a paper chart stands instead."""

from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.models import User
from calcs.errors import InputError
from equipment.actions.saving import aware
from equipment.errors import Refused
from tests_app.actions.drafts import hold_step, mark_changed, refuse_idle_reason
from tests_app.actions.judging import judge_step
from tests_app.models import Evidence, HoldPhase, Step, TypedReading
from trail import entries


@dataclass(frozen=True)
class HoldReading:
    """One hold as read by eye; pressures as typed with their unit, such as ``275 psi``."""

    start_at: datetime
    end_at: datetime
    start_pressure: str
    end_pressure: str
    highest_before: str = ""


@transaction.atomic
def type_readings(
    step: Step, *, low: HoldReading | None, high: HoldReading, reason: str, by: User, at: datetime
) -> Step:
    """Judge a step by readings typed in, and mark it so; typing again replaces them.

    `low` is None only where no low test is asked of the step.
    Raises Refused naming `low.start_at`, `high.end_pressure` and so on.
    """
    held = hold_step(step)
    if held.evidence == Evidence.RECORDING:
        raise Refused("", f"{held} is judged from a recording.", "Withdraw the recording first, with its reason.")
    if not reason.strip():
        raise Refused("reason", "Readings are typed in for a reason.", "Say why no recording stands.")
    refuse_idle_reason(reason, "Readings are not typed in")
    before = _told(held)
    held.typed_readings.all().delete()
    if low is None and held.limits.get("low"):
        raise Refused("low.start_at", "The low hold is missing.", "Type in both holds: a low test is asked.")
    typed_in = [(HoldPhase.LOW, low), (HoldPhase.HIGH, high)]
    for phase, reading in ((phase, reading) for phase, reading in typed_in if reading is not None):
        _write(held, phase, reading, reason.strip(), at)
    held.evidence = Evidence.TYPED
    _judge(held)
    mark_changed(held.record)
    after = _told(held)
    entries.write(
        "step.readings-typed",
        held,
        by=by,
        at=at,
        rig_number=held.record.rig_id,
        before=before,
        after=after,
        reason=reason.strip(),
    )
    return held


@transaction.atomic
def take_back_readings(step: Step, *, reason: str, by: User, at: datetime) -> Step:
    """Take typed readings out of a draft, because they were wrong or the recording turned up; the trail keeps them."""
    held = hold_step(step)
    if held.evidence != Evidence.TYPED:
        raise Refused("", f"{held} has no readings typed in.", "")
    if not reason.strip():
        raise Refused("reason", "Readings are not taken back without a reason.", "Say why.")
    refuse_idle_reason(reason, "Readings are not taken back")
    before = _told(held)
    held.typed_readings.all().delete()
    held.evidence = Evidence.NONE
    judge_step(held, held.record)
    mark_changed(held.record)
    entries.write(
        "step.readings-taken-back",
        held,
        by=by,
        at=at,
        rig_number=held.record.rig_id,
        before=before,
        after=_told(held),
        reason=reason.strip(),
    )
    return held


def _write(step: Step, phase: HoldPhase, reading: HoldReading, reason: str, at: datetime) -> None:
    start_at = aware(reading.start_at, field=f"{phase}.start_at")
    end_at = aware(reading.end_at, field=f"{phase}.end_at")
    typed = TypedReading(step=step, phase=phase, start_at=start_at, end_at=end_at, reason=reason)
    for name in ("start_pressure", "end_pressure", "highest_before"):
        given = getattr(reading, name).strip()
        needed = name != "highest_before" or phase == HoldPhase.LOW
        if not given and needed:
            raise Refused(f"{phase}.{name}", "This reading is missing.", "Give it with its unit, such as 275 psi.")
        _set(typed, name, given)
    _refuse_times(typed, step, at)
    typed.save()


def _set(typed: TypedReading, name: str, given: str) -> None:
    try:
        setattr(typed, name, given)
    except ValidationError as error:
        raise Refused(f"{typed.phase}.{name}", " ".join(error.messages)) from error


def _refuse_times(typed: TypedReading, step: Step, at: datetime) -> None:
    if typed.end_at <= typed.start_at:
        raise Refused(f"{typed.phase}.end_at", "The hold ends before it began.", "Give an end after the start.")
    if typed.end_at > at:
        raise Refused(f"{typed.phase}.end_at", "The hold ends in the future.", "Give the time as read.")
    if typed.start_at < step.record.started_at:
        raise Refused(
            f"{typed.phase}.start_at",
            "The hold begins before the test was begun.",
            "Check it against the test's start.",
        )


def _judge(step: Step) -> None:
    try:
        judge_step(step, step.record)
    except InputError as error:
        raise Refused(error.field, error.reason, error.remedy) from error


def _told(step: Step) -> dict[str, object]:
    return {**entries.snapshot(step), "readings": [entries.snapshot(typed) for typed in step.typed_readings.all()]}
