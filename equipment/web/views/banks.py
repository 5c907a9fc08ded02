"""Pages of accumulator banks: the bank with its bottles and readings, and the forms that change them."""

from datetime import date
from typing import Any, Final

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from accounts.presentation import date_text, quantity_shown
from calcs.units import Dimension, System, to_si
from equipment.actions import banks as actions
from equipment.models import Bank, Bottle, BottleState, PrechargeCheck, QuantityField
from equipment.queries import banks as queries
from equipment.queries import history
from equipment.queries.access import Right
from equipment.queries.components import component_for
from equipment.web import panels
from equipment.web.bank_rows import ReadingTable, bottle_line, share
from equipment.web.door import signed_in
from equipment.web.facts import Fact, quantity_fact
from equipment.web.forms.banks import BankForm, BottleForm, BottleStateForm, CorrectionForm, PrechargeCheckForm
from equipment.web.lists import listed
from equipment.web.story import told
from equipment.web.views.components import way_of as way_of_component
from equipment.web.visit import Visit
from trail.actors import name_of

_PRECHARGE: Final = ("design_precharge", "reference_temperature", "precharge_tolerance")
_WORKING: Final = ("charged_pressure", "minimum_operating_pressure", "control_fluid_gradient", "seawater_gradient")
_MOST_ROUNDS: Final = 12
_TEMPERATURES: Final = {"us": ("degF", range(20, 121, 10)), "si": ("degC", range(-10, 51, 5))}
"""Gas temperatures the table of gauge figures is written for, by system of units."""


@signed_in
@require_http_methods(["GET"])
def find_bank(request: HttpRequest, pk: int) -> HttpResponse:
    """Lead from a component to its bank, or to where its facts are put on file."""
    component = component_for(request.user, pk)
    bank = queries.bank_of(component)
    if bank is None:
        return HttpResponseRedirect(f"{reverse('equipment:component', args=[component.pk])}#bank")
    return HttpResponseRedirect(_address(bank))


