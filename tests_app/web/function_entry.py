"""Working on a function test's draft: lines written a row at a time, added, worked again, taken out; statements."""

import json
from http import HTTPStatus

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from equipment.errors import Refused
from equipment.queries.access import Right
from tests_app.actions import function_lines, function_tests
from tests_app.models import Record, RecordKind
from tests_app.queries import records
from tests_app.queries.function_statements import statements_of
from tests_app.web.draft_pages import draft_page
from tests_app.web.entry import Visit, signed_in
from tests_app.web.function_lines_form import FunctionLinesForm
from tests_app.web.function_page import StatementsForm, SubjectForm, lines_form, live_of
from tests_app.web.once import once
from tests_app.web.posted import page_of, posted, to_record
from tests_app.web.record_page import WHOLE
from tests_app.web.refusals import attempt, status_of, take_over

_PART = "tests_app/parts/function_live.html"


def to_function_line(request: HttpRequest, pk: int) -> str:
    """Return the place of a line on its test's page."""
    return page_of(records.function_line_for(request.user, pk).record, f"line-{pk}")


@posted(to_record)
@signed_in
def write(request: HttpRequest, pk: int) -> HttpResponse:
    """Save the lines. The page's script asks for each row as it is left, and gets the verdicts back."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    if record.kind != RecordKind.FUNCTION:
        return redirect("tests_app:record", record.pk)
    if request.headers.get("HX-Request"):
        return _kept_part(request, visit, record)
    form = lines_form(visit, record, request.POST)
    if form.is_valid() and _written(visit, record, form) is not None:
        return redirect(page_of(record, "worked"))
    if record.is_draft and status_of(form) == HTTPStatus.CONFLICT:
        take_over(form, request.POST, record.version)
    return draft_page(request, visit, record, {("lines", WHOLE): form})


def _written(visit: Visit, record: Record, form: FunctionLinesForm) -> Record | None:
    return attempt(
        form,
        lambda: function_lines.write_function_lines(
            record, lines=form.facts(), version=form.cleaned_data["version"] or 0, by=visit.user, at=visit.at
        ),
    )


def _kept_part(request: HttpRequest, visit: Visit, record: Record) -> HttpResponse:
    """Save, and answer with the verdicts and what each field has to say; the typed fields stay as they are."""
    form = lines_form(visit, record, request.POST)
    written = _written(visit, record, form) if form.is_valid() else None
    if written is None:
        live = live_of(record, form, state="refused", said=_unsaved(record, form))
        return visit.show(request, _PART, {"record": record, "live": live}, status=status_of(form))
    clock = timezone.localtime(visit.at, record.rig.zone)
    live = live_of(written, lines_form(visit, written), state="saved", said=f"Saved {clock:%H:%M:%S}")
    answer = visit.show(request, _PART, {"record": written, "live": live})
    answer["HX-Trigger"] = json.dumps({"kept": True})
    return answer


def _unsaved(record: Record, form: FunctionLinesForm) -> str:
    if not record.is_draft:
        return "Not saved: this test takes no changes any more."
    if status_of(form) == HTTPStatus.CONFLICT:
        return "Not saved: somebody changed this test since you opened it. Press Save all lines to see both."
    return "Not saved yet: something can’t be read. It is marked beside its field."


@posted(to_record)
@signed_in
@once
def add(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a line for one more thing worked."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    form = SubjectForm(request.POST, record=record)
    if form.is_valid():
        line = attempt(
            form,
            lambda: function_tests.add_function_line(record, subject=form.chosen, by=visit.user, at=visit.at),
            names={"subjects": "subject"},
        )
        if line is not None:
            return redirect(page_of(record, f"line-{line.pk}"))
    return draft_page(request, visit, record, {("subject", WHOLE): form})


@posted(to_function_line)
@signed_in
def again(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a line that works again what failed."""
    line = records.function_line_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, line.record.rig)
    try:
        new = function_tests.work_again(line, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect(page_of(line.record, f"line-{line.pk}"))
    return redirect(page_of(line.record, f"line-{new.pk}"))


@posted(to_function_line)
@signed_in
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a line out of a draft."""
    line = records.function_line_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, line.record.rig)
    try:
        function_tests.remove_function_line(line, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, f"{line} is taken out; who did what keeps it.")
    return redirect(page_of(line.record, "worked"))


@posted(to_record)
@signed_in
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep which statements are confirmed, and by whom."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    form = StatementsForm(request.POST, asked=statements_of(record, record.function_lines.all()))
    if form.is_valid():
        given = form.cleaned_data
        done = attempt(
            form,
            lambda: function_tests.confirm_statements(
                record, confirmed=given["confirmed"], said_by=given["said_by"], by=visit.user, at=visit.at
            ),
        )
        if done is not None:
            return redirect(page_of(record, "statements"))
    return draft_page(request, visit, record, {("statements", WHOLE): form})
