"""What a file had been judged before it was set aside: a test that failed is not undone by that."""

from collections.abc import Iterable, Mapping
from typing import Any

from tests_app.models import Outcome, Record, Recording, Step
from tests_app.queries.verdicts import holds_of, wording_for

_KEY = "judged"


def judged_of(steps: Iterable[Step], record: Record) -> list[dict[str, Any]]:
    """Return what is kept of the steps a file judged: their order, the verdict in words, and what over-pressured."""
    return [
        {
            "step": step.order,
            "text": _in_words(step, step.verdict, record),
            "over_pressured": step.verdict.get("over_pressured", ""),
        }
        for step in steps
        if step.verdict
    ]


def had_judged(recording: Recording) -> list[str] | None:
    """Return in words what a file set aside had been judged; None where it was set aside before that was kept."""
    kept = recording.facts.get(_KEY)
    return None if kept is None else [one["text"] for one in kept]


def over_pressured_by(record: Record) -> list[tuple[int, str]]:
    """Return what over-pressured a step by files set aside since: its order then, and what was seen, in words."""
    files = record.recordings.filter(withdrawn_at__isnull=False).defer("curve")
    return [
        (one["step"], f"Step {one['step']} was over-pressured by {file.file_name}, set aside since: {seen}.")
        for file in files
        for one in file.facts.get(_KEY, ())
        if (seen := one["over_pressured"])
    ]


def _in_words(step: Step, verdict: Mapping[str, Any], record: Record) -> str:
    outcome = "passed" if step.outcome == Outcome.PASSED else "not passed"
    named = f"{outcome}, step {step.order} ({step.name})"
    reasons = [f"{phase} hold: {reason}" for phase, hold in holds_of(verdict) for reason in hold["reasons"]]
    highest = verdict["high"]["max_pressure"]
    if highest is not None:
        named += f", {wording_for(record.rig).pressure(highest)}"
    return "; ".join([named, *reasons])
