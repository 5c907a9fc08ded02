"""Drawdown and pump tests over HTTP: opened, their functions, readings, chargings and pumps entered."""

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request

from equipment.api.marks import refuse_stale, require_seen
from equipment.api.operations import Given, View, acts, amends, caller, removes
from equipment.api.shapes import AmountTaken, Taken, taken, with_example
from equipment.errors import Refused
from equipment.models import Bank, PrechargeCheck
from equipment.queries import access, banks, instruments, stacks, wells
from equipment.queries.access import Right
from tests_app.actions import drawdown_functions, drawdowns, pump_tests, recharges
from tests_app.actions.drawdown_functions import FunctionFacts, FunctionReading
from tests_app.actions.drawdowns import DrawdownHeading
from tests_app.actions.pump_tests import PumpFacts, PumpHeading
from tests_app.actions.recharges import RechargeFacts
from tests_app.api import records as read
from tests_app.api.named import all_found, as_taken, found, found_if, heading_now, key, of_kind
from tests_app.api.pressure_tests import named_of_heading
from tests_app.api.record_shapes import DrawdownFunctionShown, PumpReadingShown, RechargeShown, RecordShown
from tests_app.models import (
    DrawdownFunction,
    DrawdownTest,
    PumpReading,
    PumpTest,
    Recharge,
    Record,
    RecordKind,
)
from tests_app.queries import records

_DRAWDOWN = (
    *("reason", "control_station", "pod", "pipe_in_hole", "operator", "gas_temperature", "start_pressure"),
    *("start_settled", "electric_pumps_isolated", "air_pumps_isolated", "isolation_confirmed_by", "wait_seconds"),
    "judged_state",
)
_AS_THEY_ARE = frozenset({"wait_seconds"})


def _of_heading() -> dict[str, Any]:
    return {
        "started_at": serializers.DateTimeField(),
        "remarks": serializers.CharField(required=False, allow_blank=True, max_length=4000),
        "instruments": serializers.ListField(child=key(), required=False, max_length=20),
    }


def _of_drawdown() -> dict[str, Any]:
    check = key(required=False, allow_null=True, help_text="The round in which every bottle was read beforehand.")
    return {**_of_heading(), "section": key(required=False, allow_null=True), "precharge_check": check}


DrawdownTestTaken = taken(
    DrawdownTest,
    *_DRAWDOWN,
    name="DrawdownTestTaken",
    example={"bank": 1, "started_at": "2026-03-02T12:00:00Z", "reason": "interval", "start_pressure": "3000 psi"},
    bank=key(),
    **_of_drawdown(),
)
DrawdownHeadingTaken = taken(
    DrawdownTest, *_DRAWDOWN, name="DrawdownHeadingTaken", example={"start_settled": True}, **_of_drawdown()
)
PumpTestTaken = taken(
    PumpTest,
    *("reason", "operator"),
    name="PumpTestTaken",
    example={"bank": 1, "started_at": "2026-03-02T12:00:00Z", "reason": "interval"},
    bank=key(),
    **_of_heading(),
)
PumpHeadingTaken = taken(
    PumpTest, "reason", "operator", name="PumpHeadingTaken", example={"operator": "Ben Marsh"}, **_of_heading()
)
FunctionTaken = taken(
    DrawdownFunction,
    *("name", "movement", "volume_from", "minimum_pressure", "remarks"),
    name="DrawdownFunctionTaken",
    example={"name": "Annular, close", "movement": "close", "position": 7},
    position=key(required=False, allow_null=True),
    volume=AmountTaken(required=False, allow_null=True, help_text="Taken from the component where it is not sent."),
)
RechargeTaken = taken(
    Recharge,
    *("pumps", "pump_out", "from_pressure", "to_pressure", "remarks"),
    name="RechargeTaken",
    example={"pumps": "all", "from_pressure": "1200 psi", "to_pressure": "3000 psi", "seconds": 640},
    seconds=serializers.FloatField(min_value=0, max_value=1e6),
)
PumpTaken = taken(
    PumpReading,
    *("pump", "duty", "drive", "starts_at", "stops_at", "air_supply", "remarks"),
    name="PumpTaken",
    example={"pump": "Pump 1", "duty": "primary", "drive": "electric", "starts_at": "2700 psi"},
)


