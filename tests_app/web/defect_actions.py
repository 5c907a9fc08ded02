"""What is sent from the page of a defect: work, reports, a new judgement, and what closes it."""

from collections.abc import Callable

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from equipment.queries.access import Right
from tests_app.actions import defect_steps
from tests_app.actions.defects import judge_anew
from tests_app.queries.defects import Standing, defect_for
from tests_app.queries.retests import retests_of
from tests_app.web.defect_forms import DispositionForm, JudgeForm, RetestForm, WorkForm
from tests_app.web.defect_page import defect_page, report_form
from tests_app.web.entry import Visit, signed_in
from tests_app.web.once import once
from tests_app.web.posted import posted
from tests_app.web.refusals import attempt, status_of


def _to_defect(request: HttpRequest, pk: int) -> str:
    return reverse("tests_app:defect", args=[defect_for(request.user, pk).defect.pk])


def _asked(request: HttpRequest, pk: int, right: Right) -> tuple[Visit, Standing]:
    standing = defect_for(request.user, pk, needs=right)
    return Visit.of(request, standing.defect.rig), standing


@posted(_to_defect)
@signed_in
@once
def act(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter what was done about it."""
    visit, standing = _asked(request, pk, Right.ACT_ON_DEFECT)
    form = WorkForm(request.POST, defect=standing.defect, at=visit.at)
    return _taken(
        (request, visit, standing),
        ("work_form", form, "What was done is entered."),
        lambda: defect_steps.act_on_defect(standing.defect, work=form.work, by=visit.user, at=visit.at),
    )


@posted(_to_defect)
@signed_in
@once
def report(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter that a report was sent, or an analysis begun."""
    visit, standing = _asked(request, pk, Right.ACT_ON_DEFECT)
    form = report_form(visit, standing, request.POST)
    return _taken(
        (request, visit, standing),
        ("report_form", form, "The report is entered."),
        lambda: defect_steps.report_defect(standing.defect, **form.facts, by=visit.user, at=visit.at),
    )


@posted(_to_defect)
@signed_in
def judge(request: HttpRequest, pk: int) -> HttpResponse:
    """Judge severity and barrier anew."""
    visit, standing = _asked(request, pk, Right.ACT_ON_DEFECT)
    form = JudgeForm(request.POST, defect=standing.defect)
    return _taken(
        (request, visit, standing),
        ("judge_form", form, "The defect is judged anew."),
        lambda: judge_anew(standing.defect, **form.facts, by=visit.user, at=visit.at),
    )


@posted(_to_defect)
@signed_in
def prove(request: HttpRequest, pk: int) -> HttpResponse:
    """Close it by the line of a later test."""
    visit, standing = _asked(request, pk, Right.ACT_ON_DEFECT)
    form = RetestForm(request.POST, retests=retests_of(standing))
    return _taken(
        (request, visit, standing),
        ("retest_form", form, "The defect is closed: the retest shows it cured."),
        lambda: defect_steps.close_by_retest(standing.defect, form.line, by=visit.user, at=visit.at),
    )


@posted(_to_defect)
@signed_in
def dispose(request: HttpRequest, pk: int) -> HttpResponse:
    """Close it without a retest, as approved."""
    visit, standing = _asked(request, pk, Right.DISPOSE)
    form = DispositionForm(request.POST)
    return _taken(
        (request, visit, standing),
        ("dispose_form", form, "The defect is closed as approved."),
        lambda: defect_steps.close_by_disposition(standing.defect, approval=form.approval, by=visit.user, at=visit.at),
    )


def _taken(
    asked: tuple[HttpRequest, Visit, Standing], sent: tuple[str, BaseForm, str], act_on_it: Callable[[], object]
) -> HttpResponse:
    """Act on a form that makes sense and lead back to the defect; where it is refused show it in its place as typed."""
    request, visit, standing = asked
    name, form, said = sent
    if form.is_valid() and attempt(form, act_on_it) is not None:
        messages.success(request, said)
        return redirect("tests_app:defect", standing.defect.pk)
    return defect_page(request, visit, standing, {name: form}, status=status_of(form))
