"""Logs of the open WITSML standard (Energistics, Data Schema Specification 1.4.1.1), as the text of a recorder's file.

Only what a pressure test needs is read: one log indexed by time, its curves with their units, its rows. Element names
and meanings are from memory of the standard. The XML is read by expat without its declarations of types: a file that
brings any is refused, so that no entity is ever expanded and nothing outside the file is looked at.
"""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final
from xml.parsers import expat

from calcs.errors import InputError
from calcs.units import Dimension, scale

_FIELD: Final = "recording"
_VERSION: Final = "1.4.1"
_NAMESPACE: Final = "http://www.witsml.org/schemas/1series"
_SPLIT: Final = "\x1f"
_DEEPEST: Final = 30
_MOST_ROWS: Final = 1_000_000
_MOST_CURVES: Final = 500
_FARTHEST_HEAD: Final = 400
"""Lines above the first row of data up to which the rows keep the numbers of their lines."""
_BY_TIME: Final = "date time"
_ELAPSED: Final = "elapsed time"
_EXPORT: Final = "Export the time-indexed log with its data, as WITSML 1.4.1.1, or as text (CSV)."
_NO_UNIT: Final = frozenset({"", "unitless", "Euc", "none"})
_KEPT: Final = frozenset(
    {"name", "indexType", "indexCurve", "nullValue", "dataDelimiter", "mnemonicList", "unitList", "data"}
)


def is_xml(content: bytes) -> bool:
    """Tell whether a file begins as XML does, in any encoding a recorder's software writes."""
    start = content[:64].removeprefix(b"\xef\xbb\xbf").removeprefix(b"\xff\xfe").removeprefix(b"\xfe\xff")
    return start.replace(b"\x00", b"").lstrip().startswith(b"<")


def log_text(content: bytes) -> bytes:
    """Return the one log of a WITSML file as CSV in UTF-8: the time first, each curve with its unit in its head.

    Where each row of data stands on a line of its own, the lines of the text have the same numbers.
    Raises InputError (``recording``) naming what is missing or can't be read for certain.
    """
    log = _read(content)
    curves = _curves(log)
    place = _index_place(log, curves)
    out = io.StringIO()
    out.write("\n" * _lines_above(log))
    writer = csv.writer(out, lineterminator="\n")
    order = [place, *(number for number in range(len(curves)) if number != place)]
    writer.writerow([_head_of_time(log, curves[place]), *(curves[number].head for number in order[1:])])
    for row in _rows(log, curves):
        writer.writerow([row[number] for number in order])
    return out.getvalue().encode()


@dataclass(frozen=True, slots=True)
class _Curve:
    name: str
    unit: str
    null: str

    @property
    def head(self) -> str:
        return self.name if self.unit in _NO_UNIT else f"{self.name} ({self.unit})"

    @property
    def is_pressure(self) -> bool:
        try:
            scale(self.unit, Dimension.PRESSURE, field=_FIELD)
        except InputError:
            return False
        return True


@dataclass
class _Log:
    """What was found of a log: single values by element, rows of data with their lines, null values by curve."""

    values: dict[str, str] = field(default_factory=dict)
    rows: list[str] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    nulls: dict[str, str] = field(default_factory=dict)


def _read(content: bytes) -> _Log:
    found = _Walk()
    parser = expat.ParserCreate(namespace_separator=_SPLIT)
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = _refuse_declarations
    parser.StartElementHandler = lambda name, attributes: found.open(name, attributes, parser.CurrentLineNumber)
    parser.EndElementHandler = found.close
    parser.CharacterDataHandler = found.text
    try:
        parser.Parse(content, True)
    except expat.ExpatError as error:
        raise InputError(
            _FIELD, f"Line {error.lineno:,}: the XML is broken or cut off ({expat.ErrorString(error.code)}).", _EXPORT
        ) from error
    if len(found.logs) != 1:
        names = ", ".join(log.values.get("name", "without a name") for log in found.logs[:5])
        told = f"{len(found.logs)} logs ({names})" if found.logs else "no log"
        raise InputError(_FIELD, f"The WITSML file holds {told}.", "Export the one log with the test.")
    return found.logs[0]


def _refuse_declarations(*_: Any) -> None:
    raise InputError(
        _FIELD,
        "The XML declares a document type, which a WITSML log has no use for and which can hide what is read.",
        "Export the log anew; if the declaration stays, take it out or export as text (CSV).",
    )


