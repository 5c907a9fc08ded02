"""Accumulator banks: put on file, their bottles, and the rounds of precharge readings."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, TypedDict, Unpack

from django.core.exceptions import ValidationError
from django.db import transaction

from equipment.actions import saving
from equipment.actions.components import Amount
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import (
    Bank,
    Bottle,
    BottleState,
    Component,
    ComponentKind,
    Instrument,
    PrechargeCheck,
    PrechargeReading,
)
from equipment.queries.access import rig_of
from equipment.queries.copies import as_used
from trail import entries
from trail.actors import Actor, name_of

COLDEST_GAS_K: Final = 213.15
HOTTEST_GAS_K: Final = 373.15
"""Gas temperatures outside −60 to 100 °C are taken for slips of the pen, such as a wrong unit (common practice)."""


class BankFacts(TypedDict, total=False):
    """What is known of a bank."""

    purpose: str
    location: str
    depth: Amount
    control_fluid_gradient: Amount
    seawater_gradient: Amount
    design_precharge: Amount
    reference_temperature: Amount
    precharge_basis: str
    charged_pressure: Amount
    minimum_operating_pressure: Amount
    precharge_tolerance: Amount
    tolerance_source: str
    remarks: str


class BottleFacts(TypedDict, total=False):
    """What is known of a bottle."""

    position_number: int
    serial: str
    shell_volume: Amount
    gas_volume: Amount
    shell_tested_on: date | None
    shell_test_due_on: date | None


@dataclass(frozen=True)
class Read:
    """What was read from one bottle: gauge pressure, and the temperature of its gas.

    Attributes:
        name: how the caller calls this bottle; refusals name ``pressure-{name}`` or ``gas_temperature-{name}``.
    """

    bottle: Bottle
    pressure: Amount
    gas_temperature: Amount
    name: str = ""


@transaction.atomic
def register_bank(component: Component, *, by: Actor, at: datetime, **facts: Unpack[BankFacts]) -> Bank:
    """Put the bank of an accumulator component on file.

    Raises Refused for another kind of component or a bank on file already, ValidationError naming the fields.
    """
    if component.kind != ComponentKind.ACCUMULATOR_BANK:
        raise Refused("", "This component is no accumulator bank.", "Register the bank as a component of its own.")
    if Bank.objects.filter(component=component).exists():
        raise Refused("", "The facts of this bank are on file already.", "Amend them.")
    bank = Bank(component=component)
    saving.assign_values(bank, facts)
    _comparable(bank)
    saving.add_row(bank, Event.BANK_REGISTERED, by=by, at=at)
    return bank


@transaction.atomic
def amend_bank(bank: Bank, *, seen: str = "", by: Actor, at: datetime, **facts: Unpack[BankFacts]) -> Bank:
    """Amend the facts of a bank. Raises as `register_bank` does, and Refused when somebody else saved meanwhile."""
    fresh = saving.locked(bank)
    saving.unchanged(fresh, seen)
    before = entries.snapshot(fresh)
    saving.assign_values(fresh, facts)
    _comparable(fresh)
    saving.change_row(fresh, Event.BANK_AMENDED, before=before, by=by, at=at)
    return fresh


@transaction.atomic
def add_bottle(bank: Bank, *, in_service_on: date, by: Actor, at: datetime, **facts: Unpack[BottleFacts]) -> Bottle:
    """Add a bottle, in service since a day. Raises Refused for a day to come, a place or serial number taken."""
    bottle = Bottle(bank=bank, state_since=in_service_on)
    saving.assign_values(bottle, facts)
    _not_to_come("in_service_on", in_service_on, bank, at)
    _not_to_come("shell_tested_on", bottle.shell_tested_on, bank, at)
    saving.add_row(bottle, Event.BOTTLE_ADDED, by=by, at=at)
    return bottle


@transaction.atomic
def amend_bottle(bottle: Bottle, *, seen: str = "", by: Actor, at: datetime, **facts: Unpack[BottleFacts]) -> Bottle:
    """Amend a bottle, a new shell test among it. Raises as `add_bottle` does."""
    fresh = saving.locked(bottle)
    saving.unchanged(fresh, seen)
    before = entries.snapshot(fresh)
    saving.assign_values(fresh, facts)
    _not_to_come("shell_tested_on", fresh.shell_tested_on, fresh.bank, at)
    saving.change_row(fresh, Event.BOTTLE_AMENDED, before=before, by=by, at=at)
    return fresh


@transaction.atomic
def change_bottle_state(
    bottle: Bottle, *, state: str, state_since: date, state_reason: str, seen: str = "", by: Actor, at: datetime
) -> Bottle:
    """Shut a bottle off, remove it, or put it back in service, with the day and the reason.

    Raises Refused for a day to come or before the last change, a missing reason, the state it is in, or a
    place another bottle has taken meanwhile.
    """
    fresh = saving.locked(bottle)
    saving.unchanged(fresh, seen)
    before = entries.snapshot(fresh)
    if fresh.state == state:
        raise Refused("state", "The bottle is in this state already.", "Choose another, or leave it as it is.")
    _not_to_come("state_since", state_since, fresh.bank, at)
    if state_since < fresh.state_since:
        raise Refused(
            "state_since",
            f"The bottle was put in its present state later, on {fresh.state_since:%Y-%m-%d}.",
            "Check the day.",
        )
    why = saving.said(state_reason, field="state_reason", reason="A reason is missing.", remedy="Say why.")
    saving.assign_values(fresh, {"state": state, "state_since": state_since, "state_reason": why})
    saving.change_row(fresh, Event.BOTTLE_STATE_CHANGED, before=before, by=by, at=at, reason=why)
    return fresh


@transaction.atomic
def record_precharge_check(
    bank: Bank,
    *,
    readings: Sequence[Read],
    instrument: Instrument,
    taken_at: datetime,
    taken_by: str,
    fluid_bled_off: bool,
    remarks: str = "",
    by: Actor,
    at: datetime,
) -> PrechargeCheck:
    """Record one round of precharge readings, each with the temperature of its gas.

    Bottles that were not read are left out. Raises ValidationError naming every value at fault, or Refused:
    nothing read, fluid not bled off, a time to come, an instrument of another rig or out of use.
    """
    if not readings:
        raise Refused("", "No bottle was read.", "Enter the pressure of one bottle at least.")
    saving.not_after(taken_at, at, field="taken_at")
    if saving.locked(bank).precharge_checks.filter(taken_at=taken_at).exists():
        raise Refused(
            "taken_at", "A round of this bank at this very time is on file.", "Look at it, or give the right time."
        )
    _fit_for_use(instrument, bank, taken_at)
    check = PrechargeCheck(
        bank=bank,
        instrument=instrument,
        instrument_as_used=as_used(instrument),
        fluid_bled_off=fluid_bled_off,
        recorded_at=at,
        recorded_by=name_of(by),
    )
    saving.assign_values(check, {"taken_at": taken_at, "taken_by": taken_by, "remarks": remarks})
    saving.store_row(check, insert=True)
    stored = _stored(check, readings, by=by, at=at)
    entries.write(
        Event.PRECHARGE_RECORDED,
        check,
        by=by,
        at=at,
        rig_number=rig_of(check).pk,
        after={**entries.snapshot(check), "readings": [entries.snapshot(reading) for reading in stored]},
    )
    return check


@transaction.atomic
def correct_precharge_reading(
    reading: PrechargeReading, *, pressure: Amount, gas_temperature: Amount, reason: str, by: Actor, at: datetime
) -> PrechargeReading:
    """Correct a reading by a later one that names it; the earlier stays on file.

    Raises Refused for a reading corrected already, a figure that changes nothing or a missing reason.
    """
    if PrechargeReading.objects.filter(corrects=reading).exists():
        raise Refused("", "This reading was corrected already.", "Correct the latest reading of the bottle.")
    why = saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say what was wrong.")
    later = PrechargeReading(
        check_round=reading.check_round,
        bottle=reading.bottle,
        corrects=reading,
        recorded_at=saving.aware(at),
        recorded_by=name_of(by),
    )
    given = {"pressure": pressure, "gas_temperature": gas_temperature, "reason": why}
    saving.assign_values(later, given)
    _plausible(later, reading.check_round.instrument)
    if (later.pressure, later.gas_temperature) == (reading.pressure, reading.gas_temperature):
        raise Refused("pressure", "These are the figures on file.", "Enter what should stand instead.")
    saving.add_row(later, Event.PRECHARGE_CORRECTED, by=by, at=at, reason=why)
    return later


def _stored(check: PrechargeCheck, readings: Sequence[Read], *, by: Actor, at: datetime) -> list[PrechargeReading]:
    """Save every reading of a round, or refuse all that can't stand, each beside its own field."""
    wrong: dict[str, list[str]] = {}
    stored = []
    for read in readings:
        row = PrechargeReading(check_round=check, bottle=read.bottle, recorded_at=at, recorded_by=name_of(by))
        try:
            saving.assign_values(row, {"pressure": read.pressure, "gas_temperature": read.gas_temperature})
            _plausible(row, check.instrument)
            _of_this_bank(read.bottle, check.bank)
            saving.store_row(row, insert=True)
        except Refused as refused:
            wrong.setdefault(_named(refused.field, read), []).append(str(refused))
        except ValidationError as error:
            for field, messages in error.message_dict.items():
                wrong.setdefault(_named(field, read), []).extend(messages)
        stored.append(row)
    if wrong:
        raise ValidationError(wrong)
    return stored


