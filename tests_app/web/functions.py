"""The functions of a drawdown's draft: filled in from the stack, added, changed, moved, taken out."""

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from equipment.errors import Refused
from equipment.queries.access import Right
from equipment.queries.stacks import as_installed
from tests_app.actions import drawdown_functions as actions
from tests_app.models import DrawdownFunction, Record, RecordKind
from tests_app.queries import records
from tests_app.web.drawdown_forms import FunctionForm, function_as_it_stands, workable
from tests_app.web.entry import Visit, signed_in
from tests_app.web.once import once
from tests_app.web.posted import page_of, posted, to_record
from tests_app.web.record_page import no_draft_page
from tests_app.web.refusals import attempt, status_of


def function_address(function: DrawdownFunction) -> str:
    """Return the place of a function on its test's page."""
    return page_of(function.record, f"function-{function.order}")


def to_function(request: HttpRequest, pk: int) -> str:
    """Return the place of a function by its key."""
    return function_address(records.function_for(request.user, pk))


@posted(to_record)
@signed_in
@once
def fill_in(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter the usual functions from what stands in the stack."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    try:
        added = actions.fill_functions(record, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, f"{len(added)} functions are entered, with the fluid each takes as on file.")
    return redirect(page_of(record, "functions"))


@require_http_methods(["GET", "POST"])
@signed_in
@once
def add_function(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a function after the others."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    form = _form(request, visit, record)
    if form.is_valid():
        facts = form.facts()
        added = attempt(form, lambda: actions.add_function(record, facts=facts, by=visit.user, at=visit.at))
        if added is not None:
            return redirect(function_address(added))
    return _show(request, visit, record, None, form)


@require_http_methods(["GET", "POST"])
@signed_in
def amend_function(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a function of a draft; its readings stay."""
    function = records.function_for(request.user, pk, needs=Right.RECORD)
    record = function.record
    visit = Visit.of(request, record.rig)
    form = _form(request, visit, record, function)
    if form.is_valid():
        facts = form.facts()
        amended = attempt(form, lambda: actions.amend_function(function, facts=facts, by=visit.user, at=visit.at))
        if amended is not None:
            return redirect(function_address(amended))
    return _show(request, visit, record, function, form)


def _form(request: HttpRequest, visit: Visit, record: Record, function: DrawdownFunction | None = None) -> FunctionForm:
    standings = workable(as_installed(record.stack, at=record.started_at))
    initial: dict[str, Any] = function_as_it_stands(function) if function else {}
    data = request.POST if request.method == "POST" else None
    return FunctionForm(data, standings=standings, units=visit.units, initial=initial)


def _show(
    request: HttpRequest, visit: Visit, record: Record, function: DrawdownFunction | None, form: FunctionForm
) -> HttpResponse:
    if not record.is_draft or record.kind != RecordKind.DRAWDOWN:
        return no_draft_page(request, visit, record, form)
    last = record.drawdown_functions.count()
    context = {"record": record, "function": function, "form": form, "places": range(1, last + 1)}
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    return visit.show(request, "tests_app/function.html", context, status=status)


@posted(to_function)
@signed_in
@once
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a function without readings out of a draft."""
    function = records.function_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, function.record.rig)
    try:
        actions.remove_function(function, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect(function_address(function))
    messages.success(request, f"{function.name} is taken out.")
    return redirect(page_of(function.record, "functions"))


@posted(to_function)
@signed_in
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a function at another place in the order."""
    function = records.function_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, function.record.rig)
    asked = request.POST.get("to_order", "")
    place = int(asked) if asked.isdecimal() and len(asked) <= 4 else 0
    try:
        moved = actions.move_function(function, to_order=place, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect(function_address(function))
    return redirect(function_address(moved))
