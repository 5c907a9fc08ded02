"""Pages on which a defect is opened, from a failed line of a signed test or by hand."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from equipment.models import Rig
from equipment.queries import access
from equipment.queries.access import Right
from equipment.queries.components import components_of
from equipment.queries.controls import controls_of_rig
from tests_app.actions import defects as actions
from tests_app.queries.found_defects import Failed, failed_line, failed_line_for, usual_barrier, why_not_opened
from tests_app.web.defect_forms import ByHandForm, SeenForm, Subjects
from tests_app.web.entry import Visit, signed_in
from tests_app.web.once import once
from tests_app.web.refusals import attempt, status_of
from trail.actors import name_of


@require_http_methods(["GET", "POST"])
@signed_in
@once
def of_line(request: HttpRequest, pk: int, worked: bool) -> HttpResponse:
    """Open the defect a failed line of a signed test found."""
    line = failed_line_for(request.user, pk, worked=worked, needs=Right.OPEN_DEFECT)
    failed, why_not = failed_line(line), why_not_opened(line)
    visit = Visit.of(request, failed.rig)
    typed = request.POST if request.method == "POST" else None
    form = SeenForm(typed, rig=visit.rig, at=visit.at, initial=_proposed(visit, failed))
    if form.is_bound and why_not:
        form.add_error(None, why_not)
    elif form.is_valid():
        seen = form.what_was_seen
        row = attempt(form, lambda: actions.open_from_line(line, seen=seen, by=visit.user, at=visit.at))
        if row is not None:
            messages.success(request, f"Defect {row.number} is open.")
            return redirect("tests_app:defect", row.pk)
    context = {"failed": failed, "record": failed.record, "why_not": why_not}
    return _form_page(request, visit, form, context)


def _proposed(visit: Visit, failed: Failed) -> dict[str, Any]:
    """Return what a line says already; how severe it is nobody proposes."""
    line = failed.line or failed.function_line
    leak = line.leak_description if line else ""
    return {
        "found_at": failed.found_at,
        "found_by": name_of(visit.user),
        "description": leak,
        "barrier": usual_barrier(failed),
    }


@require_http_methods(["GET", "POST"])
@signed_in
@once
def by_hand(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Open a defect somebody saw, of what ``?of=`` names or of what is chosen."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.OPEN_DEFECT)
    visit = Visit.of(request, rig)
    typed = request.POST if request.method == "POST" else None
    initial = {"found_at": visit.at, "found_by": name_of(visit.user), "subject": request.GET.get("of", "")}
    form = ByHandForm(typed, groups=_subjects(rig), units=visit.units, rig=rig, at=visit.at, initial=initial)
    if form.is_valid():
        subject, seen, asked = form.subject, form.what_was_seen, form.to_show
        row = attempt(form, lambda: actions.open_by_hand(subject, seen=seen, to_show=asked, by=visit.user, at=visit.at))
        if row is not None:
            messages.success(request, f"Defect {row.number} is open.")
            return redirect("tests_app:defect", row.pk)
    return _form_page(request, visit, form, {})


def _form_page(request: HttpRequest, visit: Visit, form: SeenForm, context: Mapping[str, Any]) -> HttpResponse:
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    return visit.show(request, "tests_app/defect_new.html", {"form": form, **context}, status=status)


def _subjects(rig: Rig) -> dict[str, Subjects]:
    """Return what a defect may be of, by where it stands, each with the words for it in the form."""
    installed, elsewhere, control = Subjects(), Subjects(), Subjects()
    for row in components_of(rig).filter(retired_at=None):
        place = vars(row)["position_name"]
        (installed if place else elsewhere)[f"component-{row.pk}"] = (f"{place}, {row}" if place else str(row), row)
    for item in controls_of_rig(rig).filter(retired_at=None):
        control[f"control-{item.pk}"] = (f"{item.name}, {item.stack.name}", item)
    return {"Installed": installed, "Not installed": elsewhere, "Control": control}
