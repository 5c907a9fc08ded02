"""What a draft of a drawdown test still lacks before it can be signed."""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import Final

from accounts.presentation import date_text
from calcs.bank_rules import drawdown_rule
from equipment.models import StackKind
from tests_app.models import DrawdownFunction, DrawdownTest, GasState, Outcome, Record
from tests_app.queries import bank_points
from tests_app.queries.banks_tested import BankTested, read_copy
from tests_app.queries.completeness import OpenPoint, is_in_date
from tests_app.queries.drawdown_sequence import NEVER_ON_PIPE
from tests_app.queries.drawdowns import edition_of_record, functions_of, limit_of, stack_of
from tests_app.queries.unread_files import unread

PRECHARGE_IS_OLD_AFTER: Final = timedelta(days=2)
"""A round read longer before the test is asked about: gas leaks, and bottles are touched (common practice)."""
FULL_WITHIN: Final = 0.05
"""A start further than this share from the rated pressure is pointed out (common practice)."""
SURELY_SETTLED_S: Final = 300
"""Gas warms for minutes after a drop; a shorter wait is pointed out (common practice)."""


def drawdown_points(record: Record) -> list[OpenPoint]:
    """Return what keeps a drawdown from being signed, then what is worth a look. A constant number of queries."""
    test = record.drawdown_test
    functions = list(functions_of(record))
    bank = read_copy(test.bank_as_tested)
    points = [
        *bank_points.conclusion(record),
        *bank_points.instruments(record),
        *_isolation(test),
        *_start(test, bank),
        *_precharge(record, test, bank),
        *bank_points.bank_moved_on(record, test.bank, test.precharge_check, test.bank_as_tested),
        *_functions(test, functions),
        *_sequence(test, functions),
        *_station(record, test, functions),
        *_recorder(record, functions),
        *_rule(record),
        *_recharges(record),
    ]
    return sorted(points, key=lambda point: not point.blocks)


def _isolation(test: DrawdownTest) -> Iterator[OpenPoint]:
    pumps = (("electric_pumps_isolated", "electric"), ("air_pumps_isolated", "air"))
    for field, name in pumps:
        if not getattr(test, field):
            yield OpenPoint(
                field,
                f"It is not confirmed that the {name} pumps were isolated: a pump that runs hides what the bank lacks.",
                "Confirm it in the heading, also where the unit has none; otherwise this was no drawdown.",
            )
    if not test.isolation_confirmed_by.strip():
        yield OpenPoint(
            "isolation_confirmed_by", "Nobody is named who saw the pumps isolated.", "Name them in the heading."
        )


def _start(test: DrawdownTest, bank: BankTested) -> Iterator[OpenPoint]:
    if test.start_pressure is None:
        yield OpenPoint("start_pressure", "No start pressure is entered.", "Enter what the charged bank stood at.")
    elif not test.start_settled:
        yield OpenPoint(
            "start_settled",
            "It is not confirmed that the start pressure had settled: charging heats the gas, which then cools.",
            "Wait until it stands steady, read it, and confirm that in the heading.",
        )
    rated = bank.charged
    if test.start_pressure is not None and abs(test.start_pressure.si / rated - 1) > FULL_WITHIN:
        side = "under" if test.start_pressure.si < rated else "over"
        yield OpenPoint(
            "start_pressure",
            f"The test began at {test.start_pressure}, {side} the bank's rated {test.bank.charged_pressure}.",
            "Say in the remarks why: what a bank gives depends on what it is charged to.",
            blocks=False,
        )
    if test.gas_temperature is None:
        yield OpenPoint(
            "gas_temperature",
            "The temperature of the gas is missing: the precharge can't be brought to it.",
            "Enter that of the air or sea the bottles have settled to.",
        )


def _precharge(record: Record, test: DrawdownTest, bank: BankTested) -> Iterator[OpenPoint]:
    check = test.precharge_check
    if check is None:
        yield OpenPoint(
            "precharge_check",
            "No round of precharge readings is named: the limit is counted from the precharge.",
            "Read every bottle with its fluid bled off before the test, and choose the round in the heading.",
        )
        return
    if bank.unread:
        numbers = ", ".join(str(one.number) for one in bank.unread)
        yield OpenPoint(
            "precharge_check",
            f"The round leaves out bottle {numbers}, in service when the test was made.",
            "Choose a round in which every bottle in service was read, or correct the bottle's state on the bank.",
        )
    gauge = test.bank_as_tested["precharge_round"]["instrument"]
    if not is_in_date(gauge, check.taken_at.astimezone(record.rig.zone).date()):
        noted = gauge["serial"].casefold() in record.remarks.casefold()
        yield OpenPoint(
            "precharge_check",
            f"The {gauge['kind_text'].lower()} {gauge['serial']} the precharge was read with was not in calibration on "
            f"{date_text(check.taken_at.astimezone(record.rig.zone))}, as far as its papers showed.",
            f"Name it by its serial number, {gauge['serial']}, in the remarks and say why it was used; the report "
            "prints that. Or read the precharge anew with another.",
            blocks=not noted,
        )
    if record.started_at - check.taken_at > PRECHARGE_IS_OLD_AFTER:
        yield OpenPoint(
            "precharge_check",
            f"The precharge was read on {date_text(check.taken_at.astimezone(record.rig.zone))}, days before the test.",
            "Say in the remarks why it still held, or read it anew.",
            blocks=False,
        )


