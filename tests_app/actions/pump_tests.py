"""Pump tests: the heading, and where each pump started and stopped by itself."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Final

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.models import User
from equipment.actions import refusals, saving
from equipment.errors import Refused
from equipment.models import Bank, Instrument
from tests_app.actions.bank_records import told_of_part
from tests_app.actions.drafts import hold_draft, mark_changed
from tests_app.actions.drawdown_judging import judge_pump_record
from tests_app.actions.drawdowns import refuse_moved, refuse_strangers, stack_of_bank, told
from tests_app.actions.pressure_tests import save_numbered, use_instruments
from tests_app.models import PumpReading, PumpTest, Record, RecordKind
from tests_app.queries.banks_tested import copy_of, day_of
from tests_app.queries.requirements import edition_of
from trail import entries

MOST_PUMPS: Final = 50
_HIGHEST_AIR_PA: Final = 3.5e6
"""Air that drives a rig's pumps stands well under this, about 500 psi (common practice)."""


@dataclass(frozen=True)
class PumpHeading:
    """What holds for the whole test, as typed."""

    started_at: datetime
    reason: str
    operator: str = ""
    remarks: str = ""


@dataclass(frozen=True)
class PumpFacts:
    """Where one pump started and stopped by itself, as typed: gauge pressures with their unit, empty for not read."""

    pump: str
    duty: str
    drive: str
    starts_at: str = ""
    stops_at: str = ""
    air_supply: str = ""
    remarks: str = ""


@transaction.atomic
def open_pump_test(
    *, bank: Bank, heading: PumpHeading, instruments: Sequence[Instrument], by: User, at: datetime
) -> Record:
    """Open a draft of a test of the pumps that charge a bank, on the stack it stood in.

    Raises Refused or ValidationError naming the field of the heading, `bank` or `instruments`.
    """
    rig = bank.component.rig
    stack = stack_of_bank(bank, at=saving.not_after(heading.started_at, at, field="started_at"))
    refuse_strangers(rig, None, instruments)
    record = Record(
        rig=rig,
        stack=stack,
        kind=RecordKind.PUMP,
        edition=edition_of(rig).id,
        started_at=heading.started_at,
        remarks=heading.remarks.strip(),
        created_at=at,
        created_by=by,
    )
    save_numbered(record)
    test = PumpTest(record=record, bank=bank)
    _write_heading(test, heading)
    use_instruments(record, instruments)
    judge_pump_record(record)
    entries.write("record.opened", record, by=by, at=at, rig_number=rig.pk, after=told(record, test, instruments))
    return record


@transaction.atomic
def amend_pump_heading(
    record: Record, *, heading: PumpHeading, instruments: Sequence[Instrument], version: int, by: User, at: datetime
) -> Record:
    """Change the heading of a draft; the bank is copied anew and all is judged again.

    Raises RecordIsStale when the draft changed since `version`, else as `open_pump_test`.
    """
    held = _hold(record, version=version)
    saving.not_after(heading.started_at, at, field="started_at")
    test = held.pump_test
    refuse_moved(held, test.bank, heading.started_at)
    refuse_strangers(held.rig, None, instruments)
    before = told(held, test, [use.instrument for use in held.instrument_uses.select_related("instrument")])
    held.started_at, held.remarks = heading.started_at, heading.remarks.strip()
    held.version += 1
    held.save()
    _write_heading(test, heading)
    held.instrument_uses.all().delete()
    use_instruments(held, instruments)
    judge_pump_record(held)
    was, became = entries.changes(before, told(held, test, instruments))
    entries.write("record.heading-amended", held, by=by, at=at, rig_number=held.rig_id, before=was, after=became)
    return held


@transaction.atomic
def add_pump(record: Record, *, facts: PumpFacts, by: User, at: datetime) -> PumpReading:
    """Add what one pump did. Raises Refused or ValidationError naming the field of the facts."""
    held = _hold(record)
    if held.pump_readings.count() >= MOST_PUMPS:
        raise Refused("", f"A test has {MOST_PUMPS} pumps at most.", "Record the others in another test.")
    pump = PumpReading(record=held)
    _write(pump, held, facts)
    _judge(held)
    entries.write("pump.added", pump, by=by, at=at, rig_number=held.rig_id, after=told_of_part(pump))
    return pump


@transaction.atomic
def amend_pump(pump: PumpReading, *, facts: PumpFacts, by: User, at: datetime) -> PumpReading:
    """Change what one pump did, and judge it anew. Raises as `add_pump` does."""
    record = _hold(pump.record)
    held = record.pump_readings.get(pk=pump.pk)
    before = told_of_part(held)
    _write(held, record, facts)
    _judge(record)
    was, became = entries.changes(before, told_of_part(held))
    entries.write("pump.amended", held, by=by, at=at, rig_number=record.rig_id, before=was, after=became)
    return held


@transaction.atomic
def remove_pump(pump: PumpReading, *, by: User, at: datetime) -> None:
    """Take a pump out of a draft; the trail keeps what was read."""
    record = _hold(pump.record)
    held = record.pump_readings.get(pk=pump.pk)
    before, key = told_of_part(held), held.pk
    held.delete()
    _judge(record)
    held.pk = key
    entries.write("pump.removed", held, by=by, at=at, rig_number=record.rig_id, before=before)


def _hold(record: Record, *, version: int | None = None) -> Record:
    held = hold_draft(record, version=version)
    if held.kind != RecordKind.PUMP:
        raise Refused("", f"{held} is no pump test.", "Open one from the page of the bank.")
    return held


def _write_heading(test: PumpTest, heading: PumpHeading) -> None:
    saving.assign_values(test, {"reason": heading.reason, "operator": heading.operator})
    # A correction keeps the bank as the record it corrects has it: the bank may have changed since.
    if test.record.supersedes_id is None or not test.bank_as_tested:
        test.bank_as_tested = copy_of(test.bank, None, day=day_of(heading.started_at, test.bank))
    refusals.refuse_invalid(test, exclude=("record", "bank_as_tested", "verdict"))
    test.save()


def _write(pump: PumpReading, record: Record, facts: PumpFacts) -> None:
    saving.assign_values(pump, asdict(facts))
    _refuse_implausible(pump, record.pump_test.bank)
    twin = record.pump_readings.filter(pump=pump.pump).exclude(pk=pump.pk or 0)
    if twin.exists():
        raise Refused("pump", f"{pump.pump} is entered already.", "Change that row, or give this pump its own name.")
    refusals.refuse_invalid(pump, exclude=("record", "limits"))
    pump.save()


def _refuse_implausible(pump: PumpReading, bank: Bank) -> None:
    """Refuse what no pump shows; raises ValidationError naming each field."""
    wrong: dict[str, str] = {}
    for name in ("starts_at", "stops_at"):
        pressure = getattr(pump, name)
        if pressure is not None and not 0 <= pressure.si <= 2 * bank.charged_pressure.si:
            wrong[name] = f"This is under zero or over twice the rated {bank.charged_pressure}. Check figure and unit."
    starts, stops, air = pump.starts_at, pump.stops_at, pump.air_supply
    if starts is not None and stops is not None and not stops.si > starts.si:
        wrong["stops_at"] = "A pump stops at more than it started at. Check both pressures."
    if air is not None and not 0 < air.si <= _HIGHEST_AIR_PA:
        wrong["air_supply"] = "No rig's air stands so. Check the figure and its unit."
    if wrong:
        raise ValidationError(wrong)


def _judge(record: Record) -> None:
    mark_changed(record)
    judge_pump_record(record)
