"""What a draft of any kind still lacks before it can be signed."""

from collections.abc import Callable, Mapping
from typing import Final

from tests_app.models import Record, RecordKind
from tests_app.queries import completeness
from tests_app.queries.completeness import OpenPoint
from tests_app.queries.drawdown_completeness import drawdown_points
from tests_app.queries.function_completeness import function_points
from tests_app.queries.pump_completeness import pump_points

_BY_KIND: Final[Mapping[str, Callable[[Record], list[OpenPoint]]]] = {
    RecordKind.PRESSURE: completeness.open_points,
    RecordKind.DRAWDOWN: drawdown_points,
    RecordKind.PUMP: pump_points,
    RecordKind.FUNCTION: function_points,
}


def open_points(record: Record) -> list[OpenPoint]:
    """Return what keeps a draft from being signed, then what is worth a look. A constant number of queries."""
    return _BY_KIND[record.kind](record)
