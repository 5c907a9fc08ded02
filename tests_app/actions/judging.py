"""Parts of the actions that change a draft: working out what its steps need, and judging them.

Call these inside an action, on a record held by `drafts.hold_draft`. A verdict is always made anew from the
file as kept or the readings as typed; nothing is taken over from the page.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import ceil
from typing import Any

from calcs import holds
from calcs.errors import InputError
from calcs.exposure import ALONE, Beside, beside
from calcs.holds import HoldRule
from calcs.readings import Reading
from calcs.recordings import Recording as Samples
from calcs.recordings import read_recording
from calcs.units import Dimension
from calcs.verdicts import OverPressured
from equipment import files
from equipment.errors import Refused
from equipment.models import Measured
from tests_app.models import (
    Evidence,
    HoldPhase,
    Line,
    Outcome,
    PressureFrom,
    Record,
    Recording,
    RecordingKind,
    Step,
    TypedReading,
)
from tests_app.queries import verdicts
from tests_app.queries.copies import as_tested, in_round_unit
from tests_app.queries.limits import hold_rule, limits_of
from tests_app.queries.requirements import Need, circumstances_of, needs_of


def write_requirements(step: Step, needs: Sequence[Need]) -> None:
    """Give the step its limits and its lines their requirements; lines no longer needed go.

    What the test plan allows a hold to fall comes from no rule: it stays.
    """
    step.limits = {**limits_of(needs), **fall_allowed(step)}
    step.save()
    standing = {(line.position_id, line.pressure_from): line for line in step.lines.all()}
    for need in needs:
        line = standing.pop((need.standing.position.pk, need.pressure_from), None)
        _write_line(line or Line(step=step, position=need.standing.position, pressure_from=need.pressure_from), need)
    for line in standing.values():
        line.delete()


def fall_allowed(step: Step) -> dict[str, Any]:
    """Return the largest fall the test plan allows in a hold, as it stands among the limits; empty where none is."""
    return {"max_decay": step.limits["max_decay"]} if step.limits.get("max_decay") else {}


def _write_line(line: Line, need: Need) -> None:
    component, required = need.standing.component, need.required
    assert component is not None  # `required_for` refuses an empty position
    line.component = component
    line.component_as_tested = as_tested(component, need.standing.position)
    own = component.rated_working_pressure.unit
    line.required_low_min = _written(required.low.min_gauge, own) if required.low else None
    line.required_low_max = _written(required.low.max_gauge, own) if required.low else None
    line.required_high = _written(required.high_gauge, own)
    line.hold_seconds = ceil(required.hold)
    low_hold = ceil(required.low_hold) if required.low_hold is not None else line.hold_seconds
    line.low_hold_seconds = low_hold if low_hold != line.hold_seconds else None
    line.clause = required.clause[:160]
    line.working = list(need.working)
    line.rules = list(need.rules)
    line.pressure_from = PressureFrom(need.pressure_from)
    line.save()


def _written(pressure: float, own_unit: str) -> Measured:
    limit = in_round_unit(pressure, Dimension.PRESSURE, "psi", own_unit, "kPa")
    return Measured.of(limit, Dimension.PRESSURE, field="required")


def require_all(record: Record) -> None:
    """Work out anew what every step of the record needs."""
    under = circumstances_of(record)
    for step in record.steps.prefetch_related("lines__position__outlet_of"):
        elements = [(line.position, line.pressure_from) for line in step.lines.all()]
        write_requirements(step, needs_of(elements, under=under))


def judge_all(record: Record) -> None:
    """Judge every step of the record that has evidence, each file being read once."""
    read: dict[int, Samples] = {}
    for step in record.steps.select_related("recording").defer("recording__curve").order_by("order"):
        recording = step.recording
        if recording is not None and recording.pk not in read:
            read[recording.pk] = samples_of(recording, record)
        judge_step(step, record, samples=read.get(recording.pk) if recording else None)


def samples_of(recording: Recording, record: Record) -> Samples:
    """Read a kept file again as it was read when it came; raises FileMissing or FileAltered when it is not whole.

    Raises Refused for a file of several pressure columns of which none is chosen.
    """
    if recording.awaits_channel:
        raise Refused(
            "recording",
            f"{recording} has several pressure columns, and none is chosen yet.",
            "Choose the one the test was recorded on.",
        )
    return read_recording(
        files.fetch(recording.sha256),
        pressure_unit=recording.facts.get("pressure_unit_given") or None,
        channel=recording.channel or None,
        zone=record.rig.zone,
    )


def judge_beside(step: Step, record: Record, *, samples: Samples) -> None:
    """Judge anew the other steps of a step's file: what each stood under ends where the next one's part begins."""
    others = record.steps.filter(recording=step.recording, evidence=Evidence.RECORDING).exclude(pk=step.pk)
    for other in others.select_related("recording").order_by("order"):
        judge_step(other, record, samples=samples)


def judge_step(step: Step, record: Record, *, samples: Samples | None = None) -> None:
    """Judge a step by its evidence and give its lines their outcome. Raises InputError for unusable marks."""
    if step.evidence == Evidence.RECORDING and step.recording is not None:
        step.verdict = _from_recording(step, record, samples or samples_of(step.recording, record))
    elif step.evidence == Evidence.TYPED:
        step.verdict = _from_readings(step, record)
    else:
        step.verdict = None
    step.outcome = _outcome(step.verdict)
    step.concluded_at = verdicts.concluded_at(step.verdict) if step.verdict else None
    step.save()
    for line in step.lines.all():
        if line.outcome != _outcome_of(line, step):
            give_outcome(line, step)


def give_outcome(line: Line, step: Step) -> None:
    """Give a line its step's outcome, unless a leak was seen: that fails it even where the pressure held."""
    line.outcome = _outcome_of(line, step)
    line.save()


