"""Opening a pressure test, and changing its heading while it is a draft."""

from http import HTTPStatus

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from equipment.models import Rig
from equipment.queries import access, instruments, stacks, wells
from equipment.queries.access import Right
from tests_app.actions import pressure_tests
from tests_app.models import Record, RecordKind
from tests_app.queries import records
from tests_app.web.entry import Visit, signed_in
from tests_app.web.heading_form import HeadingForm, Offer
from tests_app.web.once import once
from tests_app.web.record_page import no_draft_page
from tests_app.web.refusals import attempt, status_of, take_over
from tests_app.web.rule_titles import rules_followed
from tests_app.web.story import story_of


def offer_for(visit: Visit, rig: Rig, *, besides: Record | None = None) -> Offer:
    """Return what a heading on this rig can be filled in with; `besides` is the record being changed."""
    earlier = records.records_visible(visit.user, rig).filter(kind=RecordKind.PRESSURE, discarded_at=None)
    earlier = earlier.select_related("pressure_test")
    if besides is not None:
        earlier = earlier.filter(number__lt=besides.number)
    return Offer(
        rig=rig,
        stacks=stacks.stacks_of(rig),
        sections=wells.sections_of(rig),
        instruments=[one for one in instruments.instruments_of(rig) if one.retired_on is None],
        last=earlier.prefetch_related("instrument_uses").order_by("-started_at", "-number").first(),
        at=visit.at,
        drilled=wells.section_drilled(rig, at=besides.started_at if besides is not None else visit.at),
    )


@require_http_methods(["GET", "POST"])
@signed_in
@once
def new_test(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Open a pressure test on a rig."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.RECORD)
    visit = Visit.of(request, rig)
    form = HeadingForm(request.POST if request.method == "POST" else None, offer=offer_for(visit, rig))
    record = _opened(visit, form) if form.is_valid() else None
    if record is not None:
        messages.success(request, f"Test {record.number} is open. Add its first step.")
        return redirect("tests_app:record", record.pk)
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    context = {"form": form, "record": None, "no_rules": not rules_followed(rig)}
    return visit.show(request, "tests_app/heading.html", context, status=status)


def _opened(visit: Visit, form: HeadingForm) -> Record | None:
    return attempt(
        form,
        lambda: pressure_tests.open_pressure_test(
            rig=visit.rig,
            stack=form.cleaned_data["stack"],
            section=form.cleaned_data["section"],
            heading=form.heading(),
            instruments=form.chosen_instruments(),
            by=visit.user,
            at=visit.at,
        ),
    )


@require_http_methods(["GET", "POST"])
@signed_in
@once
def amend_heading(request: HttpRequest, pk: int) -> HttpResponse:
    """Change the heading of a draft. A page older than the draft is answered 409, with what was typed kept."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    offer = offer_for(visit, record.rig, besides=record)
    form = HeadingForm(request.POST if request.method == "POST" else None, offer=offer, record=record)
    if form.is_valid() and _amended(visit, form, record) is not None:
        messages.success(request, "The heading is saved; the steps were judged again by it.")
        return redirect("tests_app:record", record.pk)
    if not record.is_draft:
        return no_draft_page(request, visit, record, form)
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    context = {"form": form, "record": record}
    if status == HTTPStatus.CONFLICT:
        context["changes_since"] = story_of(record, most=3)
        take_over(form, request.POST, record.version)
    return visit.show(request, "tests_app/heading.html", context, status=status)


def _amended(visit: Visit, form: HeadingForm, record: Record) -> Record | None:
    return attempt(
        form,
        lambda: pressure_tests.amend_heading(
            record,
            section=form.cleaned_data["section"],
            heading=form.heading(),
            instruments=form.chosen_instruments(),
            version=form.cleaned_data["version"] or 0,
            by=visit.user,
            at=visit.at,
        ),
    )
