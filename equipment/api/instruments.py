"""Test instruments over HTTP."""

from django.db.models import QuerySet
from rest_framework.request import Request

from equipment.actions import instruments as actions
from equipment.api.marks import require_seen
from equipment.api.operations import Given, View, acts, amends, caller, lists, reads
from equipment.api.shapes import shown, taken
from equipment.models import Instrument
from equipment.narrowing import InstrumentFilter
from equipment.queries import access, instruments
from equipment.queries.access import Right

_FIELDS = (
    "kind",
    "serial",
    "maker",
    "model",
    "range_low",
    "range_high",
    "accuracy_percent",
    "chart_hours",
    "calibrated_on",
    "calibration_due_on",
    "certificate_number",
)
_EXAMPLE = {"kind": "digital-recorder", "serial": "DR-118", "range_high": "20000 psi", "calibrated_on": "2026-01-15"}

InstrumentShown = shown(Instrument, "id", "rig", *_FIELDS, "retired_on")
InstrumentTaken = taken(Instrument, *_FIELDS, name="InstrumentTaken", example=_EXAMPLE)


class Instruments(View):
    """The instruments of a rig."""

    @lists(InstrumentShown, "List the instruments of a rig", narrowed_by=InstrumentFilter)
    def get(self, request: Request, rig_pk: int) -> QuerySet[Instrument]:
        return instruments.instruments_of(access.rig_for(request.user, rig_pk))

    @acts(InstrumentShown, "Register an instrument", takes=InstrumentTaken)
    def post(self, request: Request, given: Given, rig_pk: int) -> Instrument:
        rig = access.rig_for(request.user, rig_pk, needs=Right.MANAGE)
        return actions.register_instrument(rig, **given(), by=caller(request), at=self.at)


class InstrumentByKey(View):
    """One instrument."""

    @reads(InstrumentShown, "Show an instrument")
    def get(self, request: Request, pk: int) -> Instrument:
        return instruments.instrument_for(request.user, pk)

    @amends(InstrumentShown, "Amend an instrument", takes=InstrumentTaken, description="A new calibration among it.")
    def patch(self, request: Request, given: Given, pk: int) -> Instrument:
        instrument = instruments.instrument_for(request.user, pk, needs=Right.MANAGE)
        seen = require_seen(request, instrument)
        return actions.amend_instrument(instrument, seen=seen, **given(), by=caller(request), at=self.at)