def _outcome_of(line: Line, step: Step) -> Outcome:
    return Outcome.FAILED if line.leak_seen else Outcome(step.outcome)


def _outcome(verdict: dict[str, Any] | None) -> Outcome:
    if verdict is None:
        return Outcome.PENDING
    return Outcome.PASSED if verdict["passes"] else Outcome.FAILED


def _from_recording(step: Step, record: Record, samples: Samples) -> dict[str, Any]:
    marks = step.chosen_marks or {}
    start, end = marks.get("start_s"), marks.get("end_s")
    rule = hold_rule(step.limits)
    verdict = holds.judge(samples, rule, start=start, end=end, beside=_beside(step, record))
    elsewhere = _over_pressured_elsewhere(step, rule)
    if elsewhere is not None:
        reasons = (elsewhere, *verdict.high.reasons)
        verdict = replace(verdict, high=replace(verdict.high, passes=False, reasons=reasons))
    return verdicts.of_recording(verdict, samples, rule, record.rig, start_s=start, end_s=end)


def _over_pressured_elsewhere(step: Step, rule: HoldRule) -> OverPressured | None:
    """Return the fault another file of the step's own shows: to judge by a different one does not undo it."""
    own = step.recordings.filter(kind=RecordingKind.SAMPLES, withdrawn_at__isnull=True).defer("curve")
    others = (one for one in own if one.pk != step.recording_id)
    faults = (rule.over_pressured(one.facts.get("highest", 0.0), marked=False) for one in others)
    return next((fault for fault in faults if fault is not None), None)


def _beside(step: Step, record: Record) -> Beside:
    """Return what else is judged from the step's file; nothing where the file is the step's own: all of it counts."""
    if step.recording is None or step.recording.step_id == step.pk or step.chosen_marks is None:
        return ALONE
    judged = record.steps.filter(recording=step.recording, evidence=Evidence.RECORDING, chosen_marks__isnull=False)
    parts = [(step, step.chosen_marks), *((one, one.chosen_marks) for one in judged.exclude(pk=step.pk))]
    parts.sort(key=lambda part: part[0].order)
    number = next(place for place, (one, _) in enumerate(parts) if one.pk == step.pk)
    return beside(
        number,
        [(marks["start_s"], marks["end_s"]) for _, marks in parts],
        [hold_rule(one.limits).never_above for one, _ in parts],
    )


def _from_readings(step: Step, record: Record) -> dict[str, Any] | None:
    """Return the verdict on readings typed in; None where a hold that is asked since was not among them."""
    read = {typed.phase: _reading(typed) for typed in step.typed_readings.all()}
    rule = hold_rule(step.limits, recorded=False)
    low = read.get(HoldPhase.LOW) if rule.low is not None else None
    if rule.low is not None and low is None:
        return None
    return verdicts.of_readings(low, read[HoldPhase.HIGH], rule, record.rig)


def _reading(typed: TypedReading) -> Reading:
    try:
        return Reading(
            start_at=typed.start_at,
            end_at=typed.end_at,
            start_pressure=typed.start_pressure.si,
            end_pressure=typed.end_pressure.si,
            highest_before=typed.highest_before.si if typed.highest_before else None,
        )
    except InputError as error:
        raise error.under(typed.phase) from error
