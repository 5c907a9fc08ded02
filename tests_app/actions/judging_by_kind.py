"""Judging a held record anew, whatever its kind."""

from collections.abc import Callable, Mapping
from typing import Final

from tests_app.actions.drawdown_judging import judge_drawdown_record, judge_pump_record
from tests_app.actions.function_judging import judge_function_record
from tests_app.actions.judging import judge_all
from tests_app.models import Record, RecordKind

_BY_KIND: Final[Mapping[str, Callable[[Record], None]]] = {
    RecordKind.PRESSURE: judge_all,
    RecordKind.DRAWDOWN: judge_drawdown_record,
    RecordKind.PUMP: judge_pump_record,
    RecordKind.FUNCTION: judge_function_record,
}


def judge_record(record: Record) -> None:
    """Judge a record by its rows and files as kept; call it on one held by `drafts.hold_draft`."""
    _BY_KIND[record.kind](record)
