"""The page of a function test's draft: every line in one table, each verdict beside what was typed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Final

from django import forms
from django.http import HttpRequest, HttpResponse

from accounts.presentation import unit_label
from equipment.queries.controls import controls_of, pods_among, stations_among
from tests_app.models import FunctionLine, Outcome, Record
from tests_app.queries import records
from tests_app.queries.drawdowns import edition_of_record
from tests_app.queries.function_statements import Asked, statements_of
from tests_app.queries.function_subjects import subjects_of
from tests_app.queries.function_verdicts import circumstances_of, verdicts_of
from tests_app.queries.functioned import failed_open
from tests_app.web.bank_page import BankAssembly
from tests_app.web.entry import Visit
from tests_app.web.evidence_forms import ReasonForm
from tests_app.web.function_lines_form import FunctionLinesForm, LineRow
from tests_app.web.record_page import WHOLE, Bound, conclude_form, edition_title
from tests_app.web.refusals import status_of
from tests_app.web.story import story_of

_PLACES: Final = {"concluded_at": "conclude", "lines": "worked", "statements": "statements"}
_OUTCOMES: Final = {None: Outcome.PENDING, True: Outcome.PASSED, False: Outcome.FAILED}


class StatementsForm(forms.Form):
    """What had to be so first, and who saw that it was."""

    confirmed = forms.MultipleChoiceField(label="Confirmed", required=False, widget=forms.CheckboxSelectMultiple)
    said_by = forms.CharField(label="Seen by", max_length=120, required=False, help_text="Who saw that it was so.")

    def __init__(self, data: Any = None, *, asked: Sequence[Asked], name: str = "") -> None:
        said = next((one.confirmed_by for one in asked if one.is_confirmed), name)
        initial = {"confirmed": [one.key for one in asked if one.is_confirmed], "said_by": said}
        super().__init__(data, prefix="statements", initial=initial)
        self.fields["confirmed"].choices = [(one.key, one.words) for one in asked]  # type: ignore[attr-defined]


class SubjectForm(forms.Form):
    """One more thing worked, or one worked again from elsewhere."""

    subject = forms.ChoiceField(label="Worked as well", error_messages={"required": "Choose what was worked."})

    def __init__(self, data: Any = None, *, record: Record) -> None:
        super().__init__(data, prefix="subject")
        self.offered = subjects_of(record.stack, None, at=record.started_at)
        choices = [(one.key, f"{one.name}, {one.detail}") for one in self.offered]
        self.fields["subject"].choices = [("", "Choose"), *choices]  # type: ignore[attr-defined]

    @property
    def chosen(self) -> Any:
        """Return the thing chosen."""
        return next(one for one in self.offered if one.key == self.cleaned_data["subject"])


@dataclass(frozen=True)
class WorkedLine:
    """One line: its fields, what is made of it as typed, and what can be done with it."""

    row: LineRow
    verdict: Mapping[str, Any]
    may_work_again: bool

    @property
    def line(self) -> FunctionLine:
        """Return the line itself."""
        return self.row.line

    @property
    def outcome(self) -> str:
        """Return what it comes to as typed."""
        return _OUTCOMES[self.verdict["passes"]]


@dataclass(frozen=True)
class Live:
    """The lines as typed, saved or not, with what is made of each."""

    form: FunctionLinesForm
    lines: Sequence[WorkedLine]
    state: str = ""
    said: str = ""

    @property
    def volume_unit(self) -> str:
        """Return the unit volumes are typed in, as a word."""
        return unit_label(self.form.head("volume_unit"))

    @property
    def length_unit(self) -> str:
        """Return the unit of pipe sizes."""
        return unit_label(self.form.head("length_unit"))

    @property
    def has_pods(self) -> bool:
        """Tell whether a pod can be named."""
        return bool(self.form.pods)


def lines_form(visit: Visit, record: Record, data: Any = None) -> FunctionLinesForm:
    """Return the form of all lines, as they stand."""
    rows = ("position", "component", "control_item", "station", "pod", "retest_of")
    lines = list(record.function_lines.select_related(*rows).order_by("order"))
    for line in lines:
        line.record = record
    items = controls_of(record.stack, at=record.started_at)
    return FunctionLinesForm(
        data,
        lines=lines,
        stations=stations_among(items),
        pods=pods_among(items),
        units=visit.units,
        version=record.version,
    )


def live_of(record: Record, form: FunctionLinesForm, *, state: str = "", said: str = "") -> Live:
    """Return the lines with their verdicts; what could be read of a bound form takes the place of what is saved."""
    lines = list(form.lines)
    if form.is_bound:
        form.is_valid()
        for line in lines:
            if not any(form.has_error(name) for name in form.fields if name.endswith(f"-{line.pk}")):
                form.facts_of(line).suppose_on(line)
    verdicts = verdicts_of(lines, circumstances_of(record, lines))
    again = {line.retest_of_id for line in lines}
    open_ones = {line.pk for line in failed_open(list(record.function_lines.all()))}
    return Live(
        form,
        [
            WorkedLine(row, verdict, row.line.pk in open_ones and row.line.pk not in again)
            for row, verdict in zip(form.rows(), verdicts, strict=True)
        ],
        state,
        said,
    )


class FunctionAssembly(BankAssembly):
    """Puts the page of a function test's draft together."""

    def context(self) -> dict[str, Any]:
        """Return all the page needs."""
        record, visit = self.record, self.visit
        bound = self.bound.get(("lines", WHOLE))
        form = bound if isinstance(bound, FunctionLinesForm) else lines_form(visit, record)
        conflict = bound is not None and status_of(bound) == HTTPStatus.CONFLICT
        asked = statements_of(record, form.lines)
        recordings = list(records.recordings_of(record))
        return {
            "record": record,
            "test": record.function_test,
            "edition_title": edition_title(record),
            "edition": edition_of_record(record),
            "uses": list(record.instrument_uses.all()),
            "live": live_of(record, form),
            "conflict": conflict,
            "changes_since": story_of(record, most=3) if conflict else (),
            "statements": asked,
            "statements_form": self._form("statements", WHOLE, StatementsForm(asked=asked, name=visit.user.name_shown)),
            "subject_form": self._form("subject", WHOLE, SubjectForm(record=record)),
            "whole_charts": [self.file_row(one) for one in recordings if one.withdrawn_at is None],
            "withdrawn": [one for one in recordings if one.withdrawn_at is not None],
            **self.attach_forms(),
            "conclude": self._form("conclude", WHOLE, conclude_form(visit, record, [])),
            "discard": self._form("discard", WHOLE, ReasonForm(prefix="discard")),
            "story": story_of(record),
            **self._points(),
        }

    def _anchor(self, about: str) -> str:
        if about in _PLACES or about.startswith(("line-", "file-")):
            return _PLACES.get(about, about)
        return "heading"


def function_page(
    request: HttpRequest, visit: Visit, record: Record, bound: Bound, *, status: int = HTTPStatus.OK
) -> HttpResponse:
    """Show the draft of a function test."""
    context = FunctionAssembly(visit, record, bound).context()
    return visit.show(request, "tests_app/function_test.html", context, status=status)
