"""What the open points of drawdown and pump tests share."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from accounts.presentation import date_text
from equipment.models import Bank, PrechargeCheck
from tests_app.models import InstrumentUse, Record
from tests_app.queries.banks_tested import copy_of, with_readings_of
from tests_app.queries.banks_tested import day_of as day_at_bank
from tests_app.queries.completeness import OpenPoint, day_of, is_in_date


def conclusion(record: Record) -> Iterator[OpenPoint]:
    """Ask when the test was over."""
    if record.concluded_at is None:
        yield OpenPoint(
            "concluded_at", "The test is not concluded.", "Say when it was over: deadlines count from then."
        )


def instruments(record: Record) -> Iterator[OpenPoint]:
    """Ask for the gauge or recorder, and for a calibration in date or a word on it in the remarks."""
    uses = list(record.instrument_uses.select_related("instrument"))
    if not uses:
        yield OpenPoint("instruments", "No instrument is named.", "Name the gauge or recorder the test was read from.")
    yield from calibrations(record, uses)


def calibrations(record: Record, uses: Iterable[InstrumentUse]) -> Iterator[OpenPoint]:
    """Ask for a calibration in date of each instrument used, or for a word on it in the remarks."""
    day = day_of(record)
    for use in uses:
        noted = use.instrument.serial.casefold() in record.remarks.casefold()
        if is_in_date(use.as_used, day) is not True and not noted:
            yield OpenPoint(
                "instruments",
                f"{use.instrument} was not in calibration on {date_text(day)}, as far as its papers on file show.",
                f"Name it by its serial number, {use.instrument.serial}, in the remarks and say why it was used; "
                "the report prints that. Or enter its calibration.",
            )


def bank_moved_on(record: Record, bank: Bank, check: PrechargeCheck | None, kept: Mapping[str, Any]) -> list[OpenPoint]:
    """Point out that the bank on file is not what the test copied: another figure, bottle or reading stands there.

    Of a correction only the readings are looked at: its bank is that of the record it corrects. A bottle shut off or
    opened since does not block: its state is on file by the day only, and a bottle opened after the test, on the same
    day, must not be taken for one that was open in it.
    """
    if record.supersedes_id is not None:
        now = with_readings_of(kept, check)
    else:
        now = copy_of(bank, check, day=day_at_bank(record.started_at, bank))
    if now == kept:
        return []
    states_only = _without_states(now) == _without_states(kept)
    return [
        OpenPoint(
            "bank",
            "A bottle on file is not in the state this test counts it in."
            if states_only
            else "The bank, a bottle or a precharge reading on file was changed after this test copied it.",
            "Open the heading and save it: the bank is copied anew as of the day of the test.",
            blocks=not states_only,
        )
    ]


def _without_states(copy: Mapping[str, Any]) -> dict[str, Any]:
    states = ("state", "state_text", "state_reason")
    bottles = [{name: value for name, value in one.items() if name not in states} for one in copy["bottles"]]
    return {**copy, "bottles": bottles}