class _Walk:
    """Follows the elements of the file and keeps what a log needs of them."""

    def __init__(self) -> None:
        self.logs: list[_Log] = []
        self._path: list[str] = []
        self._words: list[str] = []
        self._line = 0
        self._curve = ""

    def open(self, name: str, attributes: dict[str, str], line: int) -> None:
        space, _, local = name.rpartition(_SPLIT)
        if not self._path:
            _check_root(space, local, attributes.get("version", ""))
        if len(self._path) >= _DEEPEST:
            raise InputError(_FIELD, "The XML is nested deeper than any WITSML log.", _EXPORT)
        self._path.append(local)
        self._words, self._line = [], line
        if local == "log":
            self.logs.append(_Log())
        elif local == "logCurveInfo":
            self._curve = ""

    def text(self, words: str) -> None:
        self._words.append(words)

    def close(self, _: str) -> None:
        local = self._path.pop()
        if self.logs:
            self._keep(local, self._path[-1] if self._path else "", "".join(self._words).strip())
        self._words = []

    def _keep(self, local: str, parent: str, words: str) -> None:
        log = self.logs[-1]
        if parent == "logCurveInfo":
            if local == "mnemonic":
                self._curve = words
            elif local == "nullValue":
                log.nulls[self._curve] = words
        elif local == "data":
            if len(log.rows) == _MOST_ROWS:
                raise InputError(
                    _FIELD, f"The log has more than {_MOST_ROWS:,} rows.", "Export the part with the test."
                )
            log.rows.append(words)
            log.lines.append(self._line)
        elif local in _KEPT and log.values.setdefault(local, words) != words and parent == "logData":
            raise InputError(_FIELD, "The log has several parts with other curves.", "Export one of them.")


def _check_root(space: str, local: str, version: str) -> None:
    if local not in ("logs", "log"):
        raise InputError(_FIELD, f"The file is XML, but no WITSML log: it begins with <{local}>.", _EXPORT)
    if space != _NAMESPACE or (version and not version.startswith(_VERSION)):
        told = version or space or "without a version"
        raise InputError(_FIELD, f"The log is not of WITSML 1.4.1.1 but {told}.", "Export it as WITSML 1.4.1.1.")


def _curves(log: _Log) -> list[_Curve]:
    """Return the curves in the order of the data; raises InputError for what is missing of them."""
    for name, words in (("mnemonicList", "the names of its curves"), ("unitList", "the units of its curves")):
        if not log.values.get(name):
            raise InputError(_FIELD, f"The log lacks {words} (<{name}>).", _EXPORT)
    if not log.rows:
        raise InputError(_FIELD, "The log has no data (<data>).", _EXPORT)
    names, units = (_fields(log.values[name], ",") for name in ("mnemonicList", "unitList"))
    if len(names) != len(units) or len(names) > _MOST_CURVES:
        raise InputError(
            _FIELD,
            f"The log names {len(names)} curves but {len(units)} units.",
            "Give a unit for each curve.",
        )
    everywhere = log.values.get("nullValue", "")
    curves = [_Curve(name, unit, log.nulls.get(name) or everywhere) for name, unit in zip(names, units, strict=True)]
    if not any(curve.is_pressure for curve in curves):
        told = ", ".join(curve.head for curve in curves[:8])
        raise InputError(
            _FIELD, f"No curve of the log has a unit of pressure: {told}.", "Export the pressure curve with its unit."
        )
    return curves


def _index_place(log: _Log, curves: Sequence[_Curve]) -> int:
    kind, name = log.values.get("indexType", ""), log.values.get("indexCurve", "")
    if kind not in (_BY_TIME, _ELAPSED):
        raise InputError(_FIELD, f"The log is indexed by {kind or 'nothing'} (<indexType>), not by time.", _EXPORT)
    if not name:
        raise InputError(_FIELD, "The log does not say which curve is its index (<indexCurve>).", _EXPORT)
    found = [number for number, curve in enumerate(curves) if curve.name == name]
    if not found:
        raise InputError(_FIELD, f"Its index, “{name}”, is none of the curves of its data.", _EXPORT)
    return found[0]


def _head_of_time(log: _Log, index: _Curve) -> str:
    if log.values["indexType"] == _BY_TIME:
        return "Time"
    if index.unit in _NO_UNIT:
        raise InputError(_FIELD, f"The elapsed time, “{index.name}”, has no unit.", "Export it with s, min or h.")
    return f"Time ({index.unit})"


def _lines_above(log: _Log) -> int:
    """Return how many lines to leave empty so that rows keep the numbers of their lines; none where they can't."""
    first = log.lines[0]
    consecutive = log.lines == list(range(first, first + len(log.lines)))
    return first - 2 if consecutive and 2 <= first <= _FARTHEST_HEAD else 0


def _rows(log: _Log, curves: Sequence[_Curve]) -> Iterator[list[str]]:
    """Yield the fields of each row; a value that stands for none is left blank, and the reader refuses it."""
    separator = log.values.get("dataDelimiter") or ","
    for line, row in zip(log.lines, log.rows, strict=True):
        fields = _fields(row, separator)
        if len(fields) != len(curves):
            raise InputError(
                _FIELD, f"Line {line:,}: {len(fields)} values stand for {len(curves)} curves.", "Export the log anew."
            )
        yield ["" if curve.null and value == curve.null else value for value, curve in zip(fields, curves, strict=True)]


def _fields(line: str, separator: str) -> list[str]:
    if '"' not in line:
        return [part.strip() for part in line.split(separator)]
    return [part.strip() for part in next(csv.reader([line], delimiter=separator[:1]), [])]
