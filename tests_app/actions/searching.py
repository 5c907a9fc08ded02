"""Searching a recorder file of the whole test for holds: when it comes, and again when steps were added since."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.models import User
from calcs.errors import InputError
from calcs.hold_matching import FoundHolds, Settled, find_holds
from calcs.recordings import Recording as Samples
from equipment.errors import Refused
from tests_app.actions.drafts import hold_draft, mark_changed
from tests_app.actions.judging import judge_step, samples_of
from tests_app.models import Evidence, Record, Recording, RecordingKind, Step
from tests_app.queries.limits import hold_rule
from tests_app.queries.verdicts import between
from trail import entries


@transaction.atomic
def search_again(recording: Recording, *, by: User, at: datetime) -> Recording:
    """Search a file of the whole test anew for the steps that have no evidence; what is judged stays as it is.

    Raises Refused where the file is not of the whole test, set aside, waits for its channel, or there is no step.
    """
    held = hold_draft(recording.record)
    own = held.recordings.get(pk=recording.pk)
    if own.step_id is not None or own.kind != RecordingKind.SAMPLES or own.withdrawn_at is not None:
        raise Refused("", f"{own} is no recorder file of the whole test.", "Choose one that is, and is not set aside.")
    if not held.steps.exists():
        raise Refused("", "The test has no step to search holds for.", "Add the steps first, in the order tested.")
    proposed = propose_holds(held, own, samples_of(own, held))
    own.save()
    mark_changed(held)
    after = {"holds": own.facts["holds"], "proposed": {str(step): step.proposed_marks for step in proposed}}
    entries.write("recording.searched", own, by=by, at=at, rig_number=held.rig_id, after=after)
    return own


def propose_holds(record: Record, recording: Recording, samples: Samples) -> list[Step]:
    """Search the holds of a whole test and give each to the step it fits; keep every attempt with its reason.

    Only steps without evidence are given a hold, and it is returned which; the others keep theirs.
    """
    steps = list(record.steps.select_related("recording").order_by("order"))
    if not steps:
        return []
    found = _found(samples, steps, recording)
    proposed = []
    for hold in found.holds:
        step = None if hold.step is None else steps[hold.step]
        if step is not None and step.evidence == Evidence.NONE:
            step.proposed_marks = {"start_s": hold.start, "end_s": hold.end, "why": hold.why}
            step.chosen_marks = {"start_s": hold.start, "end_s": hold.end, "confirmed": False}
            step.recording, step.evidence = recording, Evidence.RECORDING
            step.save()
            proposed.append(step)
    for step in steps:
        # Those judged before too: what they stood under ends where the part of the next step begins.
        if step.recording_id == recording.pk:
            judge_step(step, record, samples=samples)
    recording.facts = {**recording.facts, "searched": True, "holds": _told_holds(found, steps, samples)}
    return proposed


def _found(samples: Samples, steps: Sequence[Step], recording: Recording) -> FoundHolds:
    settled: Settled = {
        place: _part(step, recording) for place, step in enumerate(steps) if step.evidence != Evidence.NONE
    }
    try:
        return find_holds(samples, [hold_rule(step.limits) for step in steps], settled=settled)
    except InputError as error:
        raise Refused("recording", error.reason, error.remedy) from error


def _part(step: Step, recording: Recording) -> tuple[float, float] | None:
    """Return the part of the recording a step is judged on; None where it is judged by something else."""
    if step.recording_id != recording.pk or step.chosen_marks is None:
        return None
    return step.chosen_marks["start_s"], step.chosen_marks["end_s"]


def _told_holds(found: FoundHolds, steps: Sequence[Step], samples: Samples) -> list[dict[str, Any]]:
    return [
        {
            "start_s": hold.start,
            "end_s": hold.end,
            "step": None if hold.step is None else steps[hold.step].order,
            "nearest_step": steps[hold.judged_by].order,
            "passes": hold.verdict.passes,
            "why": hold.why,
            "highest": float(between(samples, hold.start, hold.end).pressures.max()),
        }
        for hold in found.holds
    ]
