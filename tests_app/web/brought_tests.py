"""Pages of tests made elsewhere: the list, one test, confirming it by its paper, withdrawing it."""

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET

from equipment.queries import access
from equipment.queries.access import Right
from equipment.web.lists import listed
from tests_app.actions import brought_tests as actions
from tests_app.models import BroughtTest
from tests_app.queries import brought
from tests_app.web.bring_in_form import ReferenceForm
from tests_app.web.brought_tables import BroughtTestFilter, BroughtTestTable, state_of
from tests_app.web.entry import Visit, signed_in
from tests_app.web.item_heads import told_of
from tests_app.web.posted import posted
from tests_app.web.refusals import attempt, status_of
from tests_app.web.work_forms import ReasonForm


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show the tests made elsewhere, the latest first."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    found = listed(
        request,
        brought.brought_tests_of(rig),
        BroughtTestTable,
        filter_class=BroughtTestFilter,
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"past-tests-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    return visit.show(request, "tests_app/brought_tests.html", {**found.context(), "may_work": visit.may(Right.WORK)})


@require_GET
@signed_in
def show_test(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one test."""
    return _page(request, brought.brought_test_for(request.user, pk))


def _to_test(request: HttpRequest, pk: int) -> str:
    return reverse("tests_app:brought-test", args=[brought.brought_test_for(request.user, pk).pk])


@posted(_to_test)
@signed_in
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Confirm a test by the paper it was compared with."""
    test = brought.brought_test_for(request.user, pk, needs=Right.WORK)
    visit = Visit.of(request, test.rig)
    form = ReferenceForm(request.POST)
    if form.is_valid():
        named = form.cleaned_data["reference"]
        done = attempt(form, lambda: actions.confirm_test(test, reference=named, by=visit.user, at=visit.at))
        if done is not None:
            messages.success(request, "The test is confirmed: dates count from it, and say that it was brought in.")
            return redirect("tests_app:brought-test", pk)
    return _page(request, test, confirming=form, status=status_of(form))


@posted(_to_test)
@signed_in
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Withdraw a test that was brought in by mistake."""
    test = brought.brought_test_for(request.user, pk, needs=Right.WORK)
    visit = Visit.of(request, test.rig)
    form = ReasonForm(request.POST)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        done = attempt(form, lambda: actions.withdraw_test(test, reason=reason, by=visit.user, at=visit.at))
        if done is not None:
            messages.success(request, "The test is withdrawn. It stays on file and counts for nothing.")
            return redirect("tests_app:brought-test", pk)
    return _page(request, test, withdrawing=form, status=status_of(form))


def _page(
    request: HttpRequest,
    test: BroughtTest,
    *,
    confirming: ReferenceForm | None = None,
    withdrawing: ReasonForm | None = None,
    status: int = HTTPStatus.OK,
) -> HttpResponse:
    visit = Visit.of(request, test.rig)
    may_work = visit.may(Right.WORK) and test.withdrawn_at is None
    context: dict[str, Any] = {
        "test": test,
        "standing": state_of(test),
        "confirming": confirming or ReferenceForm(),
        "withdrawing": withdrawing or ReasonForm(),
        "may_confirm": may_work and test.confirmed_at is None,
        "may_withdraw": may_work,
        "told": told_of(test),
    }
    return visit.show(request, "tests_app/brought_test.html", context, status=status)
