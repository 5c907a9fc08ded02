"""How a recorder's file is laid out: its encoding, separator, column heads, channels and units."""

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta, timezone, tzinfo
from enum import StrEnum
from typing import Final

from calcs.errors import InputError
from calcs.sizes import MEGABYTE, megabytes
from calcs.units import Dimension, canonical_unit, scale
from calcs.witsml_logs import is_xml, log_text

FIELD: Final = "recording"
"""Path named by refusals of the file's content."""

MOST_BYTES: Final = 64 * MEGABYTE
_HEAD_BYTES: Final = 128 * 1024
_HEAD_LINES: Final = 500
_EXPORT: Final = "Export the recording from the recorder's software as text (CSV), and give that file."
_CONTROL: Final = re.compile(rb"[\x00-\x08\x0e-\x19\x1b-\x1f]")

_NUMBER: Final = re.compile(r"[+-]?(\d[\d.,'\s\u00a0\u202f]*|[.,]\d+)(e[+-]?\d+)?", re.IGNORECASE)
_NO_NUMBER: Final = re.compile(r"|[+-]?(nan|inf|infinity)|n/?a|null|none|-+|#.*", re.IGNORECASE)
_DATE: Final = re.compile(r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}")
_TIME_OF_DAY: Final = re.compile(
    r"\d+:\d{2}(:\d{2}([.,]\d+)?)?\s*([ap]\.?m\.?)?(\s*(z|utc|gmt|[+-]\d{2}(:?\d{2})?))?", re.I
)

_INDEX_NAME: Final = re.compile(r"(no|nr|n°|#|id|index|idx|sample|scan|record|row|point|line)\W*", re.IGNORECASE)
_TIME_NAME: Final = re.compile(
    r"time|clock|elapsed|stamp|second|minute|zeit|uhr|tiempo|tempo|hora|heure|\bsec\b|\bt\b|^t_", re.IGNORECASE
)
_DATE_NAME: Final = re.compile(r"date|datum|fecha|\bdato\b|\bdata\b|day", re.IGNORECASE)
_PRESSURE_NAME: Final = re.compile(r"press|druck|presi|trykk|\bp\b|^p_", re.IGNORECASE)
_PRESSURE_UNIT: Final = re.compile(
    r"(?<![a-z])(psi|mbar|bar|kpa|mpa|(?<=[(\[])pa(?=[)\]]))[\s(.]*(gauge|absolute|abs|g|a)?\)?(?![a-z])", re.IGNORECASE
)
_ABSOLUTE_NAME: Final = re.compile(r"\babs(olute)?\b", re.IGNORECASE)
_BRACKETED: Final = re.compile(r"[(\[]\s*([^)\]]+?)\s*[)\]]")
_TIME_UNIT: Final = re.compile(
    r"(?:^|[(\[\s_,/])(ms|s|secs?|seconds?|sek|min|mins|minutes?|h|hrs?|hours?|d|days?)\.?\s*[)\]]?\s*$",
    re.IGNORECASE,
)
_SECONDS: Final = {"ms": 0.001, "s": 1.0, "m": 60.0, "h": 3600.0, "d": 86_400.0}
_UTC: Final = re.compile(r"\b(?:utc|gmt)\b\s*(?:([+-])\s*(1[0-4]|0?\d)(?::?([0-5]\d))?)?", re.IGNORECASE)
_NO_UNIT: Final = re.compile(r"elapsed|time|start|since|begin|test|rig|local", re.IGNORECASE)
"""Words in brackets after the name of a time column that say what it counts from, not its unit."""


class TimeKind(StrEnum):
    """How the time column is written."""

    ELAPSED = "elapsed"
    HOURS_MINUTES_SECONDS = "h:m:s"
    CLOCK = "clock"


@dataclass(frozen=True, slots=True)
class Layout:
    """What to read of a file, and how.

    Attributes:
        skipped_lines: lines before the first sample's.
        separator: between the fields of a line.
        fields: how many fields a line has.
        time: index of the time column.
        date: index of a separate date column, or None.
        pressure: index of the pressure column.
        kind: how the time is written.
        seconds: seconds in one unit of an elapsed time.
        channels: names of the pressure columns.
        channel: name of the one to read.
        unit: its unit.
        zone: the zone of a clock as its column head states it (UTC, UTC+02:00), or None.
    """

    skipped_lines: int
    separator: str
    fields: int
    time: int
    date: int | None
    pressure: int
    kind: TimeKind
    seconds: float
    channels: tuple[str, ...]
    channel: str
    unit: str
    zone: tzinfo | None = None

    def line_of(self, sample: int) -> str:
        """Return the name of a sample's line, counted from 1 as editors do."""
        return f"Line {self.skipped_lines + sample + 1:,}"


