"""Pages for bringing in rows from elsewhere: the form, one file row by row, and the sheets to take away."""

from collections.abc import Callable
from datetime import timedelta
from http import HTTPStatus
from typing import Any, Final

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET, require_http_methods

from calcs.sheets import Column
from equipment import files
from equipment.errors import Refused
from equipment.queries import access
from equipment.web.lists import listed
from tests_app.actions import bringing_in as actions
from tests_app.brought_progress import percent_of
from tests_app.documents.sheet_files import MOST_BYTES
from tests_app.documents.sheet_forms import FORMS, export_sheet, template_sheet
from tests_app.models import BroughtFile, FileState, SheetKind
from tests_app.queries import brought
from tests_app.web.bring_in_form import TOO_LARGE, BringInForm
from tests_app.web.brought_tables import FileFilter, FileTable, ResultFilter, ResultTable
from tests_app.web.entry import Visit, signed_in
from tests_app.web.once import once
from tests_app.web.posted import posted
from tests_app.web.refusals import attempt, status_of
from tests_app.web.uploads import limited_upload

_TYPES: Final = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
Act = Callable[[BroughtFile, Visit], None]
_PATIENCE: Final = timedelta(seconds=60)
_AT_WORK: Final = (FileState.WAITING, FileState.CONFIRMED)


def _too_large(request: HttpRequest, rig_pk: int) -> HttpResponse:
    where = reverse("tests_app:bring-in", args=[rig_pk]) if request.user.is_authenticated else ""
    context = {"words": TOO_LARGE, "back": where}
    return render(request, "tests_app/too_large.html", context, status=HTTPStatus.REQUEST_ENTITY_TOO_LARGE)


@limited_upload(_too_large, MOST_BYTES)
@require_http_methods(["GET", "POST"])
@signed_in
@once
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show what can be brought in and the files given so far; take a file from who may enter its rows by hand."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    sheets = [sheet for sheet in SheetKind.values if visit.may(brought.RIGHT_FOR[sheet])]
    form = BringInForm(request.POST or None, request.FILES or None, sheets=sheets, initial=_asked(request))
    if request.method == "POST":
        if not sheets:
            access.check(request.user, rig, needs=brought.RIGHT_FOR[SheetKind.COMPONENTS])
        form.is_bound = True
        file = _received(visit, form)
        if file is not None:
            return redirect("tests_app:brought-file", file.pk)
    return _front(request, visit, form, sheets)


def _asked(request: HttpRequest) -> dict[str, str]:
    return {"sheet": request.GET.get("rows", SheetKind.COMPONENTS.value)}


def _front(request: HttpRequest, visit: Visit, form: BringInForm, sheets: list[str]) -> HttpResponse:
    found = listed(
        request,
        brought.files_of(visit.rig),
        FileTable,
        filter_class=FileFilter,
        table_options={"zone": visit.rig.zone, "units": visit.units},
        file_name=f"brought-files-{visit.rig.pk}",
    )
    if found.export is not None:
        return found.export
    context = {
        **found.context(),
        "form": form,
        "may_bring_in": bool(sheets),
        "sheets": [(kind.value, kind.label, _columns(kind)) for kind in SheetKind],
    }
    return visit.show(request, "tests_app/bring_in.html", context, status=_status(form))


def _status(form: BringInForm) -> int:
    return status_of(form) if form.is_bound and form.errors else HTTPStatus.OK


def _columns(kind: SheetKind) -> list[tuple[str, str, str]]:
    return [(" and ".join(column.heads), _words(column), column.example) for column in FORMS[kind].columns]


def _words(column: Column) -> str:
    choices = f"One of: {', '.join(column.choices.values())}" if column.choices else ""
    needed = "Needed" if column.required else ""
    return ". ".join(part for part in (needed, column.words, choices) if part)


def _received(visit: Visit, form: BringInForm) -> BroughtFile | None:
    if not form.is_valid():
        return None
    given = form.cleaned_data["file"]
    file = attempt(
        form,
        lambda: actions.receive_file(
            visit.rig,
            sheet=form.cleaned_data["sheet"],
            name=given.name,
            content=given.read(),
            by=visit.user,
            at=visit.at,
        ),
    )
    if file is not None and file.row_count <= actions.AT_ONCE_ROWS:
        actions.try_out(file, by=visit.user, at=visit.at)
    return file


# One file