def _named(field: str, read: Read) -> str:
    return f"{field or 'pressure'}-{read.name}" if read.name else field or "pressure"


def _of_this_bank(bottle: Bottle, bank: Bank) -> None:
    if bottle.bank_id != bank.pk or bottle.state == BottleState.REMOVED:
        raise Refused("pressure", f"{bottle} does not stand in this bank now.", "Look at the bank again.")


def _plausible(reading: PrechargeReading, instrument: Instrument) -> None:
    """Refuse what the gauge can't have shown and what no bottle's gas can be."""
    pressure, temperature = reading.pressure, reading.gas_temperature
    if pressure is None:
        raise Refused("pressure", "The pressure is missing.", "Enter what the gauge showed, zero included.")
    if temperature is None:
        raise Refused(
            "gas_temperature",
            "The temperature of the gas is missing.",
            "Read it: without it a precharge can't be compared with its design.",
        )
    top = instrument.range_high
    if top is not None and pressure.si > top.si:
        raise Refused(
            "pressure", f"{instrument} shows no more than {top}.", "Check the figure, its unit and the gauge."
        )
    if not COLDEST_GAS_K <= temperature.si <= HOTTEST_GAS_K:
        raise Refused("gas_temperature", "No bottle's gas is this cold or hot.", "Check the figure and its unit.")