def text_bytes(content: str | bytes) -> bytes:
    """Return the content as UTF-8 without byte order mark, lines ended by line feeds; a WITSML log as such text.

    Raises InputError for content that is empty, too large or not text.
    """
    if isinstance(content, str):
        content = content.removeprefix("\ufeff").encode("utf-8", "replace")
    if len(content) > MOST_BYTES:
        raise InputError(
            FIELD, f"The file is larger than {megabytes(MOST_BYTES)}.", "Export the part with the test, as text (CSV)."
        )
    if is_xml(content):
        content = log_text(content)
    content = _decoded(content)
    if not content[:4096].strip() and not content.strip():
        raise InputError(FIELD, "The file is empty.", _EXPORT)
    if _CONTROL.search(content[:65536]) or b"\x00" in content:
        raise InputError(FIELD, "The file is not text (it holds binary data).", _EXPORT)
    if b"\n" not in content and b"\r" in content:
        return content.replace(b"\r", b"\n")
    return content


def _decoded(content: bytes) -> bytes:
    """Return UTF-8 whatever the recorder's computer wrote: UTF-16 with or without mark, or a Windows code page."""
    encoding = None
    if content.startswith(b"\xef\xbb\xbf"):
        content = content[3:]
    elif content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    elif len(content) > 3 and content[:200:2].strip(b"\x00") and not content[1:200:2].strip(b"\x00"):
        encoding = "utf-16-le"
    elif len(content) > 3 and content[1:200:2].strip(b"\x00") and not content[:200:2].strip(b"\x00"):
        encoding = "utf-16-be"
    if encoding is None and not content.isascii():
        try:
            content.decode("utf-8")
        except UnicodeDecodeError:
            encoding = "cp1252"
    return content if encoding is None else content.decode(encoding, "replace").encode("utf-8")


@dataclass(frozen=True, slots=True)
class _Table:
    """The top of a file, split into fields: the first sample and the column heads above it."""

    separator: str
    first_line: int
    sample: list[str]
    names: list[str]
    has_head: bool


def layout_of(text: bytes, *, pressure_unit: str | None, channel: str | None) -> Layout:
    """Return the layout of a file; raises InputError for one that can't be read for certain."""
    table = _table_of(text)
    time, date, kind = _time_column(table)
    channels = _channels(table, {time, date}, pressure_unit)
    pressure, name = _chosen(channels, channel)
    return Layout(
        skipped_lines=table.first_line,
        separator=table.separator,
        fields=len(table.sample),
        time=time,
        date=date,
        pressure=pressure,
        kind=kind,
        seconds=_seconds(table.names[time]) if kind is TimeKind.ELAPSED else 1.0,
        channels=tuple(channels),
        channel=name,
        unit=_unit(table.names[pressure], pressure_unit),
        zone=_stated_zone(table.names[time], "" if date is None else table.names[date]),
    )


def channel_names(text: bytes, *, pressure_unit: str | None) -> tuple[str, ...]:
    """Return the names of the columns of a file that can be its pressure, in its order."""
    table = _table_of(text)
    time, date, _ = _time_column(table)
    return tuple(_channels(table, {time, date}, pressure_unit))


def _table_of(text: bytes) -> _Table:
    lines = text[:_HEAD_BYTES].decode("utf-8", "replace").split("\n")[:_HEAD_LINES]
    return _table([line.rstrip("\r").replace("\r", " ") for line in lines])


def split_line(line: str, separator: str) -> list[str]:
    """Return the fields of a line, quotation marks and spaces around them taken off."""
    try:
        fields = next(csv.reader([line.replace("\r", " ")], delimiter=separator), [])
    except csv.Error:  # a field longer than any a recorder writes
        fields = line.split(separator)
    return [field.strip(" \u00a0") for field in fields]


def _table(lines: list[str]) -> _Table:
    filled = [number for number, line in enumerate(lines) if line.strip()]
    for place, number in enumerate(filled):
        following = lines[filled[place + 1]] if place + 1 < len(filled) else None
        for separator in "\t;,":
            sample = split_line(lines[number], separator)
            if not _is_sample(sample):
                continue
            above = [lines[index] for index in filled[max(0, place - 2) : place]]
            headed = bool(above) and any(map(_looks_like_head, split_line(above[-1], separator)))
            if headed or following is None or _is_sample(split_line(following, separator)):
                return _with_head(separator, number, sample, above)
    single = sum(bool(_NUMBER.fullmatch(lines[number].strip())) for number in filled) > 1
    if single:
        raise InputError(FIELD, "The file has one column only.", "Export time and pressure, in two columns.")
    raise InputError(FIELD, "No lines with a time and a pressure were found in the file.", _EXPORT)


