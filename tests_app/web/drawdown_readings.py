"""Readings of a drawdown: compared while they are typed, saved a row at a time, taken over from a recorder's file."""

import json
from http import HTTPStatus

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_GET

from equipment.errors import Refused
from equipment.queries.access import Right
from tests_app.actions import drawdown_functions, drawdown_recordings
from tests_app.errors import RecordIsSealed, RecordIsStale
from tests_app.models import Record, RecordKind
from tests_app.queries import records
from tests_app.queries.drawdowns import comparison_of
from tests_app.web.bank_page import live_of, readings_form
from tests_app.web.draft_pages import draft_page
from tests_app.web.drawdown_forms import ReadingsForm
from tests_app.web.drawdown_plot import drawn, points_of
from tests_app.web.drawdown_view import compared
from tests_app.web.entry import Visit, signed_in
from tests_app.web.posted import page_of, posted, to_record, to_recording
from tests_app.web.record_page import WHOLE
from tests_app.web.refusals import attempt, status_of, take_over

_PART = "tests_app/parts/drawdown_live.html"
_NONE = {"error": "This is no drawdown."}


@posted(to_record)
@signed_in
def write(request: HttpRequest, pk: int) -> HttpResponse:
    """Save what was read. The page's script asks for each row as it is left, and gets the comparison back."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    if record.kind != RecordKind.DRAWDOWN:
        return redirect("tests_app:record", record.pk)
    if request.headers.get("HX-Request"):
        return _kept_part(request, visit, record)
    form = readings_form(visit, record, request.POST)
    if form.is_valid() and _written(visit, record, form) is not None:
        following = request.POST.get("next", "")
        return redirect(page_of(record, f"function-{following}" if following.isdecimal() else "comparison"))
    if record.is_draft and status_of(form) == HTTPStatus.CONFLICT:
        take_over(form, request.POST, record.version)
    return draft_page(request, visit, record, {("readings", WHOLE): form})


def _written(visit: Visit, record: Record, form: ReadingsForm) -> Record | None:
    return attempt(
        form,
        lambda: drawdown_functions.write_readings(
            record,
            readings=form.readings(),
            version=form.cleaned_data["version"] or 0,
            by=visit.user,
            at=visit.at,
        ),
    )


def _kept_part(request: HttpRequest, visit: Visit, record: Record) -> HttpResponse:
    """Save, and answer with the comparison and what each field has to say; the typed fields stay as they are."""
    form = readings_form(visit, record, request.POST)
    written = _written(visit, record, form) if form.is_valid() else None
    if written is None:
        said = _unsaved(record, form)
        live = live_of(visit, record, form, supposed=form.supposed(), state="refused", said=said)
        return visit.show(request, _PART, {"record": record, "live": live}, status=status_of(form))
    saved = readings_form(visit, written)
    clock = timezone.localtime(visit.at, record.rig.zone)
    live = live_of(visit, written, saved, state="saved", said=f"Saved {clock:%H:%M:%S}")
    answer = visit.show(request, _PART, {"record": written, "live": live})
    answer["HX-Trigger"] = json.dumps({"kept": True})
    return answer


def _unsaved(record: Record, form: ReadingsForm) -> str:
    if not record.is_draft:
        return "Not saved: this test takes no changes any more."
    if status_of(form) == HTTPStatus.CONFLICT:
        return (
            "Not saved: somebody changed this test since you opened it. Your figures are still here. Press Save all "
            "readings to see both."
        )
    return "Not saved yet: a figure can’t be read. It is marked beside its field."


@posted(to_record)
@signed_in
def suppose(request: HttpRequest, pk: int) -> HttpResponse:
    """Return what the figures typed so far would mean, as a part of the page; nothing is saved."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    if record.kind != RecordKind.DRAWDOWN or not record.is_draft:
        return HttpResponse(status=HTTPStatus.CONFLICT)
    form = readings_form(visit, record, request.POST)
    sound = form.is_valid()
    said = "Not saved yet" if form.changed_readings() else "Saved"
    if not sound:
        said = _unsaved(record, form)
    live = live_of(visit, record, form, supposed=form.supposed(), state="typing", said=said)
    return visit.show(request, _PART, {"record": record, "live": live})


@require_GET
@signed_in
def plot(request: HttpRequest, pk: int) -> JsonResponse:
    """Return the plot of a drawdown as it stands, or with the figures the address holds in their place."""
    record = records.record_for(request.user, pk)
    visit = Visit.of(request, record.rig)
    if record.kind != RecordKind.DRAWDOWN:
        return JsonResponse(_NONE, status=HTTPStatus.NOT_FOUND)
    form = readings_form(visit, record, request.GET if request.GET else None)
    form.is_valid()
    supposed = form.supposed() if form.is_bound else None
    comparison = comparison_of(record, supposed)
    view = compared(comparison, form.unit_typed, visit.units)
    return JsonResponse(drawn(points_of(comparison, view.unit, view.volume_unit)))


@posted(to_record)
@signed_in
def accept(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the steps found in the recorder's file over as readings."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    version = request.POST.get("version", "")
    try:
        drawdown_recordings.accept_proposed(
            record, version=int(version) if version.isdecimal() else 0, by=visit.user, at=visit.at
        )
    except (RecordIsStale, RecordIsSealed, Refused) as refused:
        messages.error(request, str(refused))
        return redirect(page_of(record, "whole"))
    messages.success(request, "The steps of the file are taken over as readings. Times by the watch stayed.")
    return redirect(page_of(record, "functions"))


@posted(to_recording)
@signed_in
def search_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Search a recorder's file for the steps of the drawdown anew."""
    recording = records.recording_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, recording.record.rig)
    try:
        drawdown_recordings.search_steps_again(recording, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
    return redirect(page_of(recording.record, f"file-{recording.pk}"))
