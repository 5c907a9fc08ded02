"""What proves a step: recorder files, charts, readings typed in, marks, and setting a file aside."""

from collections.abc import Mapping
from typing import Final

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from equipment.queries.access import Right
from tests_app.actions import channels, readings, recordings, searching
from tests_app.models import Record, Recording, Step
from tests_app.queries import records
from tests_app.queries.unread_files import open_steps
from tests_app.web.channel_form import ChannelForm
from tests_app.web.draft_pages import draft_page
from tests_app.web.entry import Visit, signed_in
from tests_app.web.evidence_forms import AttachForm, ChartForm, ReasonForm, Received
from tests_app.web.once import once
from tests_app.web.posted import page_of, posted, to_either, to_recording, to_step
from tests_app.web.record_page import WHOLE, Assembly, marks_form, readings_form
from tests_app.web.refusals import attempt
from tests_app.web.steps import step_address
from tests_app.web.uploads import limited_upload, too_large

_ATTACH_NAMES: Final[Mapping[str, str]] = {"recording": "file", "content": "file", "file_name": "file"}
_READING_NAMES: Final[Mapping[str, str]] = {
    f"{phase}.{name}": f"{phase}_{name}"
    for phase in ("low", "high")
    for name in ("start_at", "end_at", "start_pressure", "end_pressure")
} | {"low.highest_before": "highest_before"}


def _record_and_step(request: HttpRequest, pk: int, of_step: bool) -> tuple[Record, Step | None]:
    if not of_step:
        return records.record_for(request.user, pk, needs=Right.RECORD), None
    step = records.step_for(request.user, pk, needs=Right.RECORD)
    return step.record, step


def _back(record: Record, step: Step | None, anchor: str = "whole") -> str:
    return step_address(step) if step else page_of(record, anchor)


def _too_large(request: HttpRequest, pk: int, of_step: bool) -> HttpResponse:
    return too_large(request, lambda: _back(*_record_and_step(request, pk, of_step)))


@posted(to_either)
@limited_upload(_too_large)
@signed_in
@once
def attach(request: HttpRequest, pk: int, of_step: bool) -> HttpResponse:
    """Attach a recorder file to a step, or to the whole test."""
    record, step = _record_and_step(request, pk, of_step)
    visit = Visit.of(request, record.rig)
    number = step.pk if step else WHOLE
    form = AttachForm(request.POST, request.FILES, prefix=f"attach-{number}")
    recording = _attached(visit, record, step, form) if form.is_valid() else None
    if recording is None:
        form.keep_file()
        return draft_page(request, visit, record, {("attach", number): form})
    if recording.awaits_channel:
        messages.warning(request, f"{recording.file_name} is attached. Say which of its columns is the pressure.")
        return redirect(page_of(record, f"file-{recording.pk}"))
    done = "judged" if step else "searched"
    messages.success(request, f"{recording.file_name} is attached and {done}.")
    return redirect(_back(record, step))


def _attached(visit: Visit, record: Record, step: Step | None, form: AttachForm) -> Recording | None:
    received: Received = form.cleaned_data["received"]
    return attempt(
        form,
        lambda: recordings.attach_recording(
            record,
            step=step,
            file_name=received.name,
            content=received.content,
            content_type=received.content_type,
            pressure_unit=form.cleaned_data["pressure_unit"],
            channel=form.cleaned_data["channel"],
            by=visit.user,
            at=visit.at,
        ),
        names=_ATTACH_NAMES,
    )


@posted(to_either)
@limited_upload(_too_large)
@signed_in
@once
def attach_chart(request: HttpRequest, pk: int, of_step: bool) -> HttpResponse:
    """Attach a scan or photo of a paper chart."""
    record, step = _record_and_step(request, pk, of_step)
    visit = Visit.of(request, record.rig)
    number = step.pk if step else WHOLE
    form = ChartForm(request.POST, request.FILES, prefix=f"chart-{number}")
    if form.is_valid():
        received = Received.of(form.cleaned_data["file"])
        chart = attempt(
            form,
            lambda: recordings.attach_chart(
                record,
                step=step,
                file_name=received.name,
                content=received.content,
                content_type=received.content_type,
                by=visit.user,
                at=visit.at,
            ),
            names=_ATTACH_NAMES,
        )
        if chart is not None:
            messages.success(request, f"{chart.file_name} is attached. Type in what it shows.")
            return redirect(_back(record, step))
    return draft_page(request, visit, record, {("chart", number): form})


