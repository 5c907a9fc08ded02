"""Test instruments."""

from datetime import date, datetime
from decimal import Decimal
from typing import TypedDict, Unpack

from django.db import transaction

from equipment.actions import saving
from equipment.actions.components import Amount
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import Instrument, InstrumentKind, Rig
from trail import entries
from trail.actors import Actor


class InstrumentFacts(TypedDict, total=False):
    """What is known of an instrument besides its kind and serial number."""

    maker: str
    model: str
    range_low: Amount
    range_high: Amount
    accuracy_percent: Decimal | None
    chart_hours: Decimal | None
    calibrated_on: date | None
    calibration_due_on: date | None
    certificate_number: str


class InstrumentAmendment(InstrumentFacts, total=False):
    """What can be amended of an instrument."""

    kind: str
    serial: str


@transaction.atomic
def register_instrument(
    rig: Rig, *, kind: str, serial: str, by: Actor, at: datetime, **facts: Unpack[InstrumentFacts]
) -> Instrument:
    """Register a gauge or recorder. Raises ValidationError naming the fields, or Refused for a serial on file."""
    instrument = Instrument(rig=rig, kind=kind)
    saving.assign_values(instrument, {"serial": serial, **facts})
    _check(instrument, at)
    saving.add_row(instrument, Event.INSTRUMENT_REGISTERED, by=by, at=at)
    return instrument


@transaction.atomic
def amend_instrument(
    instrument: Instrument, *, seen: str = "", by: Actor, at: datetime, **facts: Unpack[InstrumentAmendment]
) -> Instrument:
    """Amend what is on file, a new calibration among it. Raises as `register_instrument` does."""
    fresh = saving.locked(instrument)
    saving.unchanged(fresh, seen)
    before = entries.snapshot(fresh)
    saving.assign_values(fresh, facts)
    _check(fresh, at)
    saving.change_row(fresh, Event.INSTRUMENT_AMENDED, before=before, by=by, at=at)
    return fresh


@transaction.atomic
def retire_instrument(instrument: Instrument, *, retired_on: date, reason: str, by: Actor, at: datetime) -> Instrument:
    """Take an instrument out of use; it stays on file. Raises Refused: retired already, a day to come, no reason."""
    fresh = saving.locked(instrument)
    before = entries.snapshot(fresh)
    if fresh.retired_on:
        raise Refused("", "This instrument is retired already.", "Nothing is left to do.")
    _not_to_come("retired_on", retired_on, fresh, at)
    why = saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say why it goes out of use.")
    fresh.retired_on = retired_on
    saving.change_row(fresh, Event.INSTRUMENT_RETIRED, before=before, by=by, at=at, reason=why)
    return fresh


def _check(instrument: Instrument, at: datetime) -> None:
    _not_to_come("calibrated_on", instrument.calibrated_on, instrument, at)
    if instrument.chart_hours is not None and instrument.kind != InstrumentKind.CHART_RECORDER:
        raise Refused("chart_hours", "Only a chart recorder has a chart.", "Leave this empty, or choose that kind.")
    for field in ("chart_hours", "accuracy_percent"):
        value = getattr(instrument, field)
        if isinstance(value, Decimal | int | float) and value <= 0:
            raise Refused(field, "This figure is over zero.", "Check it, or leave it empty.")


def _not_to_come(field: str, day: date | None, instrument: Instrument, at: datetime) -> None:
    if day is not None and day > saving.aware(at).astimezone(instrument.rig.zone).date():
        raise Refused(field, "This day lies in the future.", "Give the day it was done.")