@require_GET
@signed_in
def show_file(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what becomes of each row of a file."""
    file = brought.file_for(request.user, pk)
    visit = Visit.of(request, file.rig)
    found = listed(
        request,
        file.results,
        ResultTable,
        filter_class=ResultFilter,
        table_options={"zone": visit.rig.zone, "units": visit.units},
        file_name=f"brought-file-{file.pk}",
    )
    if found.export is not None:
        return found.export
    told = brought.counts_of(file)
    context = {
        **found.context(),
        **_progress(file),
        "file": file,
        "told": told,
        "may_act": visit.may(brought.RIGHT_FOR[file.sheet]),
        "is_ready": file.state == FileState.TRIED and not file.problem and not told["refused"] and bool(told["add"]),
        "is_open": file.state in (FileState.WAITING, FileState.TRIED),
    }
    return visit.show(request, "tests_app/brought_file.html", context)


def _progress(file: BroughtFile) -> dict[str, Any]:
    waited = timezone.now() - (file.tried_at or file.received_at)
    return {"at_work": file.state in _AT_WORK, "percent": percent_of(file.pk), "is_late": waited > _PATIENCE}


@require_GET
@signed_in
def file_state(request: HttpRequest, pk: int) -> HttpResponse:
    """Return the part of the page that waits; once the work is done it asks the page to be loaded anew."""
    file = brought.file_for(request.user, pk)
    response = render(request, "tests_app/parts/brought_progress.html", {"file": file, **_progress(file)})
    if file.state not in _AT_WORK:
        response["HX-Refresh"] = "true"
    return response


def _to_file(request: HttpRequest, pk: int) -> str:
    return reverse("tests_app:brought-file", args=[brought.file_for(request.user, pk).pk])


def _acted(request: HttpRequest, pk: int, act: Act, done: str = "") -> HttpResponse:
    """Let somebody act on a file and lead back to its page; what is refused is said there."""
    file = brought.file_for(request.user, pk, to_act=True)
    visit = Visit.of(request, file.rig)
    try:
        act(file, visit)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        if done:
            messages.success(request, done)
    return redirect("tests_app:brought-file", pk)


@posted(_to_file)
@signed_in
@once
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Have a file brought in: all of it or nothing."""

    def act(file: BroughtFile, visit: Visit) -> None:
        confirmed = actions.confirm_file(file, by=visit.user, at=visit.at)
        if file.row_count > actions.AT_ONCE_ROWS:
            return
        if actions.bring_in(confirmed, by=visit.user, at=visit.at).state == FileState.BROUGHT_IN:
            messages.success(request, f"{file} are brought in.")
        else:
            messages.error(request, "Something changed since it was tried out: nothing was brought in.")

    return _acted(request, pk, act)


@posted(_to_file)
@signed_in
def try_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Try a file out anew."""

    def act(file: BroughtFile, visit: Visit) -> None:
        again = actions.try_again(file, by=visit.user, at=visit.at)
        if file.row_count <= actions.AT_ONCE_ROWS:
            actions.try_out(again, by=visit.user, at=visit.at)

    return _acted(request, pk, act)


@posted(_to_file)
@signed_in
def set_aside(request: HttpRequest, pk: int) -> HttpResponse:
    """Set a file aside that will not be brought in."""

    def act(file: BroughtFile, visit: Visit) -> None:
        actions.set_aside_file(file, by=visit.user, at=visit.at)

    return _acted(request, pk, act, "The file is set aside. It is kept as it was received.")


@require_GET
@signed_in
def download(request: HttpRequest, pk: int) -> HttpResponse:
    """Send a file as it was received: as an attachment, never shown or run by the browser."""
    file = brought.file_for(request.user, pk)
    try:
        content = files.fetch(file.sha256)
    except (files.FileMissing, files.FileAltered) as fault:
        messages.error(request, str(fault))
        return redirect("tests_app:brought-file", pk)
    return _attachment(content, file.name, "application/octet-stream")


# Sheets to take away


@require_GET
@signed_in
def sheet(request: HttpRequest, rig_pk: int, sheet: str, kind: str) -> HttpResponse:
    """Send what the rig has on file in the form it can be brought in again, or with ``?empty=1`` the template."""
    rig = access.rig_for(request.user, rig_pk)
    if sheet not in SheetKind.values or kind not in _TYPES:
        raise Http404("There is no such sheet.")
    empty = bool(request.GET.get("empty"))
    content = template_sheet(sheet, kind) if empty else export_sheet(rig, sheet, kind)
    name = f"{sheet}-template.{kind}" if empty else f"{sheet}-{rig.pk}.{kind}"
    return _attachment(content, name, _TYPES[kind])


def _attachment(content: bytes, name: str, content_type: str) -> HttpResponse:
    headers = {
        "Content-Disposition": content_disposition_header(True, name) or "attachment",
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": "private, no-store",
    }
    return HttpResponse(content, content_type=content_type, headers=headers)
