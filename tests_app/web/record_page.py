"""The page of a draft: everything of one test in one column, with a form for each thing that can be done next.

A refused form comes back in its place on the same page, as typed; the rest of the page stands as saved.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from http import HTTPStatus
from typing import Any, Final

from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse

from equipment.models import PositionGroup
from tests_app import rulebook
from tests_app.documents.envelope import facts_in_words
from tests_app.models import Evidence, Line, Outcome, Record, Recording, RecordingKind, Step
from tests_app.queries import records
from tests_app.queries.limits import hold_s, low_hold_s
from tests_app.queries.open_points import open_points
from tests_app.queries.proposals import is_unconfirmed
from tests_app.queries.verdicts import all_notes_of
from tests_app.web.channel_form import ChannelForm
from tests_app.web.closing_forms import ConcludeForm
from tests_app.web.entry import Visit
from tests_app.web.evidence_forms import AttachForm, ChartForm, LeakForm, MarksForm, ReadingsForm, ReasonForm
from tests_app.web.refusals import status_of
from tests_app.web.story import story_of
from tests_app.web.verdict_view import Verdict, verdict_view

WHOLE: Final = 0
"""Number that stands for the whole test where a form is for a step or for the whole."""

Bound = Mapping[tuple[str, int], BaseForm]
_NONE_BOUND: Final[Bound] = {}


@dataclass(frozen=True)
class LineRow:
    """One element of a step with the form for what was seen at it."""

    line: Line
    leak: BaseForm

    @property
    def place(self) -> str:
        """Return the part of the system it belongs to."""
        return str(PositionGroup(self.line.position.group).label)


@dataclass(frozen=True)
class FileRow:
    """A file of the test with the form to set it aside."""

    recording: Recording
    withdraw: BaseForm
    channel: BaseForm | None = None

    @property
    def facts(self) -> str:
        """Return what is known of a recorder file, in words; nothing for a picture."""
        return facts_in_words(self.recording)


@dataclass(frozen=True)
class StepBlock:
    """One step with all that can be done to it."""

    step: Step
    lines: Sequence[LineRow]
    verdict: Verdict | None
    files: Sequence[FileRow]
    attach: BaseForm
    chart: BaseForm
    marks: BaseForm | None
    readings: BaseForm
    take_back: BaseForm
    superseded_by: Step | None = None

    @property
    def has_plot(self) -> bool:
        """Tell whether there is a curve to show."""
        return bool(self.step.verdict and self.step.verdict.get("curve"))

    @property
    def hold_s(self) -> float:
        """Return how long the high hold lasts, as it is or will be judged, s."""
        return hold_s(self.step.limits, recorded=self.step.evidence != Evidence.TYPED)

    @property
    def low_hold_s(self) -> float | None:
        """Return how long the low hold lasts, s; None where no low test is asked."""
        return low_hold_s(self.step.limits, recorded=self.step.evidence != Evidence.TYPED)

    @property
    def low_hold_differs(self) -> bool:
        """Tell whether the low hold lasts another time than the high one."""
        return self.low_hold_s is not None and self.low_hold_s != self.hold_s

    @property
    def hold_typed_s(self) -> float:
        """Return how long each hold lasts where readings are typed in, s."""
        return hold_s(self.step.limits, recorded=False)

    @property
    def notes(self) -> Sequence[str]:
        """Return what did not fail the step but has to be seen."""
        return all_notes_of(self.step.verdict)

    @property
    def failed(self) -> bool:
        """Tell whether the step, or one of its lines by a leak, failed."""
        return self.step.outcome == Outcome.FAILED or any(row.line.leak_seen for row in self.lines)

    @property
    def outcome(self) -> str:
        """Return the outcome to show: a leak fails the step even where the pressure held."""
        return Outcome.FAILED if self.failed else self.step.outcome

    @property
    def unconfirmed(self) -> bool:
        """Tell whether the tester has yet to confirm or move what was proposed."""
        return is_unconfirmed(self.step)

    @property
    def removable(self) -> bool:
        """Tell whether the step can still be taken out: nothing hangs on it yet."""
        return self.step.evidence == Evidence.NONE and not self.files

    @property
    def open_part(self) -> str:
        """Return which disclosure of the block holds a refused form."""
        for name in ("attach", "chart", "readings", "marks", "take_back"):
            form = getattr(self, name)
            if form is not None and form.is_bound:
                return name
        return "attach" if self.step.evidence == Evidence.NONE else ""


@dataclass(frozen=True)
class WholeFile:
    """A recorder file of the whole test, with what was found in it."""

    file: FileRow
    holds: Sequence["FoundHold"]
    steps: Sequence[Step]
    open_steps: Sequence[Step] = ()

    @property
    def may_be_searched(self) -> bool:
        """Tell whether a search can find something: steps without evidence, or a file never searched."""
        recording = self.file.recording
        return not recording.awaits_channel and bool(self.open_steps or recording.awaits_search)

    @property
    def unconfirmed(self) -> int:
        """Return how many proposals wait for the tester's word."""
        return sum(is_unconfirmed(step) for step in self.steps)


