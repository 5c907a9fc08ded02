"""Timed chargings of a bank, and the pumps of a pump test: add, change, take out."""

from collections.abc import Callable

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from equipment.errors import Refused
from equipment.queries.access import Right
from tests_app.actions import pump_tests, recharges
from tests_app.models import Record
from tests_app.queries import records
from tests_app.web.charging_forms import PumpForm, RechargeForm
from tests_app.web.draft_pages import draft_page
from tests_app.web.entry import Visit, signed_in
from tests_app.web.once import once
from tests_app.web.posted import page_of, posted, to_record
from tests_app.web.record_page import WHOLE
from tests_app.web.refusals import attempt


def to_recharge(request: HttpRequest, pk: int) -> str:
    """Return the place of a charging on its test's page."""
    return page_of(records.recharge_for(request.user, pk).record, "recharges")


def to_pump(request: HttpRequest, pk: int) -> str:
    """Return the place of a pump on its test's page."""
    return page_of(records.pump_reading_for(request.user, pk).record, "pumps")


@posted(to_record)
@signed_in
@once
def add_recharge(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a timed charging to a draft."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    form = RechargeForm.about(None, request.POST, units=visit.units)
    return _kept(
        request,
        visit,
        record,
        form,
        ("recharge", WHOLE),
        lambda: recharges.add_recharge(record, facts=form.facts(), by=visit.user, at=visit.at),
    )


@posted(to_recharge)
@signed_in
def amend_recharge(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a timed charging."""
    recharge = records.recharge_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, recharge.record.rig)
    form = RechargeForm.about(recharge, request.POST, units=visit.units)
    return _kept(
        request,
        visit,
        recharge.record,
        form,
        ("recharge", recharge.pk),
        lambda: recharges.amend_recharge(recharge, facts=form.facts(), by=visit.user, at=visit.at),
    )


@posted(to_recharge)
@signed_in
def remove_recharge(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a timed charging out of a draft."""
    recharge = records.recharge_for(request.user, pk, needs=Right.RECORD)
    record, visit = recharge.record, Visit.of(request, recharge.record.rig)
    return _gone(request, record, "recharges", lambda: recharges.remove_recharge(recharge, by=visit.user, at=visit.at))


@posted(to_record)
@signed_in
@once
def add_pump(request: HttpRequest, pk: int) -> HttpResponse:
    """Add what one pump did to a draft."""
    record = records.record_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, record.rig)
    form = PumpForm.about(None, request.POST, units=visit.units)
    return _kept(
        request,
        visit,
        record,
        form,
        ("pump", WHOLE),
        lambda: pump_tests.add_pump(record, facts=form.facts(), by=visit.user, at=visit.at),
    )


@posted(to_pump)
@signed_in
def amend_pump(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what one pump did."""
    pump = records.pump_reading_for(request.user, pk, needs=Right.RECORD)
    visit = Visit.of(request, pump.record.rig)
    form = PumpForm.about(pump, request.POST, units=visit.units)
    return _kept(
        request,
        visit,
        pump.record,
        form,
        ("pump", pump.pk),
        lambda: pump_tests.amend_pump(pump, facts=form.facts(), by=visit.user, at=visit.at),
    )


@posted(to_pump)
@signed_in
def remove_pump(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a pump out of a draft."""
    pump = records.pump_reading_for(request.user, pk, needs=Right.RECORD)
    record, visit = pump.record, Visit.of(request, pump.record.rig)
    return _gone(request, record, "pumps", lambda: pump_tests.remove_pump(pump, by=visit.user, at=visit.at))


def _kept(
    request: HttpRequest,
    visit: Visit,
    record: Record,
    form: BaseForm,
    place: tuple[str, int],
    act: Callable[[], object],
) -> HttpResponse:
    if form.is_valid() and attempt(form, act) is not None:
        return redirect(page_of(record, f"{place[0]}s"))
    return draft_page(request, visit, record, {place: form})


def _gone(request: HttpRequest, record: Record, anchor: str, act: Callable[[], None]) -> HttpResponse:
    try:
        act()
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, "It is taken out; who did what keeps it.")
    return redirect(page_of(record, anchor))