class ReadingTaken(Taken):
    """What was read of one function, by its place in the order."""

    order = serializers.IntegerField(min_value=1, max_value=1000)
    seconds = serializers.CharField(max_length=20, required=False, allow_blank=True)
    pressure_at_once = AmountTaken(required=False, allow_null=True)
    pressure_settled = AmountTaken(required=False, allow_null=True)


class ReadingsOfDrawdownTaken(Taken):
    """What was read after each function; what is not sent of one is cleared."""

    readings = serializers.ListField(child=ReadingTaken(), max_length=200)


with_example(ReadingsOfDrawdownTaken, {"readings": [{"order": 1, "seconds": "21.5", "pressure_at_once": "2650 psi"}]})


def _bank(request: Request, sent: dict[str, Any], rig_pk: int) -> Bank:
    user = caller(request)
    bank = found("bank", sent.pop("bank"), lambda pk: banks.bank_for(user, pk, needs=Right.RECORD))
    if bank.component.rig_id != rig_pk:
        raise Refused("bank", "This bank is on another rig.", "Give one of this rig.")
    return bank


def _instruments(request: Request, sent: dict[str, Any]) -> list[Any]:
    user = caller(request)
    return all_found("instruments", sent.pop("instruments", []), lambda pk: instruments.instrument_for(user, pk))


def _check(request: Request, sent: dict[str, Any], now: PrechargeCheck | None = None) -> PrechargeCheck | None:
    if "precharge_check" not in sent:
        return now
    user = caller(request)
    return found_if("precharge_check", sent.pop("precharge_check"), lambda pk: banks.round_for(user, pk))


def _heading(sent: dict[str, Any]) -> dict[str, Any]:
    return {name: value if name in _AS_THEY_ARE else as_taken({name: value})[name] for name, value in sent.items()}


def _draft_for(request: Request, pk: int, kind: str) -> Record:
    return of_kind(records.record_for(request.user, pk, needs=Right.RECORD), kind)


class DrawdownTests(View):
    """Opening a drawdown test."""

    @acts(RecordShown, "Open a drawdown test", takes=DrawdownTestTaken)
    def post(self, request: Request, given: Given, rig_pk: int) -> Record:
        access.rig_for(request.user, rig_pk, needs=Right.RECORD)
        user, sent = caller(request), given()
        record = drawdowns.open_drawdown_test(
            bank=_bank(request, sent, rig_pk),
            section=found_if("section", sent.pop("section", None), lambda pk: wells.section_for(user, pk)),
            precharge_check=_check(request, sent),
            instruments=_instruments(request, sent),
            heading=DrawdownHeading(**_heading(sent)),
            by=user,
            at=self.at,
        )
        return records.record_for(user, record.pk)


class DrawdownHeadings(View):
    """The heading of a drawdown test."""

    @amends(RecordShown, "Amend the heading of a drawdown test", takes=DrawdownHeadingTaken)
    def patch(self, request: Request, given: Given, pk: int) -> Record:
        record = _draft_for(request, pk, RecordKind.DRAWDOWN)
        require_seen(request, record)
        sent = given()
        section, used = named_of_heading(request, record, sent)
        check = _check(request, sent, record.drawdown_test.precharge_check)
        now = heading_now(DrawdownHeading, record, record.drawdown_test)
        drawdowns.amend_drawdown_heading(
            record,
            section=section,
            precharge_check=check,
            heading=DrawdownHeading(**{**now, **_heading(sent)}),
            instruments=used,
            version=record.version,
            by=caller(request),
            at=self.at,
        )
        return records.record_for(request.user, pk)


class Functions(read.Drawdown):
    """The functions of a drawdown test, and adding one."""

    @acts(DrawdownFunctionShown, "Add a function to a drawdown test", takes=FunctionTaken)
    def post(self, request: Request, given: Given, pk: int) -> DrawdownFunction:
        record = _draft_for(request, pk, RecordKind.DRAWDOWN)
        refuse_stale(request, record)
        user, sent = caller(request), given()
        position = found_if("position", sent.pop("position", None), lambda one: stacks.position_for(user, one))
        facts = FunctionFacts(position=position, **as_taken(sent))
        function = drawdown_functions.add_function(record, facts=facts, by=user, at=self.at)
        return records.function_for(user, function.pk)