@posted(to_step)
@signed_in
def choose_marks(request: HttpRequest, pk: int) -> HttpResponse:
    """Judge a step on the part of a recording the tester marks."""
    step = records.step_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, step.record.rig)
    usable = Assembly(visit, step.record).usable_samples(step)
    form = marks_form(step, usable, request.POST)
    if usable and form.is_valid():
        judged = attempt(
            form,
            lambda: recordings.choose_marks(
                step,
                recording=form.chosen_recording(),
                start_s=form.cleaned_data["start_s"],
                end_s=form.cleaned_data["end_s"],
                reason=form.cleaned_data["reason"],
                by=visit.user,
                at=visit.at,
            ),
            names={"start": "start_s", "end": "end_s"},
        )
        if judged is not None:
            return redirect(step_address(step))
    return draft_page(request, visit, step.record, {("marks", step.pk): form})


@posted(to_recording)
@signed_in
def confirm_marks(request: HttpRequest, pk: int) -> HttpResponse:
    """Confirm every proposal of a recorder file at once."""
    recording = records.recording_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, recording.record.rig)
    form = forms.Form(request.POST)
    if attempt(form, lambda: recordings.confirm_marks(recording, by=visit.user, at=visit.at)) is None:
        messages.error(request, " ".join(str(each) for each in form.non_field_errors()))
    else:
        messages.success(request, f"The proposals of {recording.file_name} are confirmed.")
    return redirect(_back(recording.record, None))


@posted(to_recording)
@signed_in
def search_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Search a file of the whole test again, for the steps that have no evidence."""
    recording = records.recording_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, recording.record.rig)
    form = forms.Form(request.POST)
    waiting = set(open_steps(recording.record))
    if attempt(form, lambda: searching.search_again(recording, by=visit.user, at=visit.at)) is None:
        messages.error(request, " ".join(str(each) for each in form.non_field_errors()))
    else:
        given = waiting - set(open_steps(recording.record))
        messages.success(request, f"{recording.file_name} is searched. {_found_words(sorted(given))}")
    return redirect(page_of(recording.record, f"file-{recording.pk}"))


def _found_words(given: list[int]) -> str:
    if not given:
        return "No hold in it fits a step that has no evidence."
    return f"A hold is proposed for step {', '.join(map(str, given))}: look at it and confirm."


@posted(to_recording)
@signed_in
def choose_channel(request: HttpRequest, pk: int) -> HttpResponse:
    """Say which column of a file is the pressure, and judge by it."""
    recording = records.recording_for(request.user, pk, needs=Right.RECORD)
    record = recording.record
    visit = Visit.of(request, record.rig)
    form = ChannelForm(request.POST, recording=recording)
    if form.is_valid():
        given = form.cleaned_data
        chosen = attempt(
            form,
            lambda: channels.choose_channel(
                recording, channel=given["channel"], reason=given.get("reason", ""), by=visit.user, at=visit.at
            ),
        )
        if chosen is not None:
            messages.success(request, f"{chosen.file_name} is read from {chosen.channel}, and judged by it.")
            return redirect(_back(record, recording.step))
    return draft_page(request, visit, record, {("channel", recording.pk): form})


@posted(to_step)
@signed_in
def type_readings(request: HttpRequest, pk: int) -> HttpResponse:
    """Judge a step by readings typed in."""
    step = records.step_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, step.record.rig)
    form = readings_form(step, step.record, request.POST)
    if form.is_valid():
        judged = attempt(
            form,
            lambda: readings.type_readings(
                step,
                low=form.low_reading(),
                high=form.reading("high"),
                reason=form.cleaned_data["reason"],
                by=visit.user,
                at=visit.at,
            ),
            names=_READING_NAMES,
        )
        if judged is not None:
            return redirect(step_address(step))
    return draft_page(request, visit, step.record, {("readings", step.pk): form})


@posted(to_step)
@signed_in
def take_back_readings(request: HttpRequest, pk: int) -> HttpResponse:
    """Take typed readings out of a draft."""
    step = records.step_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, step.record.rig)
    form = ReasonForm(request.POST, prefix=f"take-back-{step.pk}")
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        act = attempt(form, lambda: readings.take_back_readings(step, reason=reason, by=visit.user, at=visit.at))
        if act is not None:
            return redirect(step_address(step))
    return draft_page(request, visit, step.record, {("take-back", step.pk): form})


@posted(to_recording)
@signed_in
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Set a file of a draft aside; it stays on file."""
    recording = records.recording_for(request.user, pk, needs=Right.RECORD)
    record = recording.record
    visit = Visit.of(request, record.rig)
    form = ReasonForm(request.POST, prefix=f"withdraw-{recording.pk}")
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        act = attempt(form, lambda: recordings.withdraw_recording(recording, reason=reason, by=visit.user, at=visit.at))
        if act is not None:
            messages.success(request, f"{recording.file_name} is set aside.")
            return redirect(_back(record, recording.step))
    return draft_page(request, visit, record, {("withdraw", recording.pk): form})