@dataclass(frozen=True)
class FoundHold:
    """A low and high hold found in a file of the whole test, with the step it was proposed for, if any."""

    number: int
    start_s: float
    end_s: float
    why: str
    step: Step | None

    @property
    def unconfirmed(self) -> bool:
        """Tell whether the tester has yet to confirm or move it."""
        return self.step is not None and is_unconfirmed(self.step)

    @property
    def moved(self) -> bool:
        """Tell whether the tester chose other marks than were proposed."""
        chosen = self.step.chosen_marks if self.step else None
        if not chosen:
            return False
        return (chosen["start_s"], chosen["end_s"]) != (self.start_s, self.end_s)


class Assembly:
    """Puts the page of one draft together."""

    def __init__(self, visit: Visit, record: Record, bound: Bound = _NONE_BOUND) -> None:
        self.visit = visit
        self.record = record
        self.bound = bound
        self.recordings = list(records.recordings_of(record))
        self.steps = list(records.steps_of(record))

    def _form(self, name: str, number: int, fresh: BaseForm) -> BaseForm:
        return self.bound.get((name, number), fresh)

    def blocks(self) -> list[StepBlock]:
        """Return the steps in order."""
        retested = {step.retest_of_id: step for step in self.steps if step.retest_of_id}
        return [self._block(step, retested.get(step.pk)) for step in self.steps]

    def _block(self, step: Step, retest: Step | None) -> StepBlock:
        own = [one for one in self.recordings if one.step_id == step.pk and one.withdrawn_at is None]
        lines = [LineRow(line, self._form("leak", line.pk, LeakForm.about(line))) for line in step.lines.all()]
        return StepBlock(
            step=step,
            lines=lines,
            verdict=verdict_view(step.verdict, units=self.visit.units, zone=self.record.rig.zone),
            files=[self._file(one) for one in own],
            attach=self._form("attach", step.pk, AttachForm(prefix=f"attach-{step.pk}")),
            chart=self._form("chart", step.pk, ChartForm(prefix=f"chart-{step.pk}")),
            marks=self._marks(step),
            readings=self._form("readings", step.pk, readings_form(step, self.record)),
            take_back=self._form("take-back", step.pk, ReasonForm(prefix=f"take-back-{step.pk}")),
            superseded_by=retest,
        )

    def usable_samples(self, step: Step) -> list[Recording]:
        """Return the recorder files a step can be judged from: its own, and those of the whole test."""
        return [
            one
            for one in self.recordings
            if one.kind == RecordingKind.SAMPLES
            and one.withdrawn_at is None
            and one.step_id in (None, step.pk)
            and not one.awaits_channel
        ]

    def _marks(self, step: Step) -> BaseForm | None:
        usable = self.usable_samples(step)
        if not usable:
            return None
        return self._form("marks", step.pk, marks_form(step, usable))

    def _file(self, recording: Recording) -> FileRow:
        name = f"withdraw-{recording.pk}"
        channel = None
        if recording.has_several_channels:
            channel = self._form("channel", recording.pk, ChannelForm(recording=recording))
        return FileRow(recording, self._form("withdraw", recording.pk, ReasonForm(prefix=name)), channel)

    def whole_files(self) -> list[WholeFile]:
        """Return the recorder files of the whole test, each with the steps judged from it."""
        whole = [
            one
            for one in self.recordings
            if one.step_id is None and one.withdrawn_at is None and one.kind == RecordingKind.SAMPLES
        ]
        return [self._whole(one) for one in whole]

    def _whole(self, recording: Recording) -> WholeFile:
        steps = [step for step in self.steps if step.recording_id == recording.pk]
        # By the proposal itself, not by the order kept with it: steps taken out since have moved the others up.
        proposed = {step.proposed_marks["start_s"]: step for step in steps if step.proposed_marks}
        holds = [
            FoundHold(
                number,
                hold["start_s"],
                hold["end_s"],
                hold["why"],
                proposed.get(hold["start_s"]) or _judged_on(hold, steps),
            )
            for number, hold in enumerate(recording.facts.get("holds", ()), start=1)
        ]
        waiting = [step for step in self.steps if step.evidence == Evidence.NONE]
        return WholeFile(self._file(recording), holds, steps, waiting)

    def context(self) -> dict[str, Any]:
        """Return all the page needs."""
        record = self.record
        charts = [one for one in self.recordings if one.kind == RecordingKind.CHART and one.step_id is None]
        return {
            "record": record,
            "test": record.pressure_test,
            "edition_title": edition_title(record),
            "uses": list(record.instrument_uses.all()),
            "blocks": self.blocks(),
            "whole_files": self.whole_files(),
            "whole_charts": [self._file(one) for one in charts if one.withdrawn_at is None],
            "withdrawn": [one for one in self.recordings if one.withdrawn_at is not None],
            "attach_whole": self._form("attach", WHOLE, AttachForm(prefix="attach-0")),
            "chart_whole": self._form("chart", WHOLE, ChartForm(prefix="chart-0")),
            "conclude": self._form("conclude", WHOLE, conclude_form(self.visit, record, self.steps)),
            "discard": self._form("discard", WHOLE, ReasonForm(prefix="discard")),
            **self._points(),
            "story": story_of(record),
        }

    def _points(self) -> dict[str, Any]:
        points = open_points(self.record)
        anchored = [(point, self._anchor(point.field)) for point in points]
        return {
            "missing": [one for one in anchored if one[0].blocks],
            "advice": [one for one in anchored if not one[0].blocks],
        }

    def _anchor(self, about: str) -> str:
        """Return where on the page an open point is dealt with."""
        by_order = {f"step-{step.order}": f"step-{step.pk}" for step in self.steps}
        by_file = {f"file-{one.pk}": f"file-{one.pk}" for one in self.recordings}
        return {"concluded_at": "conclude", "steps": "steps", **by_order, **by_file}.get(about, "heading")