def _functions(test: DrawdownTest, functions: Sequence[DrawdownFunction]) -> Iterator[OpenPoint]:
    if not functions:
        yield OpenPoint("functions", "The test has no function.", "Add the functions that were worked, in their order.")
    settled = test.judged_state == GasState.SETTLED
    for one in functions:
        pressure = one.pressure_settled if settled else one.pressure_at_once
        explained = bool(one.remarks.strip())
        if pressure is None:
            when = "after the wait" if settled else "at once"
            yield OpenPoint(
                f"function-{one.order}",
                f"{one}: no pressure was read {when}.",
                "Enter it; or, if it was not worked or not read, say so in its remarks: the test then does not pass.",
                blocks=not explained,
            )
        if one.seconds is None and limit_of(one) is not None:
            yield OpenPoint(
                f"function-{one.order}",
                f"{one}: no time was taken, and the rules limit it.",
                "Enter it in seconds; or say in its remarks why there is none: the test then does not pass.",
                blocks=not explained,
            )


def _sequence(test: DrawdownTest, functions: Sequence[DrawdownFunction]) -> Iterator[OpenPoint]:
    if test.wait_seconds is None and any(one.pressure_settled is not None for one in functions):
        yield OpenPoint(
            "wait_seconds",
            "Pressures were read again after a wait, but not after how long.",
            "Enter the wait in the heading: it tells how far the gas had warmed.",
        )
    if test.judged_state == GasState.SETTLED and test.wait_seconds is not None and test.wait_seconds < SURELY_SETTLED_S:
        yield OpenPoint(
            "wait_seconds",
            "The readings judged were taken after less than five minutes: the gas was still warming.",
            "Wait longer, or judge the readings at once.",
            blocks=False,
        )
    if test.pipe_in_hole is None and any(one.component is not None for one in functions):
        yield OpenPoint(
            "pipe_in_hole",
            "No pipe is named: annulars and pipe rams are closed on pipe in a drawdown.",
            "Name its size in the heading; without pipe say in the remarks what they closed on.",
            blocks=False,
        )
    if test.pipe_in_hole is not None:
        for one in functions:
            if one.movement == "close" and one.component is not None and one.component.kind in NEVER_ON_PIPE:
                yield OpenPoint(
                    f"function-{one.order}",
                    f"{one} closes a blind or shear ram, and the heading says pipe stands in the hole.",
                    "Correct the heading, or take the function out: it is never closed on pipe in a drawdown.",
                )


def _station(record: Record, test: DrawdownTest, functions: Sequence[DrawdownFunction]) -> Iterator[OpenPoint]:
    if functions and not test.control_station:
        yield OpenPoint("control_station", "No control station is named.", "Name in the heading the one used.")
    if functions and record.stack.kind == StackKind.SUBSEA and not test.pod:
        yield OpenPoint("pod", "No pod is named.", "Name in the heading the one used.")


def _recorder(record: Record, functions: Sequence[DrawdownFunction]) -> Iterator[OpenPoint]:
    files = list(record.recordings.defer("curve").order_by("received_at", "id"))
    for point in unread(files, ()):
        yield OpenPoint(*point)
    waiting = [one for one in functions if one.proposed and not one.proposed.get("confirmed")]
    if waiting:
        yield OpenPoint(
            "functions",
            "Steps found in the recorder's file wait to be taken over.",
            "Take them over, or set the file aside.",
            blocks=False,
        )


def _rule(record: Record) -> Iterator[OpenPoint]:
    if drawdown_rule(edition_of_record(record), stack=stack_of(record)) is None:
        yield OpenPoint(
            "",
            "The rules this rig follows say nothing of a drawdown: the test can't pass by them.",
            "Choose other rules for the rig before you open the test, or sign it as not passed.",
            blocks=False,
        )


def _recharges(record: Record) -> Iterator[OpenPoint]:
    for one in record.recharges.order_by("order"):
        if one.outcome == Outcome.PENDING:
            yield OpenPoint(
                f"recharge-{one.order}", f"{one}: the rules set no time for it.", "It stands as noted.", blocks=False
            )