def _is_sample(fields: Sequence[str]) -> bool:
    """Tell a line of samples: it begins with a number or time, and a number (or its absence) follows."""
    if len(fields) < 2 or not _is_time(fields[0]):
        return False
    rest = [field for field in fields[1:] if _is_time(field) or _NO_NUMBER.fullmatch(field)]
    return bool(rest)


def _is_time(field: str) -> bool:
    if _NUMBER.fullmatch(field) or _TIME_OF_DAY.fullmatch(field) or _DATE.fullmatch(field):
        return True
    date = _DATE.match(field)
    return bool(date and _TIME_OF_DAY.fullmatch(field[date.end() :].lstrip("Tt ")))


def _with_head(separator: str, number: int, sample: list[str], above: list[str]) -> _Table:
    heads = [split_line(line, separator) for line in above]
    count = len(_trimmed(sample))
    fitting = [head for head in heads if len(_trimmed(head)) >= 2 and len(head) in {len(sample), count}]
    if heads and heads[-1] in fitting and _is_time(heads[-1][0]):
        raise InputError(
            FIELD,
            f"Line {number:,} looks like a sample, but can't be read as one.",
            "Correct that line or export the recording again; no sample is ever skipped.",
        )
    if heads and heads[-1] in fitting:
        names = heads[-1]
        if len(fitting) == 2 and all(_is_bare_unit(name) for name in names):
            names = [f"{name} [{unit.strip('()[]')}]" if unit else name for name, unit in zip(*fitting, strict=False)]
        names = [*names, *[""] * (len(sample) - len(names))]
        return _Table(separator, number, sample, names, has_head=True)
    if heads and len(_trimmed(heads[-1])) >= 2 and any(map(_looks_like_head, heads[-1])):
        raise InputError(
            FIELD,
            f"Line {number + 1:,} has {len(sample)} fields, the column head above it has {len(heads[-1])}.",
            "If decimals are written with a comma, separate the fields with semicolons or tabs.",
        )
    if count > 2 and not (_DATE.fullmatch(sample[0]) and count == 3):
        raise InputError(
            FIELD,
            f"Line {number + 1:,} has {count} fields and no column head says which is the pressure.",
            "Export with column heads; if decimals are written with a comma, separate the fields with semicolons.",
        )
    return _Table(separator, number, sample, [""] * len(sample), has_head=False)


def _trimmed(fields: Sequence[str]) -> list[str]:
    """Return the fields without the empty ones a trailing separator leaves."""
    kept = list(fields)
    while kept and not kept[-1]:
        kept.pop()
    return kept


def _is_bare_unit(name: str) -> bool:
    bare = name.strip("()[] ")
    return not bare or bool(
        _PRESSURE_UNIT.fullmatch(bare)
        or _TIME_UNIT.fullmatch(bare)
        or re.fullmatch(r"[^\w\s]*[A-Za-z/³²%°]{1,6}", bare)
    )


def _looks_like_head(name: str) -> bool:
    return bool(_TIME_NAME.search(name) or _PRESSURE_UNIT.search(name) or _PRESSURE_NAME.search(name))


def _time_column(table: _Table) -> tuple[int, int | None, TimeKind]:
    """Return the index of the time column, of a separate date column if any, and how time is written."""
    sample, names = table.sample, table.names
    timely = [index for index, field in enumerate(sample) if _is_time(field)]
    dates = [index for index in timely if _DATE.fullmatch(sample[index])]
    days = [index for index in timely if _TIME_OF_DAY.fullmatch(sample[index])]
    if dates and days:
        return days[0], dates[0], TimeKind.CLOCK
    named = [index for index in timely if _TIME_NAME.search(names[index]) and not _PRESSURE_UNIT.search(names[index])]
    dated = [index for index in timely if _DATE_NAME.search(names[index]) and _DATE.match(sample[index])]
    others = [index for index in timely if not _INDEX_NAME.fullmatch(names[index])]
    index = [*dated, *named, *others, *timely][0]
    return index, None, _kind(sample[index], table)


def _kind(field: str, table: _Table) -> TimeKind:
    if _DATE.fullmatch(field):
        raise InputError(
            FIELD,
            f"Line {table.first_line + 1:,}: {field!r} is a date without a time.",
            "Export elapsed seconds, or a clock as in 2026-03-31T14:32:10+01:00.",
        )
    if _DATE.match(field):
        return TimeKind.CLOCK
    return TimeKind.HOURS_MINUTES_SECONDS if ":" in field else TimeKind.ELAPSED