def _judged_on(hold: Mapping[str, Any], steps: Sequence[Step]) -> Step | None:
    """Return the step judged on a hold that was not proposed for it."""
    for step in steps:
        marks = step.chosen_marks
        if marks and not step.proposed_marks and marks["start_s"] < hold["end_s"] and hold["start_s"] < marks["end_s"]:
            return step
    return None


def edition_title(record: Record) -> str:
    """Return the title of the rules a record is judged by."""
    edition = rulebook.edition(record.edition)
    return f"{edition.title}, {edition.edition}"


def marks_form(step: Step, usable: list[Recording], data: Any = None) -> MarksForm:
    """Return the form of a step's marks, as they stand or were proposed."""
    marks = step.chosen_marks or step.proposed_marks or {}
    initial = {
        "recording": step.recording_id or usable[0].pk,
        "start_s": marks.get("start_s"),
        "end_s": marks.get("end_s"),
        "reason": marks.get("reason", ""),
    }
    if initial["end_s"] is None and len(usable) == 1:
        initial["start_s"], initial["end_s"] = 0.0, usable[0].facts.get("duration_s")
    return MarksForm(data, recordings=usable, prefix=f"marks-{step.pk}", initial=initial)


def readings_form(step: Step, record: Record, data: Any = None) -> ReadingsForm:
    """Return the form of readings typed in, with those that stand."""
    initial: dict[str, Any] = {}
    for typed in step.typed_readings.all():
        initial["reason"] = typed.reason
        for name in ("start_at", "end_at", "start_pressure", "end_pressure"):
            initial[f"{typed.phase}_{name}"] = getattr(typed, name)
        if typed.phase == "low":
            initial["highest_before"] = typed.highest_before
    asks_low = bool(step.limits.get("low"))
    return ReadingsForm(data, zone=record.rig.zone, asks_low=asks_low, prefix=f"readings-{step.pk}", initial=initial)


def conclude_form(visit: Visit, record: Record, steps: Sequence[Step], data: Any = None) -> ConcludeForm:
    """Return the form for the conclusion, proposing the end of the last hold where that is known."""
    ended = [step.concluded_at for step in steps if step.concluded_at]
    proposed = record.concluded_at or (max(ended) + timedelta(minutes=1) if ended else None)
    return ConcludeForm(data, rig=record.rig, at=visit.at, initial={"concluded_at": proposed})


def draft_page(
    request: HttpRequest, visit: Visit, record: Record, bound: Bound = _NONE_BOUND, *, status: int | None = None
) -> HttpResponse:
    """Show the draft; `bound` holds a refused form in its place."""
    form = next(iter(bound.values()), None)
    if not record.is_draft:
        return no_draft_page(request, visit, record, form)
    answered = status or (status_of(form) if form is not None else HTTPStatus.OK)
    return visit.show(request, "tests_app/draft.html", Assembly(visit, record, bound).context(), status=answered)


def no_draft_page(request: HttpRequest, visit: Visit, record: Record, form: BaseForm | None) -> HttpResponse:
    """Answer what was sent to a record that takes no changes any more: 409, with what was typed."""
    visible = form.visible_fields() if form is not None and form.is_bound else []
    typed = [(field.label, field.value()) for field in visible if isinstance(field.value(), str) and field.value()]
    context = {"record": record, "typed": typed}
    return visit.show(request, "tests_app/no_draft.html", context, status=HTTPStatus.CONFLICT)
