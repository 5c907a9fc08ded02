"""Pages of what may wait: granting and withdrawing deferrals, postponing tests, calling for them, ending it."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from calcs.schedule_rule_words import REASON_WORDS
from calcs.schedule_rules import PostponementRule, PostponeReason
from equipment.errors import Refused
from equipment.queries import access
from equipment.queries.access import Right
from tests_app.actions import deferrals, postponements
from tests_app.models import Deferral, Postponement
from tests_app.queries import waiting
from tests_app.queries.due_of import due_item
from tests_app.queries.owed import Owed, owed_on
from tests_app.queries.postponing import rule_for_waiting
from tests_app.web.entry import Visit, signed_in
from tests_app.web.item_heads import head_of, told_of
from tests_app.web.once import once
from tests_app.web.posted import posted
from tests_app.web.refusals import attempt, status_of
from tests_app.web.waiting_forms import CallForm, DeferralForm, EndForm, PostponementForm
from tests_app.web.waiting_list import deferral_state, postponement_state, then_words
from tests_app.web.work_forms import ReasonForm


@require_http_methods(["GET", "POST"])
@signed_in
@once
def new_deferral(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Let what ``?key=`` names wait, as somebody approved."""
    visit, owed = _asked(request, rig_pk)
    form = DeferralForm(request.POST if request.method == "POST" else None, rig=visit.rig, at=visit.at)
    if form.is_valid():
        row = attempt(form, lambda: deferrals.grant_deferral(owed, **form.cleaned_data, by=visit.user, at=visit.at))
        if row is not None:
            messages.success(request, f"{owed.subject} is deferred. It stays on the due list, with its first date.")
            return redirect("tests_app:deferral", row.pk)
    return _form_page(request, visit, owed, form, "tests_app/deferral_new.html", {})


