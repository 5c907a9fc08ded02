"""What drawdown and pump tests share: a held draft of either kind, and judging it by its own rules."""

from typing import Any, Final

from equipment.errors import Refused
from tests_app.actions.drafts import hold_draft
from tests_app.actions.drawdown_judging import judge_drawdown_record, judge_pump_record
from tests_app.models import PumpReading, Recharge, Record, RecordKind
from trail import entries

_JUDGED: Final = ("verdict", "limits", "outcome")
"""Columns of a part that are worked out anew from the others: the trail keeps what was entered."""


def hold_bank_draft(record: Record) -> Record:
    """Lock a draft of a drawdown or pump test and return it afresh; raises as `hold_draft`, Refused for other kinds."""
    held = hold_draft(record)
    if held.kind not in (RecordKind.DRAWDOWN, RecordKind.PUMP):
        raise Refused("", f"{held} is no test of an accumulator bank.", "Open one from the page of the bank.")
    return held


def judge_bank_record(record: Record) -> None:
    """Judge a held drawdown or pump test anew."""
    if record.kind == RecordKind.DRAWDOWN:
        judge_drawdown_record(record)
    else:
        judge_pump_record(record)


def told_of_part(part: Recharge | PumpReading) -> dict[str, Any]:
    """Return a part of a test as the trail keeps it: what was entered, not what was judged of it."""
    return {name: value for name, value in entries.snapshot(part).items() if name not in _JUDGED}
