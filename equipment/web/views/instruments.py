"""Pages of test instruments."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from calcs.units import Dimension
from equipment.actions import instruments as actions
from equipment.models import Instrument, Rig
from equipment.narrowing import InstrumentFilter
from equipment.queries import access, history
from equipment.queries import instruments as queries
from equipment.queries.access import Right
from equipment.queries.components import documents_of
from equipment.web.door import signed_in
from equipment.web.facts import Fact, quantity_fact
from equipment.web.forms.instruments import InstrumentForm, InstrumentRetirementForm
from equipment.web.instrument_list import InstrumentTable
from equipment.web.lists import listed
from equipment.web.story import told
from equipment.web.visit import Visit


@signed_in
@require_http_methods(["GET"])
def show_instruments(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """List a rig's instruments, or export them."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    found = listed(
        request,
        queries.instruments_of(rig),
        InstrumentTable,
        filter_class=InstrumentFilter,
        table_options=visit.table_options,
        file_name="instruments",
    )
    return found.export or visit.show("equipment/instruments.html", found.context())


@signed_in
@require_http_methods(["GET"])
def show_instrument(request: HttpRequest, pk: int) -> HttpResponse:
    """Show an instrument: range, calibration, documents and trail."""
    instrument = queries.instrument_for(request.user, pk)
    visit = Visit.of(request, instrument.rig)
    context = {
        "instrument": instrument,
        "facts": _facts(instrument, visit),
        "calibration": queries.expiry_on(visit.today, due=instrument.calibration_due_on),
        "documents": documents_of(instrument),
        "told": told(history.of_instrument(instrument)),
        **_way(instrument.rig),
    }
    return visit.show("equipment/instrument.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def register_instrument(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Register an instrument."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.MANAGE)
    visit = Visit.of(request, rig)
    form = InstrumentForm(request.POST or None, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.register_instrument(rig, **form.facts, by=visit.user, at=visit.at),
        done="The instrument is registered.",
        leads_to=_address,
        words={"title": "New instrument", "verb": "Register the instrument", **_way(rig)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_instrument(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend an instrument or enter its new calibration."""
    instrument = queries.instrument_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, instrument.rig)
    form = InstrumentForm(request.POST or None, row=instrument, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.amend_instrument(instrument, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done="The instrument is amended. Records signed before keep its calibration as it was.",
        leads_to=_address,
        words={"title": f"Amend {instrument}", "verb": "Save", **_way(instrument.rig, instrument)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def retire_instrument(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an instrument out of use."""
    instrument = queries.instrument_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, instrument.rig)
    form = InstrumentRetirementForm(request.POST or None, initial={"retired_on": visit.today})
    return visit.fill_in(
        form,
        lambda: actions.retire_instrument(instrument, **form.facts, by=visit.user, at=visit.at),
        done="The instrument is out of use. It stays on file.",
        leads_to=_address,
        words={
            "title": f"Take {instrument} out of use",
            "verb": "Take out of use",
            "danger": True,
            **_way(instrument.rig, instrument),
        },
    )


def _facts(instrument: Instrument, visit: Visit) -> list[Fact]:
    facts = [Fact("Maker and model", f"{instrument.maker} {instrument.model}".strip())]
    for label, measured in (("Range from", instrument.range_low), ("Range to", instrument.range_high)):
        if measured is not None:
            facts.append(quantity_fact(label, measured, Dimension.PRESSURE, visit.units))
    if instrument.accuracy_percent is not None:
        facts.append(Fact("Accuracy", f"{instrument.accuracy_percent.normalize():f} % of full scale"))
    if instrument.chart_hours is not None:
        facts.append(Fact("Chart duration", f"{instrument.chart_hours.normalize():f} h"))
    return [fact for fact in facts if fact.value]


def _address(instrument: Instrument) -> str:
    return reverse("equipment:instrument", args=[instrument.pk])


def _way(rig: Rig, instrument: Instrument | None = None) -> dict[str, Any]:
    crumbs = [(reverse("equipment:instruments", args=[rig.pk]), "Instruments")]
    if instrument is not None:
        crumbs.append((_address(instrument), str(instrument)))
    return {"crumbs": crumbs, "back": crumbs[-1][0], "section": "instrument"}


def way_of(instrument: Instrument, part: str) -> dict[str, Any]:
    """Return crumbs and the way back to a part of the instrument's page."""
    way = _way(instrument.rig, instrument)
    return {**way, "back": f"{way['back']}#{part}"}