def _comparable(bank: Bank) -> None:
    """Refuse a bank whose design says nothing: a precharge without its temperature, or at an impossible one."""
    missing = [
        name
        for name in ("design_precharge", "reference_temperature", "charged_pressure")
        if getattr(bank, name) is None
    ]
    if missing:
        raise ValidationError(dict.fromkeys(missing, "This is missing. Take it from the bank's papers."))
    if not COLDEST_GAS_K <= bank.reference_temperature.si <= HOTTEST_GAS_K:
        raise Refused("reference_temperature", "No bottle's gas is this cold or hot.", "Check the figure and its unit.")


def _fit_for_use(instrument: Instrument, bank: Bank, taken_at: datetime) -> None:
    rig = rig_of(bank)
    if instrument.rig_id != rig.pk:
        raise Refused("instrument", "This instrument belongs to another rig.", "Choose one of this rig.")
    if instrument.retired_on and instrument.retired_on < taken_at.astimezone(rig.zone).date():
        raise Refused("instrument", "This instrument was out of use by then.", "Choose the one that was read.")


def _not_to_come(field: str, day: date | None, bank: Bank, at: datetime) -> None:
    if day is not None and day > saving.aware(at).astimezone(rig_of(bank).zone).date():
        raise Refused(field, "This day lies in the future.", "Give the day it was done.")