def _seconds(name: str) -> float:
    """Return the seconds in one unit of elapsed time; seconds unless the column head says otherwise."""
    bracketed = _BRACKETED.search(name)
    unit = _TIME_UNIT.search(name) or (bracketed and _TIME_UNIT.search(bracketed[1]))
    if not unit:
        if bracketed and not _NO_UNIT.search(bracketed[1]):
            raise InputError(
                FIELD,
                f"The unit {bracketed[1]!r} of the column {name!r} is not a known unit of time.",
                "Write it in the column head as s, min or h: Time (s).",
            )
        return 1.0
    text = unit[1].lower()
    return _SECONDS["ms"] if text == "ms" else _SECONDS[text[0]]


def _stated_zone(*names: str) -> tzinfo | None:
    """Return the zone the heads of a clock's columns state: UTC, or so far from it; None where they state none."""
    for name in names:
        found = _UTC.search(name)
        if found is not None:
            away = timedelta(hours=int(found[2] or 0), minutes=int(found[3] or 0))
            return timezone(-away if found[1] == "-" else away)
    return None


def _channels(table: _Table, used: set[int | None], pressure_unit: str | None) -> dict[str, int]:
    """Return the pressure columns by name: those whose head has a pressure unit, or failing that a number."""
    names = table.names
    free = [index for index, field in enumerate(table.sample) if index not in used and _is_plain(field)]
    free = [index for index in free if not _INDEX_NAME.fullmatch(names[index])] or free
    with_unit = [index for index in free if _PRESSURE_UNIT.search(names[index])]
    unclaimed = [index for index in free if not _BRACKETED.search(names[index])]
    called = [index for index in free if _PRESSURE_NAME.search(names[index])]
    chosen = with_unit or (pressure_unit is not None and called) or called or unclaimed or free
    if not chosen:
        raise InputError(
            FIELD,
            f"Line {table.first_line + 1:,}: no column with a pressure was found.",
            "Export time and pressure, in two columns with heads, for instance: Time (s); Pressure (psi).",
        )
    found: dict[str, int] = {}
    for index in chosen:
        name = names[index] or f"column {index + 1}"
        found[f"{name} (column {index + 1})" if name in found else name] = index
    return found


def _is_plain(field: str) -> bool:
    return bool(_NUMBER.fullmatch(field) or _NO_NUMBER.fullmatch(field))


def _chosen(channels: dict[str, int], channel: str | None) -> tuple[int, str]:
    if channel is None:
        name = next(iter(channels))
        return channels[name], name
    wanted = channel.strip().casefold()
    for name, index in channels.items():
        if wanted in {name.casefold(), _PRESSURE_UNIT.sub("", name).strip(" ([])_,/-").casefold()}:
            return index, name
    listed = "; ".join(channels)
    raise InputError(
        "channel", f"The file has no pressure channel {channel.strip()!r}.", f"Its channels are: {listed}."
    )


def _unit(name: str, pressure_unit: str | None) -> str:
    """Return the unit of the pressure column from its head or as given; both must agree."""
    found = _PRESSURE_UNIT.search(name)
    if found is None:
        return _given_unit(name, pressure_unit)
    unit = canonical_unit(found[1])
    if (found[2] or "").lower().startswith("a") or _ABSOLUTE_NAME.search(name):
        raise InputError(
            FIELD,
            f"The column {name!r} holds absolute pressure; gauge pressure is expected.",
            "Export gauge pressure, or choose a channel that is in gauge.",
        )
    if pressure_unit is not None and scale(pressure_unit, Dimension.PRESSURE, field="pressure_unit") != scale(
        unit, Dimension.PRESSURE
    ):
        raise InputError(
            "pressure_unit",
            f"The column head {name!r} says {unit}, but {pressure_unit.strip()} was given.",
            "Leave the unit out to take the one of the column head, or correct the file's head.",
        )
    return unit


def _given_unit(name: str, pressure_unit: str | None) -> str:
    remedy = "Choose the unit (psi, bar, kPa or MPa, gauge), or write it in the column head: Pressure (psi)."
    bracketed = _BRACKETED.search(name)
    if bracketed is not None:
        raise InputError(
            FIELD, f"The unit {bracketed[1]!r} of the column {name!r} is not a known pressure unit.", remedy
        )
    if pressure_unit is None:
        raise InputError(FIELD, "The file does not say the unit of its pressures.", remedy)
    scale(pressure_unit, Dimension.PRESSURE, field="pressure_unit")
    return canonical_unit(pressure_unit)
