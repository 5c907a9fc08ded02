"""The sealed content of a record of any kind: everything its paper prints, copied once. See `documents.content`."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from tests_app.documents.drawdown_snapshot import drawdown_content
from tests_app.documents.function_snapshot import function_content
from tests_app.documents.pressure_snapshot import pressure_content
from tests_app.documents.pump_snapshot import pump_content
from tests_app.models import Record, RecordKind

_BY_KIND: Final[Mapping[str, Callable[[Record], Any]]] = {
    RecordKind.PRESSURE: pressure_content,
    RecordKind.DRAWDOWN: drawdown_content,
    RecordKind.PUMP: pump_content,
    RecordKind.FUNCTION: function_content,
}


def content_of(record: Record) -> Any:
    """Return the content of a record that is being sealed, from its rows. A constant number of queries."""
    return _BY_KIND[record.kind](record)
