"""What the search proposed of a recording and what became of it: unconfirmed marks, moved marks, holds left over."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from calcs.units import Dimension, from_si
from calcs.verdicts import duration_in_words
from tests_app.models import Evidence, Recording, Step
from tests_app.queries.verdicts import holds_of

SAME_MARK_S: Final = 0.5
"""Marks this near to each other are the same: the page writes them rounded."""


@dataclass(frozen=True)
class LooseHold:
    """An attempt found in a recording that no step is judged on; pressure gauge in Pa, None in older files.

    Attributes:
        number: its place among the holds found in the file, from 1.
    """

    recording: Recording
    number: int
    start_s: float
    end_s: float
    highest: float | None
    passes: bool
    why: str

    @property
    def start_at(self) -> datetime | None:
        """Return when it began, where the recording has a clock."""
        begun = self.recording.facts.get("started_at")
        return datetime.fromisoformat(begun) + timedelta(seconds=self.start_s) if begun else None

    def is_named_in(self, remarks: str) -> bool:
        """Tell whether remarks name it, such as ``hold 3``."""
        return re.search(rf"\bhold {self.number}\b", " ".join(remarks.casefold().split())) is not None

    def __str__(self) -> str:
        reached = "" if self.highest is None else f", up to {from_si(self.highest, 'psi', Dimension.PRESSURE):,.0f} psi"
        begun, lasted = duration_in_words(self.start_s), duration_in_words(self.end_s - self.start_s)
        return f"Hold {self.number} of {self.recording.file_name} ({begun} into it, {lasted} long{reached})"


def is_unconfirmed(step: Step) -> bool:
    """Tell whether a step is judged on marks the search proposed and no tester confirmed."""
    return step.chosen_marks is not None and step.chosen_marks.get("confirmed") is False


def are_moved(step: Step, recording: Recording, start_s: float, end_s: float) -> bool:
    """Tell whether marks leave what was proposed for a step, or leave out part of its own file, or what stood."""
    stands: Mapping[str, Any] | None = step.proposed_marks
    if stands is None and recording.step_id == step.pk:
        stands = {"start_s": 0.0, "end_s": recording.facts["duration_s"]}
    if stands is None and step.recording_id == recording.pk:
        stands = step.chosen_marks
    if stands is None:
        return False
    shifts = (abs(start_s - stands["start_s"]), abs(end_s - stands["end_s"]))
    return bool(max(shifts) > SAME_MARK_S)


def loose_holds(recordings: Iterable[Recording], steps: Sequence[Step]) -> list[LooseHold]:
    """Return the attempts in files not set aside that no step is judged on."""
    found = []
    for recording in recordings:
        judged = [part for step in steps if step.recording_id == recording.pk for part in _judged_parts(step)]
        holds = recording.facts.get("holds", ()) if recording.withdrawn_at is None else ()
        for number, hold in enumerate(holds, start=1):
            start, end = hold["start_s"], hold["end_s"]
            if not any(first < end and start < last for first, last in judged):
                found.append(LooseHold(recording, number, start, end, hold.get("highest"), hold["passes"], hold["why"]))
    return found


def recorded_seconds(recordings: Iterable[Recording]) -> float:
    """Return how long the recorder files of a record last together, s.

    What two recorders wrote at the same time by their clocks, or two channels of one file, counts once.
    """
    spans: list[tuple[datetime, datetime]] = []
    unclocked: dict[str, float] = {}
    for recording in recordings:
        facts = recording.facts
        if recording.withdrawn_at is not None or "duration_s" not in facts:
            continue
        if facts.get("started_at") and facts.get("ended_at"):
            spans.append((datetime.fromisoformat(facts["started_at"]), datetime.fromisoformat(facts["ended_at"])))
        else:
            unclocked[recording.sha256] = facts["duration_s"]
    total = sum(unclocked.values())
    until: datetime | None = None
    for start, end in sorted(spans):
        begin = start if until is None else max(start, until)
        total += max((end - begin).total_seconds(), 0.0)
        until = end if until is None else max(until, end)
    return total


def _judged_parts(step: Step) -> list[tuple[float, float]]:
    """Return the windows a step was judged on; its marks where no hold was found between them."""
    if step.evidence != Evidence.RECORDING or step.verdict is None:
        return []
    windows = [hold for _, hold in holds_of(step.verdict) if hold["start_s"] is not None]
    windows = windows or ([step.chosen_marks] if step.chosen_marks else [])
    return [(window["start_s"], window["end_s"]) for window in windows]