@signed_in
@require_http_methods(["GET"])
def show_bank(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a bank: its facts, its bottles with their latest precharge, and the rounds it was read in."""
    bank = queries.bank_for(request.user, pk)
    visit = Visit.of(request, bank.component.rig)
    return visit.show("equipment/bank.html", {**_shown(bank, visit), "parts": panels.bank_parts(request, bank)})


@signed_in
@require_http_methods(["GET"])
def show_readings(request: HttpRequest, pk: int) -> HttpResponse:
    """List every reading of a bank, corrected ones too, or export them."""
    bank = queries.bank_for(request.user, pk)
    visit = Visit.of(request, bank.component.rig)
    may_record = Right.RECORD in visit.rights
    found = listed(
        request,
        queries.readings_of(bank),
        ReadingTable,
        table_options={**visit.table_options, "bank": bank, "exclude": () if may_record else ("correct",)},
        file_name="precharge-readings",
    )
    return found.export or visit.show("equipment/bank_readings.html", {**found.context(), "bank": bank, **_way(bank)})


def _shown(bank: Bank, visit: Visit) -> dict[str, Any]:
    standings = queries.bottle_standings(bank, day=visit.today)
    totals = queries.totals(bank, standings)
    return {
        "bank": bank,
        "standing": queries.place_of(bank),
        "lines": [bottle_line(bank, one, visit.units) for one in standings],
        "totals": totals,
        "charge": share(totals.charge_ratio) if totals.charge_ratio is not None else "",
        "precharge": _facts(bank, _PRECHARGE, visit),
        "working": _facts(bank, _WORKING, visit),
        "column": queries.hydrostatic(bank),
        "design_on_gauge": queries.design_on_gauge(bank),
        "targets": queries.targets(bank, _temperatures(visit.units)),
        "rounds": [_round(one, bank) for one in queries.rounds_of(bank)[:_MOST_ROUNDS]],
        "may_record": Right.RECORD in visit.rights,
        "told": told(history.of_bank(bank)),
        **way_of_component(bank.component, "bank"),
    }


def _round(check: PrechargeCheck, bank: Bank) -> dict[str, Any]:
    """Return a round with its gauge as it was used: calibration, and whether that copy was made on the day."""
    kept = check.instrument_as_used
    return {
        "check": check,
        "calibration": queries.calibration_of(check, zone=bank.component.rig.zone),
        "due_on": date_text(date.fromisoformat(kept["calibration_due_on"])) if kept.get("calibration_due_on") else "",
        "certificate": kept.get("certificate_number", ""),
        "copied_later": kept.get("copied_later", False),
    }


@signed_in
@require_http_methods(["GET", "POST"])
def register_bank(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a bank's facts on file."""
    component = component_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, component.rig)
    form = BankForm(request.POST or None, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.register_bank(component, **form.facts, by=visit.user, at=visit.at),
        done="The bank is on file. Add its bottles.",
        leads_to=_address,
        words={"title": f"Bank of {component}", "verb": "Put on file", **way_of_component(component, "bank")},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_bank(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend a bank's facts."""
    bank = queries.bank_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, bank.component.rig)
    form = BankForm(request.POST or None, row=bank, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.amend_bank(bank, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done="The bank is amended. Its readings are compared with the new figures.",
        leads_to=_address,
        words={"title": f"Amend {bank}", "verb": "Save", **_way(bank)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def add_bottle(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a bottle; what the last one is like is filled in beforehand."""
    bank = queries.bank_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, bank.component.rig)
    form = BottleForm(request.POST or None, units=visit.units, initial=_like_the_last(bank, visit))
    another = "another" in request.POST
    return visit.fill_in(
        form,
        lambda: actions.add_bottle(bank, **form.facts, by=visit.user, at=visit.at),
        done=f"Bottle {request.POST.get('position_number', '')} is added.",
        leads_to=lambda _: request.path if another else f"{_address(bank)}#bottles",
        words={"title": "New bottle", "verb": "Add the bottle", **_way(bank, "bottles")},
        template="equipment/bank_bottle.html",
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_bottle(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend a bottle, a new shell test among it."""
    bottle = queries.bottle_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, bottle.bank.component.rig)
    form = BottleForm(request.POST or None, row=bottle, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.amend_bottle(bottle, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done=f"{bottle} is amended.",
        leads_to=lambda _: f"{_address(bottle.bank)}#bottles",
        words={"title": f"Amend {bottle}", "verb": "Save", **_way(bottle.bank, "bottles")},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def change_bottle_state(request: HttpRequest, pk: int) -> HttpResponse:
    """Shut a bottle off, remove it, or put it back in service."""
    bottle = queries.bottle_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, bottle.bank.component.rig)
    initial = {"state": "", "state_since": visit.today, "state_reason": ""}
    form = BottleStateForm(request.POST or None, row=bottle, initial=initial)
    lead = f"It is {BottleState(bottle.state).label.lower()} since {date_text(bottle.state_since)}. Nothing is deleted."
    return visit.fill_in(
        form,
        lambda: actions.change_bottle_state(bottle, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done="The state of the bottle is changed.",
        leads_to=lambda _: f"{_address(bottle.bank)}#bottles",
        words={
            "title": f"State of {bottle}",
            "lead": lead,
            "verb": "Change the state",
            **_way(bottle.bank, "bottles"),
        },
    )


@signed_in
@require_http_methods(["GET", "POST"])
def record_precharge(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter a round of precharge readings, one row a bottle."""
    bank = queries.bank_for(request.user, pk, needs=Right.RECORD)
    rig = bank.component.rig
    visit = Visit.of(request, rig)
    form = PrechargeCheckForm(
        request.POST or None,
        bottles=list(queries.bottles_standing(bank)),
        instruments=queries.instruments_for_precharge(rig),
        zone=rig.zone,
        at=visit.at,
        units=visit.units,
        initial={"taken_by": name_of(visit.user)},
    )
    return visit.fill_in(
        form,
        lambda: actions.record_precharge_check(bank, **form.facts, by=visit.user, at=visit.at),
        done="The readings are on file, compared below.",
        leads_to=lambda _: f"{_address(bank)}#bottles",
        words={
            "title": "Precharge readings",
            "lead": f"{bank}: one row a bottle. A row left empty was not read.",
            "verb": "Record the readings",
            "bank": bank,
            "design_on_gauge": queries.design_on_gauge(bank),
            "nothing_to_choose": not form.bottles,
            **_way(bank),
        },
        template="equipment/bank_precharge.html",
    )


@signed_in
@require_http_methods(["GET", "POST"])
def correct_reading(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a reading by a later one; the earlier stays on file."""
    reading = queries.reading_for(request.user, pk, needs=Right.RECORD)
    bank = reading.bottle.bank
    visit = Visit.of(request, bank.component.rig)
    initial = {"pressure": reading.pressure, "gas_temperature": reading.gas_temperature}
    form = CorrectionForm(request.POST or None, units=visit.units, initial=initial)
    return visit.fill_in(
        form,
        lambda: actions.correct_precharge_reading(reading, **form.facts, by=visit.user, at=visit.at),
        done="The reading is corrected. The earlier one stays on file.",
        leads_to=lambda _: _readings_address(bank),
        words={
            "title": f"Correct the reading of {reading.bottle}",
            "lead": f"It was read as {reading.pressure} at {_temperature(reading.gas_temperature.si, visit.units)}.",
            "verb": "Record the correction",
            **_way(bank),
            "back": _readings_address(bank),
        },
    )


def _temperature(kelvin: float, units: System) -> str:
    return str(quantity_shown(kelvin, Dimension.TEMPERATURE, units, 1))


def _temperatures(units: System) -> list[float]:
    unit, steps = _TEMPERATURES[units]
    return [to_si(float(step), unit, Dimension.TEMPERATURE) for step in steps]


def _like_the_last(bank: Bank, visit: Visit) -> dict[str, Any]:
    """Return what a further bottle is probably like: the next position, the volumes and days of the last."""
    last: Bottle | None = queries.bottles_standing(bank).last()
    if last is None:
        return {"position_number": 1, "in_service_on": visit.today}
    alike = ("shell_volume", "gas_volume", "shell_tested_on", "shell_test_due_on")
    return {
        **{name: getattr(last, name) for name in alike},
        "position_number": last.position_number + 1,
        "in_service_on": last.state_since if last.state == BottleState.IN_SERVICE else visit.today,
    }


def _facts(bank: Bank, names: tuple[str, ...], visit: Visit) -> list[Fact]:
    found = []
    for name in names:
        value, quantity = getattr(bank, name), vars(Bank)[name]
        if value is not None and isinstance(quantity, QuantityField):
            found.append(quantity_fact(quantity.verbose_name, value, quantity.dimension, visit.units))
    return found


def _address(bank: Bank) -> str:
    return reverse("equipment:bank", args=[bank.pk])


def _readings_address(bank: Bank) -> str:
    return reverse("equipment:bank-readings", args=[bank.pk])


def _way(bank: Bank, part: str = "") -> dict[str, Any]:
    way = way_of_component(bank.component, "bank")
    crumbs = [*way["crumbs"], (_address(bank), str(bank))]
    return {**way, "crumbs": crumbs, "back": f"{_address(bank)}#{part}" if part else _address(bank)}