class UsualFunctions(View):
    """The usual sequence of a drawdown."""

    @acts(RecordShown, "Fill in the usual functions of a drawdown test")
    def post(self, request: Request, given: Given, pk: int) -> Record:
        record = _draft_for(request, pk, RecordKind.DRAWDOWN)
        refuse_stale(request, record)
        drawdown_functions.fill_functions(record, by=caller(request), at=self.at)
        return records.record_for(request.user, pk)


class FunctionByKey(View):
    """One function of a drawdown test."""

    @removes("Remove a function of a drawdown test", description="One that nothing was read of.")
    def delete(self, request: Request, pk: int) -> None:
        function = records.function_for(request.user, pk, needs=Right.RECORD)
        refuse_stale(request, function)
        drawdown_functions.remove_function(function, by=caller(request), at=self.at)


class Readings(View):
    """What was read after each function of a drawdown."""

    @amends(RecordShown, "Enter readings of a drawdown test", takes=ReadingsOfDrawdownTaken)
    def patch(self, request: Request, given: Given, pk: int) -> Record:
        record = _draft_for(request, pk, RecordKind.DRAWDOWN)
        require_seen(request, record)
        sent = [as_taken(one) for one in given().get("readings", [])]
        read_now = {one.pop("order"): FunctionReading(**one) for one in sent}
        drawdown_functions.write_readings(
            record, readings=read_now, version=record.version, by=caller(request), at=self.at
        )
        return records.record_for(request.user, pk)


class Recharges(read.Recharges):
    """The timed chargings of a test, and adding one."""

    @acts(RechargeShown, "Add a timed charging", takes=RechargeTaken)
    def post(self, request: Request, given: Given, pk: int) -> Recharge:
        record = records.record_for(request.user, pk, needs=Right.RECORD)
        refuse_stale(request, record)
        facts = RechargeFacts(**as_taken(given()))
        added = recharges.add_recharge(record, facts=facts, by=caller(request), at=self.at)
        return records.recharge_for(request.user, added.pk)


class RechargeByKey(View):
    """One timed charging."""

    @removes("Remove a timed charging")
    def delete(self, request: Request, pk: int) -> None:
        recharge = records.recharge_for(request.user, pk, needs=Right.RECORD)
        refuse_stale(request, recharge)
        recharges.remove_recharge(recharge, by=caller(request), at=self.at)


class PumpTests(View):
    """Opening a pump test."""

    @acts(RecordShown, "Open a pump test", takes=PumpTestTaken)
    def post(self, request: Request, given: Given, rig_pk: int) -> Record:
        access.rig_for(request.user, rig_pk, needs=Right.RECORD)
        sent = given()
        record = pump_tests.open_pump_test(
            bank=_bank(request, sent, rig_pk),
            instruments=_instruments(request, sent),
            heading=PumpHeading(**as_taken(sent)),
            by=caller(request),
            at=self.at,
        )
        return records.record_for(request.user, record.pk)


class PumpHeadings(View):
    """The heading of a pump test."""

    @amends(RecordShown, "Amend the heading of a pump test", takes=PumpHeadingTaken)
    def patch(self, request: Request, given: Given, pk: int) -> Record:
        record = _draft_for(request, pk, RecordKind.PUMP)
        require_seen(request, record)
        sent = given()
        _, used = named_of_heading(request, record, sent)
        now = heading_now(PumpHeading, record, record.pump_test)
        pump_tests.amend_pump_heading(
            record,
            heading=PumpHeading(**{**now, **as_taken(sent)}),
            instruments=used,
            version=record.version,
            by=caller(request),
            at=self.at,
        )
        return records.record_for(request.user, pk)


class Pumps(read.Pumps):
    """What each pump did, and adding one."""

    @acts(PumpReadingShown, "Add a pump to a pump test", takes=PumpTaken)
    def post(self, request: Request, given: Given, pk: int) -> PumpReading:
        record = _draft_for(request, pk, RecordKind.PUMP)
        refuse_stale(request, record)
        facts = PumpFacts(**as_taken(given()))
        added = pump_tests.add_pump(record, facts=facts, by=caller(request), at=self.at)
        return records.pump_reading_for(request.user, added.pk)


class PumpByKey(View):
    """What one pump did."""

    @removes("Remove a pump of a pump test")
    def delete(self, request: Request, pk: int) -> None:
        pump = records.pump_reading_for(request.user, pk, needs=Right.RECORD)
        refuse_stale(request, pump)
        pump_tests.remove_pump(pump, by=caller(request), at=self.at)
