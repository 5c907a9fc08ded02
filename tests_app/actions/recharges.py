"""Timed chargings of a bank, beside a drawdown or in a pump test."""

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Final

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max

from accounts.models import User
from equipment.actions import refusals, saving
from equipment.errors import Refused
from equipment.models import Bank
from tests_app.actions.bank_records import hold_bank_draft, judge_bank_record, told_of_part
from tests_app.actions.drafts import mark_changed
from tests_app.models import PumpsRunning, Recharge, Record
from tests_app.queries.banks_tested import bank_of
from trail import entries

LONGEST_RECHARGE_S: Final = 86_400.0
MOST_RECHARGES: Final = 50


@dataclass(frozen=True)
class RechargeFacts:
    """One timed charging as typed: pressures gauge with their unit; the time in s.

    Attributes:
        pumps: all of them or one set out (see `PumpsRunning`).
        pump_out: which pump or power was set out; empty with all running.
    """

    pumps: str
    from_pressure: str
    to_pressure: str
    seconds: float | None
    pump_out: str = ""
    remarks: str = ""


@transaction.atomic
def add_recharge(record: Record, *, facts: RechargeFacts, by: User, at: datetime) -> Recharge:
    """Add a timed charging and judge it. Raises Refused or ValidationError naming the field of the facts."""
    held = hold_bank_draft(record)
    last = held.recharges.aggregate(last=Max("order"))["last"] or 0
    if last >= MOST_RECHARGES:
        raise Refused("", f"A test has {MOST_RECHARGES} chargings at most.", "Record the others in another test.")
    recharge = Recharge(record=held, order=last + 1)
    _write(recharge, held, facts)
    _judge(held)
    entries.write("recharge.added", recharge, by=by, at=at, rig_number=held.rig_id, after=told_of_part(recharge))
    return recharge


@transaction.atomic
def amend_recharge(recharge: Recharge, *, facts: RechargeFacts, by: User, at: datetime) -> Recharge:
    """Change a timed charging and judge it anew. Raises as `add_recharge` does."""
    record = hold_bank_draft(recharge.record)
    held = record.recharges.get(pk=recharge.pk)
    before = told_of_part(held)
    _write(held, record, facts)
    _judge(record)
    was, became = entries.changes(before, told_of_part(held))
    entries.write("recharge.amended", held, by=by, at=at, rig_number=record.rig_id, before=was, after=became)
    return held


@transaction.atomic
def remove_recharge(recharge: Recharge, *, by: User, at: datetime) -> None:
    """Take a timed charging out of a draft; those after it move up, and the trail keeps it."""
    record = hold_bank_draft(recharge.record)
    held = record.recharges.get(pk=recharge.pk)
    before, told, order = told_of_part(held), held.pk, held.order
    held.delete()
    for later in record.recharges.filter(order__gt=order).order_by("order"):
        later.order -= 1
        later.save()
    _judge(record)
    held.pk = told
    entries.write("recharge.removed", held, by=by, at=at, rig_number=record.rig_id, before=before)


def _write(recharge: Recharge, record: Record, facts: RechargeFacts) -> None:
    saving.assign_values(recharge, asdict(facts))
    _refuse_implausible(recharge, bank_of(record))
    refusals.refuse_invalid(recharge, exclude=("record", "limits", "verdict"))
    recharge.save()


def _refuse_implausible(recharge: Recharge, bank: Bank) -> None:
    """Refuse a charging nobody can have timed; raises ValidationError naming each field."""
    begun, ended, seconds = recharge.from_pressure, recharge.to_pressure, recharge.seconds
    wrong: dict[str, str] = {}
    for name, pressure in (("from_pressure", begun), ("to_pressure", ended)):
        if pressure is None:
            wrong[name] = "This is missing. Enter what the gauge read."
        elif not 0 <= pressure.si <= 2 * bank.charged_pressure.si:
            wrong[name] = f"This is under zero or over twice the rated {bank.charged_pressure}. Check figure and unit."
    if not wrong and not ended.si > begun.si:
        wrong["to_pressure"] = "A bank is charged to more than it began with. Check both pressures."
    if seconds is None or not 0 < seconds <= LONGEST_RECHARGE_S:
        wrong["seconds"] = "The time is not over zero or is longer than a day. Give the watch's time."
    if recharge.pumps == PumpsRunning.ONE_OUT and not recharge.pump_out:
        wrong["pump_out"] = "Say which pump or power was set out."
    elif recharge.pumps == PumpsRunning.ALL and recharge.pump_out:
        wrong["pump_out"] = "With all pumps running none is out: leave this empty, or choose that one was set out."
    if wrong:
        raise ValidationError(wrong)


def _judge(record: Record) -> None:
    mark_changed(record)
    judge_bank_record(record)
