"""Steps of a draft: add, change, repeat, take out; what they need is shown before they are saved."""

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from calcs.units import Dimension
from equipment.errors import Refused
from equipment.models import Measured
from equipment.queries.access import Right
from equipment.queries.stacks import as_installed
from tests_app.actions import steps
from tests_app.models import PressureFrom, Record, Step
from tests_app.queries import records
from tests_app.web.entry import Visit, signed_in
from tests_app.web.evidence_forms import LeakForm
from tests_app.web.once import once
from tests_app.web.posted import posted, to_line, to_step
from tests_app.web.record_page import draft_page, no_draft_page
from tests_app.web.refusals import attempt, status_of
from tests_app.web.step_form import PUMP_POINTS, StepForm
from tests_app.web.step_preview import StepPreview, preview_of

_NAMES = {"lines": "element"}


def step_address(step: Step) -> str:
    """Return the address of a step on its record's page."""
    return f"{reverse('tests_app:record', args=[step.record_id])}#step-{step.pk}"


def _form(request: HttpRequest, record: Record, step: Step | None = None, *, data: Any = None) -> StepForm:
    given = data if data is not None else (request.POST if request.method == "POST" else None)
    standings = as_installed(record.stack, at=record.started_at)
    if step is None:
        last = records.steps_of(record).last()
        return StepForm(given, standings=standings, initial={"pump_point": last.pump_point if last else ""})
    chosen = {line.position_id: line.pressure_from for line in step.lines.all()}
    initial = {"name": step.name, "pump_point": step.pump_point, "remarks": step.remarks, "max_decay": _fall(step)}
    return StepForm(given, standings=standings, chosen=chosen, initial=initial)


def _fall(step: Step) -> Measured | None:
    """Return the largest fall a step may have, as its form shows it."""
    kept = step.limits.get("max_decay")
    return Measured.of(f"{kept['value']:.12g} {kept['unit']}", Dimension.PRESSURE, field="max_decay") if kept else None


def _show(request: HttpRequest, visit: Visit, record: Record, step: Step | None, form: StepForm) -> HttpResponse:
    if not record.is_draft:
        return no_draft_page(request, visit, record, form)
    context: dict[str, Any] = {"record": record, "step": step, "form": form, "pump_points": PUMP_POINTS}
    context["preview"] = _preview(visit, record, form)
    context["untestable"] = [one for one in as_installed(record.stack, at=record.started_at) if one.component is None]
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    return visit.show(request, "tests_app/step.html", context, status=status)


@require_http_methods(["GET", "POST"])
@signed_in
@once
def add_step(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a step to a draft."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    form = _form(request, record)
    if form.is_valid():
        step = attempt(
            form,
            lambda: steps.add_step(
                record,
                name=form.step_name(),
                pump_point=form.cleaned_data["pump_point"],
                lines=form.lines(),
                remarks=form.cleaned_data["remarks"],
                max_decay=form.fall_allowed(),
                by=visit.user,
                at=visit.at,
            ),
            names=_NAMES,
        )
        if step is not None:
            messages.success(request, f"Step {step.order} is added. Attach its recorder file when it is held.")
            return redirect(step_address(step))
    return _show(request, visit, record, None, form)


@require_http_methods(["GET", "POST"])
@signed_in
def amend_step(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a step of a draft."""
    step = records.step_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, step.record.rig)
    form = _form(request, step.record, step)
    if form.is_valid():
        amended = attempt(
            form,
            lambda: steps.amend_step(
                step,
                name=form.step_name(),
                pump_point=form.cleaned_data["pump_point"],
                lines=form.lines(),
                remarks=form.cleaned_data["remarks"],
                max_decay=form.fall_allowed(),
                by=visit.user,
                at=visit.at,
            ),
            names=_NAMES,
        )
        if amended is not None:
            return redirect(step_address(amended))
    return _show(request, visit, step.record, step, form)


@require_http_methods(["GET"])
@signed_in
def preview(request: HttpRequest, pk: int) -> HttpResponse:
    """Return what the elements ticked so far would have to show, as a part of the step's page."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    form = _form(request, record, data=request.GET)
    return visit.show(request, "tests_app/parts/step_preview.html", {"preview": _preview(visit, record, form)})


def _preview(visit: Visit, record: Record, form: StepForm) -> StepPreview | None:
    lines = [line for line in form.lines() if line.pressure_from in PressureFrom.values]
    return preview_of(record, lines, form.step_name(), visit.units)


@posted(to_step)
@signed_in
@once
def retest(request: HttpRequest, pk: int) -> HttpResponse:
    """Repeat a failed step as a new one; the failed one stays."""
    step = records.step_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, step.record.rig)
    try:
        again = steps.retest_step(step, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect(step_address(step))
    messages.success(request, f"Step {again.order} repeats step {step.order} for what failed in it.")
    return redirect(step_address(again))


@posted(to_step)
@signed_in
@once
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a step without evidence out of a draft."""
    step = records.step_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, step.record.rig)
    try:
        steps.remove_step(step, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect(step_address(step))
    messages.success(request, f"Step {step.order} is taken out.")
    return redirect("tests_app:record", step.record_id)


@posted(to_line)
@signed_in
def note_line(request: HttpRequest, pk: int) -> HttpResponse:
    """Write what was seen at one element."""
    line = records.line_for(request.user, pk, needs=Right.RECORD)
    record = line.step.record
    visit = Visit.of(request, record.rig)
    form = LeakForm.about(line, request.POST)
    if form.is_valid():
        noted = attempt(form, lambda: steps.note_line(line, **form.cleaned_data, by=visit.user, at=visit.at))
        if noted is not None:
            return redirect(f"{reverse('tests_app:record', args=[record.pk])}#line-{line.pk}")
    return draft_page(request, visit, record, {("leak", line.pk): form})
