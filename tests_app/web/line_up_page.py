"""The page of a plan: its steps with what each proves, what nothing proves any more, and the changes by hand."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from equipment.errors import Refused
from equipment.queries.access import Right
from tests_app.actions import leak_plans, line_up_plans, line_up_steps, line_up_tests
from tests_app.documents.line_up_drawing import step_on_page
from tests_app.documents.line_up_facts import facts_of, proof_row
from tests_app.documents.line_up_sheet import PAPERS, print_line_ups
from tests_app.models import LineUpPlan, LineUpStep, PlanState, Record
from tests_app.queries import line_up_plans as plans
from tests_app.queries import records
from tests_app.queries.line_up_copies import system_from
from tests_app.queries.line_up_plans import SeenPlan, pipes_of, seen
from tests_app.queries.step_pipes import pipe_of
from tests_app.web.entry import Visit, signed_in
from tests_app.web.heading_form import HeadingForm
from tests_app.web.headings import offer_for
from tests_app.web.line_up_forms import LineUpForm
from tests_app.web.line_ups import STATES
from tests_app.web.once import once
from tests_app.web.posted import page_of, posted, to_step
from tests_app.web.refusals import attempt, status_of

_PAPERS: Final = {"a4": "A4", "letter": "letter"}
_WAITS: Final = (PlanState.WAITING, PlanState.WORKING)


def plan_address(plan: LineUpPlan, anchor: str = "") -> str:
    """Return the address of a plan's page."""
    return reverse("tests_app:line-up", args=[plan.pk]) + (f"#{anchor}" if anchor else "")


def to_plan(request: HttpRequest, pk: int) -> str:
    """Return the page of a plan by its key."""
    return plan_address(plans.plan_for(request.user, pk))


def to_plan_of_step(request: HttpRequest, pk: int) -> str:
    """Return the place of a step on its plan's page."""
    return plan_address(plans.plan_step_for(request.user, pk).plan, f"step-{pk}")


