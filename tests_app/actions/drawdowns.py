"""A drawdown test from opening on: its heading, the bank as it stood, and the instruments it is read from."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import models, transaction

from accounts.models import User
from equipment.actions import refusals, saving
from equipment.actions.banks import COLDEST_GAS_K, HOTTEST_GAS_K
from equipment.errors import Refused
from equipment.models import Bank, HoleSection, Instrument, PrechargeCheck, Rig, Stack
from equipment.queries.installations import place_of
from tests_app.actions.drafts import hold_draft
from tests_app.actions.drawdown_functions import require_functions
from tests_app.actions.drawdown_judging import judge_drawdown_record
from tests_app.actions.pressure_tests import save_numbered, use_instruments
from tests_app.models import DrawdownTest, GasState, Record, RecordKind
from tests_app.queries.banks_tested import copy_of, day_of, design_of, with_readings_of
from tests_app.queries.requirements import edition_of
from trail import entries

LONGEST_WAIT_S: Final = 86_400
_ENVELOPE: Final = ("started_at", "remarks")


@dataclass(frozen=True)
class DrawdownHeading:
    """What holds for the whole test, as typed; quantities as text with their unit, such as ``3000 psi``.

    Attributes:
        gas_temperature: of the charged gas, settled to what is around it.
        start_pressure: of the charged bank, gauge; it had stood steady where `start_settled`.
        wait_seconds: after each function, before the pressure is read again.
        judged_state: which of the two readings is judged (see `GasState`).
    """

    started_at: datetime
    reason: str
    control_station: str = ""
    pod: str = ""
    pipe_in_hole: str = ""
    operator: str = ""
    gas_temperature: str = ""
    start_pressure: str = ""
    start_settled: bool = False
    electric_pumps_isolated: bool = False
    air_pumps_isolated: bool = False
    isolation_confirmed_by: str = ""
    wait_seconds: int | None = None
    judged_state: str = GasState.AT_ONCE
    remarks: str = ""


@transaction.atomic
def open_drawdown_test(
    *,
    bank: Bank,
    section: HoleSection | None,
    precharge_check: PrechargeCheck | None,
    heading: DrawdownHeading,
    instruments: Sequence[Instrument],
    by: User,
    at: datetime,
) -> Record:
    """Open a draft of a drawdown test of a bank, on the stack it stood in, numbered next on the rig.

    The bank, its bottles and their precharge are copied as they stood. Raises Refused or ValidationError naming the
    field of the heading, `bank`, `section`, `precharge_check` or `instruments`.
    """
    rig = bank.component.rig
    stack = stack_of_bank(bank, at=saving.not_after(heading.started_at, at, field="started_at"))
    refuse_strangers(rig, section, instruments)
    record = Record(
        rig=rig,
        stack=stack,
        section=section,
        kind=RecordKind.DRAWDOWN,
        edition=edition_of(rig).id,
        started_at=heading.started_at,
        remarks=heading.remarks.strip(),
        created_at=at,
        created_by=by,
    )
    save_numbered(record)
    test = DrawdownTest(record=record, bank=bank)
    _write_heading(test, precharge_check, heading)
    use_instruments(record, instruments)
    judge_drawdown_record(record)
    entries.write("record.opened", record, by=by, at=at, rig_number=rig.pk, after=told(record, test, instruments))
    return record


@transaction.atomic
def amend_drawdown_heading(
    record: Record,
    *,
    section: HoleSection | None,
    precharge_check: PrechargeCheck | None,
    heading: DrawdownHeading,
    instruments: Sequence[Instrument],
    version: int,
    by: User,
    at: datetime,
) -> Record:
    """Change the heading of a draft: the bank is copied anew as of the test's day, and all is judged again.

    A correction keeps the bank as the record it corrects has it, and takes only the precharge readings anew: the bank
    may have changed since.
    Raises RecordIsStale when the draft changed since `version`, else as `open_drawdown_test`.
    """
    held = hold_draft(record, version=version)
    saving.not_after(heading.started_at, at, field="started_at")
    test = held.drawdown_test
    refuse_moved(held, test.bank, heading.started_at)
    refuse_strangers(held.rig, section, instruments)
    before = told(held, test, [use.instrument for use in held.instrument_uses.select_related("instrument")])
    held.section, held.started_at, held.remarks = section, heading.started_at, heading.remarks.strip()
    held.version += 1
    held.save()
    _write_heading(test, precharge_check, heading)
    held.instrument_uses.all().delete()
    use_instruments(held, instruments)
    require_functions(held)
    judge_drawdown_record(held)
    was, became = entries.changes(before, told(held, test, instruments))
    entries.write("record.heading-amended", held, by=by, at=at, rig_number=held.rig_id, before=was, after=became)
    return held


def stack_of_bank(bank: Bank, *, at: datetime) -> Stack:
    """Return the stack the bank stood in at a moment; raises Refused naming `bank` where it stood in none."""
    place = place_of(bank.component, at=at)
    if place is None:
        raise Refused(
            "bank",
            f"{bank} stood in no stack when the test began.",
            "Install its component in a position of the stack it serves, as of the time it was put there.",
        )
    return place.position.stack


def refuse_moved(record: Record, bank: Bank, started_at: datetime) -> None:
    """Refuse a start at which the bank stood in another stack, or before the test concluded; names `started_at`."""
    if stack_of_bank(bank, at=started_at).pk != record.stack_id:
        raise Refused("started_at", f"{bank} stood in another stack at that time.", "Open a new test for that one.")
    if record.concluded_at is not None and record.concluded_at <= started_at:
        raise Refused("started_at", "The test would begin after it concluded.", "Give an earlier time.")


def refuse_strangers(rig: Rig, section: HoleSection | None, instruments: Iterable[Instrument]) -> None:
    """Refuse a hole section or an instrument of another rig, naming it."""
    if section is not None and section.well.rig_id != rig.pk:
        raise Refused("section", "The hole section is another rig's.", "Choose a section of this rig's wells.")
    if any(instrument.rig_id != rig.pk for instrument in instruments):
        raise Refused("instruments", "An instrument is another rig's.", "Choose instruments of this rig.")


def told(record: Record, test: models.Model, instruments: Iterable[Instrument]) -> dict[str, Any]:
    """Return the envelope and heading as the trail keeps them."""
    rows: tuple[models.Model, ...] = (record, test)
    found = {key: value for row in rows for key, value in entries.snapshot(row).items()}
    # What it came to is worked out from the rows; the trail keeps what was entered.
    found.pop("verdict")
    return {**found, "instruments": [str(instrument) for instrument in instruments]}


def _write_heading(test: DrawdownTest, check: PrechargeCheck | None, heading: DrawdownHeading) -> None:
    given = {name: value for name, value in asdict(heading).items() if name not in _ENVELOPE}
    saving.assign_values(test, given)
    _refuse_check(test.bank, check, heading.started_at)
    test.precharge_check = check
    _refuse_implausible(test)
    if test.record.supersedes_id is not None and test.bank_as_tested:
        test.bank_as_tested = with_readings_of(test.bank_as_tested, check)
    else:
        test.bank_as_tested = copy_of(test.bank, check, day=day_of(heading.started_at, test.bank))
    refusals.refuse_invalid(test, exclude=("record", "bank_as_tested", "verdict"))
    test.save()


def _refuse_check(bank: Bank, check: PrechargeCheck | None, started_at: datetime) -> None:
    if check is None:
        return
    if check.bank_id != bank.pk:
        raise Refused("precharge_check", "This round was read on another bank.", "Choose a round of this bank.")
    if check.taken_at > started_at:
        raise Refused(
            "precharge_check",
            "This round was read after the test began.",
            "The precharge is read beforehand, with no fluid in the bottles: choose an earlier round.",
        )


def _refuse_implausible(test: DrawdownTest) -> None:
    """Refuse figures no bank has; raises ValidationError naming each."""
    wrong: dict[str, str] = {}
    temperature, start, wait = test.gas_temperature, test.start_pressure, test.wait_seconds
    if temperature is not None and not COLDEST_GAS_K <= temperature.si <= HOTTEST_GAS_K:
        wrong["gas_temperature"] = "No bottle's gas is this cold or hot. Check the figure and its unit."
    if start is not None and not start.si > 0:
        wrong["start_pressure"] = "A charged bank stands at more than zero. Give what the gauge read."
    elif start is not None and start.si > 2 * test.bank.charged_pressure.si:
        wrong["start_pressure"] = (
            f"This is over twice the rated pressure, {test.bank.charged_pressure}. Check the figure and its unit."
        )
    elif start is not None and test.bank.depth is None and start.si <= design_of(test.bank):
        wrong["start_pressure"] = (
            f"This is not over the design precharge, {test.bank.design_precharge}: a drawdown starts from a charged "
            "bank. Check the figure and its unit."
        )
    if wait is not None and not 0 < wait <= LONGEST_WAIT_S:
        wrong["wait_seconds"] = "The wait is not over zero or is longer than a day. Give it in seconds."
    if wrong:
        raise ValidationError(wrong)
