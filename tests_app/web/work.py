"""Pages of work done: entering it, one entry with its evidence, taking it back."""

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET, require_http_methods

from calcs.schedule_rule_words import asked_of
from equipment import files
from equipment.actions.documents import LARGEST_DOCUMENT
from equipment.queries import access
from equipment.queries.access import Right
from tests_app.actions import work as actions
from tests_app.models import Completion
from tests_app.queries import completed
from tests_app.queries.due_of import due_item
from tests_app.queries.owed import Owed, is_entered_as_work, owed_on
from tests_app.web.entry import Visit, signed_in
from tests_app.web.item_heads import head_of, told_of
from tests_app.web.once import once
from tests_app.web.posted import posted
from tests_app.web.refusals import attempt, status_of
from tests_app.web.uploads import limited_upload, too_large
from tests_app.web.work_choices import choices_of
from tests_app.web.work_forms import ReasonForm, WorkForm

_NAMES = {"renewal": "due_on", "file": "evidence"}


def _too_large(request: HttpRequest, rig_pk: int) -> HttpResponse:
    return too_large(request, lambda: f"{reverse('tests_app:work-new', args=[rig_pk])}?{request.GET.urlencode()}")


@limited_upload(_too_large, LARGEST_DOCUMENT)
@require_http_methods(["GET", "POST"])
@signed_in
@once
def new_work(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Enter work on what ``?key=`` names; without it, choose among what is due."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.WORK)
    visit = Visit.of(request, rig)
    key = request.GET.get("key", "")
    if not key:
        return visit.show(request, "tests_app/work_choose.html", {"groups": choices_of(rig, at=visit.at)})
    owed = owed_on(rig, key)
    if not is_entered_as_work(owed):
        raise Http404("This is recorded as a test of its own.")
    form = _form(request, visit, owed)
    if form.is_bound:
        entry = _recorded(visit, owed, form)
        if entry is not None:
            messages.success(request, f"{entry} is entered.")
            return redirect("tests_app:work-entry", entry.pk)
        form.keep_file()
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    return visit.show(request, "tests_app/work_new.html", _context(visit, owed, form), status=status)


def _form(request: HttpRequest, visit: Visit, owed: Owed) -> WorkForm:
    posted_now = request.method == "POST"
    form = WorkForm(
        request.POST if posted_now else None,
        request.FILES if posted_now else None,
        owed=owed,
        at=visit.at,
        units=visit.units,
    )
    if posted_now and "same_file_asked" in request.POST:
        form.ask_about_file()
    return form


def _recorded(visit: Visit, owed: Owed, form: WorkForm) -> Completion | None:
    if not form.is_valid():
        return None
    found = form.received()
    evidence = actions.Received(found.name, found.content) if found else None
    meant = bool(form.cleaned_data.get("same_file_meant"))
    form.ask_about_file()
    entry = attempt(
        form,
        lambda: actions.record_work(
            owed, **form.work, evidence=evidence, same_file_meant=meant, by=visit.user, at=visit.at
        ),
        names=_NAMES,
    )
    if entry is None and not form.has_error("same_file_meant") and not meant:
        del form.fields["same_file_meant"]
    return entry


def _context(visit: Visit, owed: Owed, form: WorkForm) -> dict[str, Any]:
    item = due_item(owed.rig, owed.key, at=visit.at)
    return {
        "owed": owed,
        "form": form,
        "head": head_of(owed, item, visit.at),
        "asked": list(asked_of(owed.rule)) if owed.rule else [],
        "address": f"{reverse('tests_app:work-new', args=[owed.rig.pk])}?key={owed.key}",
    }


@require_GET
@signed_in
def show_work(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one entry."""
    entry = completed.completion_for(request.user, pk)
    return _page(request, entry, ReasonForm())


def _to_entry(request: HttpRequest, pk: int) -> str:
    return reverse("tests_app:work-entry", args=[completed.completion_for(request.user, pk).pk])


@posted(_to_entry)
@signed_in
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Withdraw an entry made in error."""
    entry = completed.completion_for(request.user, pk, needs=Right.WORK)
    visit = Visit.of(request, entry.rig)
    form = ReasonForm(request.POST)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        done = attempt(form, lambda: actions.withdraw_work(entry, reason=reason, by=visit.user, at=visit.at))
        if done is not None:
            messages.success(request, f"{entry} is withdrawn, with what it had renewed. It stays on file.")
            return redirect("tests_app:work-entry", entry.pk)
    return _page(request, entry, form, status=status_of(form))


def _page(request: HttpRequest, entry: Completion, form: ReasonForm, *, status: int = HTTPStatus.OK) -> HttpResponse:
    visit = Visit.of(request, entry.rig)
    context = {
        "entry": entry,
        "form": form,
        "may_withdraw": visit.may(Right.WORK) and entry.withdrawn_at is None,
        "told": told_of(entry),
    }
    return visit.show(request, "tests_app/work.html", context, status=status)


@require_GET
@signed_in
def evidence(request: HttpRequest, pk: int) -> HttpResponse:
    """Send the evidence as it was received: as an attachment, never shown or run by the browser."""
    entry = completed.completion_for(request.user, pk)
    if not entry.evidence_sha256:
        raise Http404("No file was attached.")
    try:
        content = files.fetch(entry.evidence_sha256)
    except (files.FileMissing, files.FileAltered) as fault:
        messages.error(request, str(fault))
        return redirect("tests_app:work-entry", entry.pk)
    headers = {
        "Content-Disposition": content_disposition_header(True, entry.evidence_name) or "attachment",
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": "private, no-store",
    }
    return HttpResponse(content, content_type="application/octet-stream", headers=headers)