@require_http_methods(["GET", "POST"])
@signed_in
@once
def new_postponement(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Note that the test ``?key=`` names is not safe to make now."""
    visit, owed = _asked(request, rig_pk)
    rule, why_not = _rule(owed)
    typed = request.POST if request.method == "POST" else None
    form = PostponementForm(typed, rig=visit.rig, at=visit.at, rule=rule)
    if form.is_bound and why_not:
        form.add_error(None, why_not)
    elif form.is_valid():
        row = attempt(form, lambda: postponements.postpone_test(owed, **form.cleaned_data, by=visit.user, at=visit.at))
        if row is not None:
            messages.success(request, f"The test of {owed.subject} waits. The date it was due on stays.")
            return redirect("tests_app:postponement", row.pk)
    context = {"rule": rule, "why_not": why_not, "then": then_words(rule.then) if rule else ""}
    return _form_page(request, visit, owed, form, "tests_app/postponement_new.html", context)


def _asked(request: HttpRequest, rig_pk: int) -> tuple[Visit, Owed]:
    rig = access.rig_for(request.user, rig_pk, needs=Right.DEFER)
    return Visit.of(request, rig), owed_on(rig, request.GET.get("key", ""))


def _rule(owed: Owed) -> tuple[PostponementRule | None, str]:
    """Return the rule by which a test may wait, or why none may, in words."""
    try:
        return rule_for_waiting(owed), ""
    except Refused as refusal:
        return None, str(refusal)


def _form_page(
    request: HttpRequest, visit: Visit, owed: Owed, form: BaseForm, template: str, context: Mapping[str, Any]
) -> HttpResponse:
    head = head_of(owed, due_item(owed.rig, owed.key, at=visit.at), visit.at)
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    return visit.show(request, template, {"owed": owed, "form": form, "head": head, **context}, status=status)


@require_GET
@signed_in
def show_deferral(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one deferral."""
    return _deferral_page(request, waiting.deferral_for(request.user, pk), ReasonForm())


def _to_deferral(request: HttpRequest, pk: int) -> str:
    return reverse("tests_app:deferral", args=[waiting.deferral_for(request.user, pk).pk])


@posted(_to_deferral)
@signed_in
def withdraw_deferral(request: HttpRequest, pk: int) -> HttpResponse:
    """Withdraw a deferral: the first date counts again."""
    row = waiting.deferral_for(request.user, pk, needs=Right.DEFER)
    visit = Visit.of(request, row.rig)
    form = ReasonForm(request.POST)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        done = attempt(form, lambda: deferrals.withdraw_deferral(row, reason=reason, by=visit.user, at=visit.at))
        if done is not None:
            messages.success(request, "The deferral is withdrawn: the first date counts again.")
            return redirect("tests_app:deferral", row.pk)
    return _deferral_page(request, row, form, status=status_of(form))


def _deferral_page(
    request: HttpRequest, row: Deferral, form: ReasonForm, *, status: int = HTTPStatus.OK
) -> HttpResponse:
    visit = Visit.of(request, row.rig)
    key, words = deferral_state(row, visit.at)
    context = {
        "deferral": row,
        "state_key": key,
        "state_words": words,
        "form": form,
        "may_withdraw": visit.may(Right.DEFER) and row.withdrawn_at is None,
        "told": told_of(row),
    }
    return visit.show(request, "tests_app/deferral.html", context, status=status)


@require_GET
@signed_in
def show_postponement(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one postponed test."""
    return _postponement_page(request, waiting.postponement_for(request.user, pk), {})


def _to_postponement(request: HttpRequest, pk: int) -> str:
    return reverse("tests_app:postponement", args=[waiting.postponement_for(request.user, pk).pk])


@posted(_to_postponement)
@signed_in
def call_for_test(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that what calls for the test has come: it is due at once."""
    row = waiting.postponement_for(request.user, pk, needs=Right.DEFER)
    visit = Visit.of(request, row.rig)
    form = CallForm(request.POST, rig=row.rig, at=visit.at)
    if form.is_valid():
        called_at = form.cleaned_data["called_at"]
        done = attempt(form, lambda: postponements.call_for_test(row, called_at=called_at, by=visit.user, at=visit.at))
        if done is not None:
            messages.success(request, "The test is called for: it is due at once.")
            return redirect("tests_app:postponement", row.pk)
    return _postponement_page(request, row, {"call_form": form}, status=status_of(form))


@posted(_to_postponement)
@signed_in
def end_postponement(request: HttpRequest, pk: int) -> HttpResponse:
    """End a postponement."""
    row = waiting.postponement_for(request.user, pk, needs=Right.DEFER)
    visit = Visit.of(request, row.rig)
    form = EndForm(request.POST, rig=row.rig, at=visit.at)
    if form.is_valid():
        given = form.cleaned_data
        done = attempt(form, lambda: postponements.end_postponement(row, **given, by=visit.user, at=visit.at))
        if done is not None:
            messages.success(request, "The postponement has ended.")
            return redirect("tests_app:postponement", row.pk)
    return _postponement_page(request, row, {"end_form": form}, status=status_of(form))


def _postponement_page(
    request: HttpRequest, row: Postponement, forms: Mapping[str, BaseForm], *, status: int = HTTPStatus.OK
) -> HttpResponse:
    visit = Visit.of(request, row.rig)
    key, words = postponement_state(row)
    may_change = visit.may(Right.DEFER) and row.ended_at is None
    context = {
        "postponement": row,
        "state_key": key,
        "state_words": words,
        "reason": REASON_WORDS[PostponeReason(row.reason)],
        "then": then_words(row.then),
        "may_call": may_change and row.called_at is None,
        "may_end": may_change,
        "call_form": CallForm(rig=row.rig, at=visit.at),
        "end_form": EndForm(rig=row.rig, at=visit.at),
        "told": told_of(row),
        **forms,
    }
    return visit.show(request, "tests_app/postponement.html", context, status=status)
