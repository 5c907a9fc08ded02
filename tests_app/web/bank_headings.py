"""Opening a drawdown or pump test of a bank, and changing its heading while it is a draft."""

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from calcs.units import DISPLAY_UNITS, Dimension
from equipment.models import Bank, PrechargeCheck, Rig, StackKind
from equipment.queries import access, instruments, wells
from equipment.queries.access import Right
from equipment.queries.banks import rounds_of
from tests_app.actions import drawdowns, pump_tests
from tests_app.models import Record, RecordKind
from tests_app.queries import records
from tests_app.queries.banks_tested import bank_of
from tests_app.queries.drawdowns import banks_to_test, tests_of_bank
from tests_app.web import function_headings, headings
from tests_app.web.bank_test_forms import (
    BankHeadingForm,
    BankOffer,
    DrawdownHeadingForm,
    PumpHeadingForm,
    drawdown_as_it_stands,
    pump_as_it_stands,
)
from tests_app.web.entry import Visit, signed_in
from tests_app.web.once import once
from tests_app.web.record_page import no_draft_page
from tests_app.web.refusals import attempt, status_of, take_over
from tests_app.web.rule_titles import rules_followed
from tests_app.web.story import story_of

_TEMPLATE = "tests_app/bank_heading.html"
_NAMES = {"pump_operator": "operator"}


def _offer(visit: Visit, rig: Rig, *, bank: Bank | None = None) -> BankOffer:
    """Return what a heading on this rig can be filled in with; `bank` is the one of a test that is open."""
    banks = banks_to_test(rig)
    rounds: list[PrechargeCheck] = []
    for one in [bank] if bank else banks:
        rounds += rounds_of(one)
    stacks = rig.stacks.filter(kind=StackKind.SUBSEA)
    return BankOffer(
        rig=rig,
        banks=banks,
        rounds=rounds,
        sections=wells.sections_of(rig),
        instruments=[one for one in instruments.instruments_of(rig) if one.retired_on is None],
        units=visit.units,
        at=visit.at,
        is_subsea=stacks.exists(),
    )


def _chosen_bank(request: HttpRequest, offer: BankOffer) -> Bank | None:
    """Return the bank the address names, else the only one there is."""
    asked = request.GET.get("bank", "")
    banks = list(offer.banks)
    named = next((one for one in banks if str(one.pk) == asked), None)
    return named or (banks[0] if len(banks) == 1 else None)


def _proposed(visit: Visit, offer: BankOffer, bank: Bank | None) -> dict[str, Any]:
    """Return what a new heading is filled in with: the bank, its latest round, and what its last test was read from."""
    earlier = tests_of_bank(bank).first() if bank else None
    last_round = next((one for one in offer.rounds if bank and one.bank_id == bank.pk), None)
    return {
        "bank": bank,
        "started_at": visit.at,
        "reason": "interval",
        "precharge_check": last_round.pk if last_round else "",
        "instruments": [use.instrument_id for use in earlier.instrument_uses.all()] if earlier else [],
        "start_pressure": f" {DISPLAY_UNITS[visit.units][Dimension.PRESSURE]}",
    }