@require_GET
@signed_in
def show(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a plan."""
    plan = plans.plan_for(request.user, pk)
    visit = Visit.of(request, plan.rig)
    return visit.show(request, "tests_app/line_up.html", _context(visit, plan))


@require_GET
@signed_in
def state_part(request: HttpRequest, pk: int) -> HttpResponse:
    """Return the part of the page that waits for the plan; the whole page is loaded once it is there."""
    plan = plans.plan_for(request.user, pk)
    visit = Visit.of(request, plan.rig)
    context = {**visit.context(), "plan": plan, "waits": plan.state in _WAITS}
    answer = render(request, "tests_app/parts/line_up_state.html", context)
    if plan.state not in _WAITS:
        answer["HX-Refresh"] = "true"
    return answer


def is_free(plan: LineUpPlan) -> bool:
    """Tell whether a plan can still be changed: no test was opened from it, or that was given up."""
    return plan.record is None or plan.record.discarded_at is not None


def _context(visit: Visit, plan: LineUpPlan) -> dict[str, Any]:
    found = seen(plan)
    may_change = visit.may(Right.RECORD) and is_free(plan) and plan.state == PlanState.READY and not plan.finds_leak
    return {
        "plan": plan,
        "state_key": STATES[PlanState(plan.state)],
        "waits": plan.state in _WAITS,
        "found": found,
        "steps": facts_of(found),
        "unproved": [] if plan.finds_leak else [proof_row(copy) for copy in found.unproved],
        "unprovable": [(proof_row(copy), why) for copy, why in found.unprovable],
        "summary": summary_of(found),
        "outdated": _outdated(visit, plan),
        "may_change": may_change,
        "may_ask_again": visit.may(Right.RECORD) and is_free(plan) and plan.state not in _WAITS,
        "pinned": sum(step.row.is_pinned for step in found.steps),
        "is_free": is_free(plan),
    }


def _outdated(visit: Visit, plan: LineUpPlan) -> str:
    """Return why a plan no longer fits the rig; a search for a leak goes with its test, whatever changed since."""
    is_at_rest = is_free(plan) and plan.state not in _WAITS
    return plans.outdated(plan, at=visit.at) if is_at_rest and not plan.finds_leak else ""


def summary_of(found: SeenPlan) -> str:
    """Return in one sentence how many steps there are, and whether fewer would do."""
    if found.plan.finds_leak:
        return f"{found.plan.lower_bound} of these steps at most; the outcome of each says which comes next."
    count, bound = len(found.steps), found.plan.lower_bound
    steps = f"{count} step" if count == 1 else f"{count} steps"
    kept = " that keeps the pinned steps" if any(step.row.is_pinned for step in found.steps) else ""
    if found.is_fewest:
        return f"{steps}. No plan{kept} has fewer: that is proved."
    if found.is_whole and bound is not None:
        with_pinned = " with the pinned ones" if kept else ""
        return f"{steps}. Whether fewer would do is not known: at least {bound} are needed{with_pinned}."
    return f"{steps}, which do not prove everything that was asked."


@require_GET
@signed_in
def drawing(request: HttpRequest, pk: int) -> HttpResponse:
    """Return the drawing of a step as a part of its plan's page."""
    step = plans.plan_step_for(request.user, pk)
    found = next(one for one in seen(step.plan).steps if one.row.pk == step.pk)
    wide, narrow = step_on_page(step.plan, found)
    return render(request, "tests_app/parts/line_up_drawing.html", {"wide": wide, "narrow": narrow})


@require_GET
@signed_in
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Send the line-up sheet of a plan, on the paper of the rig unless the address names another."""
    plan = plans.plan_for(request.user, pk)
    visit = Visit.of(request, plan.rig)
    found = seen(plan)
    content = print_line_ups(
        found,
        summary_of(found),
        outdated=_outdated(visit, plan),
        units=visit.units,
        paper=_PAPERS.get(request.GET.get("paper", ""), PAPERS[plan.rig.display_units]),
        at=visit.at,
    )
    headers = {"Content-Disposition": f'inline; filename="line-ups-{plan.number}.pdf"'}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


@posted(to_step)
@signed_in
@once
def find_leak(request: HttpRequest, pk: int) -> HttpResponse:
    """Search for the leak of a failed step of a test."""
    step = records.step_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, step.record.rig)
    try:
        plan = leak_plans.find_leak(step, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect(page_of(step.record, f"step-{pk}"))
    return redirect(plan_address(plan))


class _VersionForm(forms.Form):
    """The change a page was loaded at; each of its small forms sends it."""

    version = forms.IntegerField()


class _MoveForm(_VersionForm):
    to_order = forms.IntegerField()


def _done(
    request: HttpRequest, plan: LineUpPlan, form: _VersionForm, act: Callable[[], object], said: str, anchor: str = ""
) -> HttpResponse:
    """Carry out a small form of the page, and lead back to it with what was done or refused."""
    if not form.is_valid():
        messages.error(request, "The form came incomplete. Load the page again and repeat it.")
        return redirect(plan_address(plan))
    try:
        act()
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect(plan_address(plan))
    messages.success(request, said)
    return redirect(plan_address(plan, anchor))


@posted(to_plan)
@signed_in
@once
def ask_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Have the plan worked out again, pinned steps kept."""
    plan = plans.plan_for(request.user, pk, needs=Right.RECORD)
    visit, form = Visit.of(request, plan.rig), _VersionForm(request.POST)

    def act() -> None:
        line_up_plans.ask_again(plan, version=form.cleaned_data["version"], by=visit.user, at=visit.at)

    return _done(request, plan, form, act, "The plan is worked out again.")


@posted(to_plan_of_step)
@signed_in
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a step at another place."""
    step, visit = _step_and_visit(request, pk)
    form = _MoveForm(request.POST)

    def act() -> None:
        line_up_steps.move_line_up(step, **form.cleaned_data, by=visit.user, at=visit.at)

    return _done(request, step.plan, form, act, "The step is moved.", f"step-{pk}")


@posted(to_plan_of_step)
@signed_in
def pin(request: HttpRequest, pk: int) -> HttpResponse:
    """Pin a step, or let it go."""
    step, visit = _step_and_visit(request, pk)
    form, pinned = _VersionForm(request.POST), not step.is_pinned

    def act() -> None:
        version = form.cleaned_data["version"]
        line_up_steps.pin_line_up(step, pinned=pinned, version=version, by=visit.user, at=visit.at)

    said = "The step is pinned: planning again keeps it." if pinned else "The step is let go."
    return _done(request, step.plan, form, act, said, f"step-{pk}")


@posted(to_plan_of_step)
@signed_in
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a step out."""
    step, visit = _step_and_visit(request, pk)
    form = _VersionForm(request.POST)

    def act() -> None:
        line_up_steps.remove_line_up(step, version=form.cleaned_data["version"], by=visit.user, at=visit.at)

    return _done(request, step.plan, form, act, f"Step {step.order} is taken out.")


def _step_and_visit(request: HttpRequest, pk: int) -> tuple[LineUpStep, Visit]:
    step = plans.plan_step_for(request.user, pk, needs=Right.RECORD)
    return step, Visit.of(request, step.plan.rig)


@require_http_methods(["GET", "POST"])
@signed_in
@once
def add_step(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a line-up by hand."""
    plan = plans.plan_for(request.user, pk, needs=Right.RECORD)
    visit, form = Visit.of(request, plan.rig), _line_up_form(request, plan)
    if form.is_valid():
        version = form.cleaned_data["version"]
        added = attempt(
            form,
            lambda: line_up_steps.add_line_up(plan, form.spec(), version=version, by=visit.user, at=visit.at),
        )
        if added is not None:
            return redirect(plan_address(plan, f"step-{added.pk}"))
    return _show_form(request, visit, plan, None, form)


@require_http_methods(["GET", "POST"])
@signed_in
def change_step(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a line-up by hand."""
    step, visit = _step_and_visit(request, pk)
    form = _line_up_form(request, step.plan, step)
    if form.is_valid():
        version = form.cleaned_data["version"]
        changed = attempt(
            form,
            lambda: line_up_steps.change_line_up(step, form.spec(), version=version, by=visit.user, at=visit.at),
        )
        if changed is not None:
            return redirect(plan_address(step.plan, f"step-{changed.pk}"))
    return _show_form(request, visit, step.plan, step, form)


@require_GET
@signed_in
def try_step(request: HttpRequest, pk: int) -> HttpResponse:
    """Return what the line-up ticked so far would prove, as a part of its form."""
    plan = plans.plan_for(request.user, pk)
    visit, form = Visit.of(request, plan.rig), _line_up_form(request, plan, data=request.GET)
    context: dict[str, Any] = {
        "errors": "Choose pump point and pipe and give the pressure: what it proves stands here."
    }
    if form.is_valid():
        spec, changed = form.spec(), request.GET.get("step", "")
        tried = plans.tried(plan, spec.pump_point, spec.pipe, form.cleaned_data["pressure"].si, spec.closed, changed)
        context = {
            "shown": tried.shown,
            "proves": [proof_row(copy) for copy in tried.proves],
            "unproved": [proof_row(copy) for copy in tried.unproved],
        }
    return visit.show(request, "tests_app/parts/line_up_try.html", context)


def _line_up_form(
    request: HttpRequest, plan: LineUpPlan, step: LineUpStep | None = None, *, data: Any = None
) -> LineUpForm:
    system = system_from(plan.system)
    return LineUpForm(
        data if data is not None else request.POST if request.method == "POST" else None,
        pump_points=system.pump_points,
        pipes=system.pipe_strings,
        elements=system.elements,
        version=plan.version,
        step=step,
        normally_closed=system.normally_closed,
    )


def _show_form(
    request: HttpRequest, visit: Visit, plan: LineUpPlan, step: LineUpStep | None, form: LineUpForm
) -> HttpResponse:
    context = {"plan": plan, "step": step, "form": form, "can_change": is_free(plan) and plan.state == PlanState.READY}
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    return visit.show(request, "tests_app/line_up_step.html", context, status=status)


@require_http_methods(["GET", "POST"])
@signed_in
@once
def open_test(request: HttpRequest, pk: int) -> HttpResponse:
    """Open a pressure test with the plan's steps."""
    plan = plans.plan_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, plan.rig)
    form = _heading_form(request, visit, plan)
    record = _opened(visit, plan, form) if form.is_valid() else None
    if record is not None:
        messages.success(request, f"Test {record.number} is open with the steps of plan {plan.number}.")
        return redirect("tests_app:record", record.pk)
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    return visit.show(request, "tests_app/line_up_test.html", {"form": form, "plan": plan}, status=status)


def _heading_form(request: HttpRequest, visit: Visit, plan: LineUpPlan) -> HeadingForm:
    form = HeadingForm(request.POST if request.method == "POST" else None, offer=offer_for(visit, plan.rig))
    del form.fields["stack"]
    pipes = [pipe for pipe in pipes_of(plan.steps.all()) if pipe_of(pipe) is not None]
    usual: dict[str, Any] = {
        "section": plan.section_id,
        "reason": plan.reason,
        "barrier": plan.barrier,
        "pipe_in_hole": pipe_of(pipes[0]) if pipes else None,
        "plan_reference": f"Line-up plan {plan.number}",
        "version": plan.version,
    }
    form.initial.update(usual)
    return form


def _opened(visit: Visit, plan: LineUpPlan, form: HeadingForm) -> Record | None:
    return attempt(
        form,
        lambda: line_up_tests.open_test_of_plan(
            plan,
            section=form.cleaned_data["section"],
            heading=form.heading(),
            instruments=form.chosen_instruments(),
            version=form.cleaned_data["version"] or 0,
            by=visit.user,
            at=visit.at,
        ),
    )