@require_http_methods(["GET", "POST"])
@signed_in
@once
def new_drawdown(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Open a drawdown test of one of the rig's banks."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.RECORD)
    visit = Visit.of(request, rig)
    offer = _offer(visit, rig)
    bank = _chosen_bank(request, offer)
    data = request.POST if request.method == "POST" else None
    form = DrawdownHeadingForm(data, offer=offer, initial=_proposed(visit, offer, bank))
    record = _opened_drawdown(visit, form) if form.is_valid() else None
    if record is not None:
        messages.success(request, f"Test {record.number} is open. Enter its functions.")
        return redirect("tests_app:record", record.pk)
    return _show(request, visit, form, kind=RecordKind.DRAWDOWN, bank=bank)


def _opened_drawdown(visit: Visit, form: DrawdownHeadingForm) -> Record | None:
    return attempt(
        form,
        lambda: drawdowns.open_drawdown_test(
            bank=form.cleaned_data["bank"],
            section=form.cleaned_data["section"],
            precharge_check=form.chosen_round(),
            heading=form.heading(),
            instruments=form.chosen_instruments(),
            by=visit.user,
            at=visit.at,
        ),
        names=_NAMES,
    )


@require_http_methods(["GET", "POST"])
@signed_in
@once
def new_pump_test(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Open a test of the pumps that charge one of the rig's banks."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.RECORD)
    visit = Visit.of(request, rig)
    offer = _offer(visit, rig)
    bank = _chosen_bank(request, offer)
    data = request.POST if request.method == "POST" else None
    form = PumpHeadingForm(data, offer=offer, initial=_proposed(visit, offer, bank))
    record = _opened_pump_test(visit, form) if form.is_valid() else None
    if record is not None:
        messages.success(request, f"Test {record.number} is open. Enter its chargings and its pumps.")
        return redirect("tests_app:record", record.pk)
    return _show(request, visit, form, kind=RecordKind.PUMP, bank=bank)


def _opened_pump_test(visit: Visit, form: PumpHeadingForm) -> Record | None:
    return attempt(
        form,
        lambda: pump_tests.open_pump_test(
            bank=form.cleaned_data["bank"],
            heading=form.heading(),
            instruments=form.chosen_instruments(),
            by=visit.user,
            at=visit.at,
        ),
        names=_NAMES,
    )


@require_http_methods(["GET", "POST"])
@signed_in
def amend_heading(request: HttpRequest, pk: int) -> HttpResponse:
    """Change the heading of a draft of any kind. A page older than the draft is answered 409, as typed."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    if record.kind == RecordKind.PRESSURE:
        return headings.amend_heading(request, pk)
    if record.kind == RecordKind.FUNCTION:
        return _amend_functions(request, pk)
    return _amend(request, pk)


@once
def _amend_functions(request: HttpRequest, pk: int) -> HttpResponse:
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    return function_headings.amend_heading(request, Visit.of(request, record.rig), record)


@once
def _amend(request: HttpRequest, pk: int) -> HttpResponse:
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    form = _form_of(request, visit, record)
    if form.is_valid() and _amended(visit, form, record) is not None:
        messages.success(request, "The heading is saved, and all was judged again by it.")
        return redirect("tests_app:record", record.pk)
    if not record.is_draft:
        return no_draft_page(request, visit, record, form)
    return _show(request, visit, form, kind=record.kind, bank=bank_of(record), record=record)


def _form_of(request: HttpRequest, visit: Visit, record: Record) -> BankHeadingForm:
    data = request.POST if request.method == "POST" else None
    offer = _offer(visit, record.rig, bank=bank_of(record))
    if record.kind == RecordKind.DRAWDOWN:
        return DrawdownHeadingForm(data, offer=offer, record=record, initial=drawdown_as_it_stands(record))
    return PumpHeadingForm(data, offer=offer, record=record, initial=pump_as_it_stands(record))


def _amended(visit: Visit, form: BankHeadingForm, record: Record) -> Record | None:
    shared: dict[str, Any] = {
        "instruments": form.chosen_instruments(),
        "version": form.cleaned_data["version"] or 0,
        "by": visit.user,
        "at": visit.at,
    }
    if isinstance(form, DrawdownHeadingForm):
        facts: dict[str, Any] = {
            "section": form.cleaned_data["section"],
            "precharge_check": form.chosen_round(),
            "heading": form.heading(),
        }
        return attempt(form, lambda: drawdowns.amend_drawdown_heading(record, **facts, **shared), names=_NAMES)
    assert isinstance(form, PumpHeadingForm)
    return attempt(form, lambda: pump_tests.amend_pump_heading(record, heading=form.heading(), **shared), names=_NAMES)


def _show(
    request: HttpRequest,
    visit: Visit,
    form: BankHeadingForm,
    *,
    kind: str,
    bank: Bank | None,
    record: Record | None = None,
) -> HttpResponse:
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    context: dict[str, Any] = {
        "form": form,
        "record": record,
        "bank": bank,
        "is_drawdown": kind == RecordKind.DRAWDOWN,
        "what": RecordKind(kind).label.lower(),
        "no_rules": record is None and not rules_followed(visit.rig),
    }
    if record is not None and status == HTTPStatus.CONFLICT:
        context["changes_since"] = story_of(record, most=3)
        take_over(form, request.POST, record.version)
    return visit.show(request, _TEMPLATE, context, status=status)
