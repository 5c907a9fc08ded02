"""The columns of a recorder's file as numbers: plain ones fast, all other spellings with care.

The fast way takes plain decimal points and clocks of one even layout. Whatever does not fit is read again
as text, cleaned, and if a field still can't be understood its line is named.
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt
import polars as pl

from calcs.errors import InputError
from calcs.recording_layouts import FIELD, Layout, TimeKind, split_line
from calcs.units import Dimension, scale, to_si

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

_END_BYTES: Final = 4096
_MICRO: Final = 1_000_000
_POWERS: Final = (10_000_000, 1_000_000, 100_000, 10_000, 1_000, 100, 10, 1)
"""µs of each digit of seconds: two before the point, six after it."""
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_QUARTER_HOUR_S: Final = 900
_YEARS: Final = tuple(
    (datetime(year, 1, 1, tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
    for year in (1900, 2200)
)
"""First and last (exclusive) clock time read, in µs since 1970."""
_FARTHEST_OFFSET_S: Final = 14 * 3600
_GROUPED: Final = r"^[+-]?[1-9]\d{0,2}(,\d{3})+$"
_GROUPED_BY_COMMA: Final = r"^[+-]?\d{1,3}(,\d{3})+(\.\d*)?$"
_GROUPED_BY_POINT: Final = r"^[+-]?\d{1,3}(\.\d{3})+(,\d*)?$"
_SPACE: Final = r"[\s\u00a0\u202f']"
_GROUPED_BY_SPACE: Final = rf"^[+-]?\d{{1,3}}({_SPACE}\d{{3}})+([.,]\d*)?$"
_HIGHEST: Final = to_si(60_000.0, "psi", Dimension.PRESSURE)
_EVEN_CLOCK: Final = re.compile(
    r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}:(?P<seconds>\d{2}(\.\d+)?)(?P<offset>Z|[+-]\d{2}(:?[0-5]\d)?)?"
)
_ANY_CLOCK: Final = (
    r"^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})[Tt\s]\s*(\d{1,2}):(\d{2})(?::([0-5]\d(?:[.,]\d+)?))?"
    r"\s*([Zz]|UTC|GMT|[+-]\d{2}:?[0-5]\d|[+-]\d{2})?$"
)
# The reader panics, rather than raises, on a quotation mark that is the last thing in a file.
_UNREADABLE: Final = (pl.exceptions.PolarsError, pl.exceptions.PanicException)
_SEPARATION_REMEDY: Final = (
    "Export with one separator throughout (comma, semicolon or tab) and without quotation marks."
)
_CLOCK_REMEDY: Final = "Write the clock as in 2026-03-31T14:32:10+01:00, or export elapsed seconds."


def read_columns(
    text: bytes, layout: Layout, zone: tzinfo | None, most: int
) -> tuple[FloatArray, FloatArray, datetime | None]:
    """Return elapsed seconds from 0, pressures in the layout's unit, and the aware time of the first sample.

    Raises InputError on ``recording`` naming the line of the first field that can't be read.
    """
    text = _without_empty_end(text)
    frame = _plain_frame(text, layout)
    if frame is None:
        frame = _clean_frame(text, layout, most)
    _refuse_more(frame.height, most)
    _refuse_lost_lines(text, layout, frame.height)
    pressures = frame["pressure"].to_numpy()
    _refuse_not_finite(pressures, layout)
    if layout.kind is TimeKind.CLOCK:
        times, started_at = _clock(frame["time"], layout, layout.zone or zone)
        return times, pressures, started_at
    times = frame["time"].to_numpy() * layout.seconds
    _refuse_not_finite(times, layout)
    return times - times[0], pressures, None


def _refuse_more(count: int, most: int) -> None:
    if count > most:
        raise InputError(
            FIELD,
            f"The file has {count:,} samples, more than {most:,}.",
            "Export the part with the test, or export at a longer interval, and give several files if need be.",
        )


def _refuse_not_finite(numbers: FloatArray, layout: Layout) -> None:
    finite = np.isfinite(numbers)
    if not bool(finite.all()):
        at = int(np.argmin(finite))
        _refuse_blank(layout, at, "NaN" if np.isnan(numbers[at]) else "infinity")


def _refuse_blank(layout: Layout, sample: int, given: str) -> None:
    what = "a field is blank" if not given.strip() else f"{given.strip()!r} is not a number"
    raise InputError(
        FIELD,
        f"{layout.line_of(sample)}: {what}.",
        "Export the recording again without it; a missing sample is never filled in.",
    )


def _without_empty_end(text: bytes) -> bytes:
    """Return the text without empty lines at its end; untouched, as it is large, where there are none."""
    end = text[-_END_BYTES:]
    kept = end.rstrip(b" \t\r\n\x1a;,")
    if kept and end[len(kept) :] in {b"", b"\n", b"\r\n"}:
        return text
    return text.rstrip(b" \t\r\n\x1a;,")


def _read(
    text: bytes, layout: Layout, types: dict[str, type[pl.DataType]], *, cut_long_lines: bool = False
) -> pl.DataFrame:
    """Read the wanted columns under our own names, as text but for those in `types`."""
    wanted = {layout.pressure: "pressure", layout.time: "time", layout.date: "date"}
    names = [wanted.get(index, f"column {index + 1}") for index in range(layout.fields)]
    return pl.read_csv(
        text,
        has_header=False,
        skip_lines=layout.skipped_lines,
        separator=layout.separator,
        columns=sorted(index for index in wanted if index is not None),
        schema={name: types.get(name, pl.String) for name in names},
        truncate_ragged_lines=cut_long_lines,
    )


def _plain_frame(text: bytes, layout: Layout) -> pl.DataFrame | None:
    """Return the columns read as plain numbers (the clock as text), or None where that can't be done."""
    types: dict[str, type[pl.DataType]] = {"pressure": pl.Float64}
    if layout.kind is TimeKind.ELAPSED:
        types["time"] = pl.Float64
    if layout.kind is TimeKind.HOURS_MINUTES_SECONDS or layout.date is not None:
        return None
    try:
        frame = _read(text, layout, types)
    except _UNREADABLE:
        return None
    return None if any(frame.null_count().row(0)) else frame


def _clean_frame(text: bytes, layout: Layout, most: int) -> pl.DataFrame:
    """Return the columns read as text and cleaned: decimal commas, thousands, quotes, dates beside times."""
    frame = _text_frame(text, layout)
    _refuse_more(frame.height, most)
    frame = frame.with_columns(pl.all().fill_null("").str.strip_chars(" \t\u00a0\r"))
    pressure = _number_column(frame["pressure"], layout, _largest(layout))
    if layout.kind is TimeKind.ELAPSED:
        return pl.DataFrame({"time": _number_column(frame["time"], layout, None), "pressure": pressure})
    if layout.kind is TimeKind.HOURS_MINUTES_SECONDS:
        return pl.DataFrame({"time": _sexagesimal(frame["time"], layout), "pressure": pressure})
    clock = frame["time"] if layout.date is None else frame["date"] + "T" + frame["time"]
    return pl.DataFrame({"time": clock, "pressure": pressure})


def _text_frame(text: bytes, layout: Layout) -> pl.DataFrame:
    try:
        return _read(text, layout, {})
    except _UNREADABLE:
        _refuse_open_quotation(text, layout)
        _refuse_long_line(text, layout)
    try:
        return _read(text, layout, {}, cut_long_lines=True)
    except _UNREADABLE as error:
        raise InputError(FIELD, "The lines of the file can't be parted into fields.", _SEPARATION_REMEDY) from error


def _refuse_lost_lines(text: bytes, layout: Layout, samples: int) -> None:
    """Refuse lines swallowed by a quotation mark that is closed on a later one, if only in a remark."""
    if b'"' not in text:
        return
    lines = text.count(b"\n") + (not text.endswith(b"\n")) - layout.skipped_lines
    if samples != lines:
        _refuse_open_quotation(text, layout)


def _refuse_open_quotation(text: bytes, layout: Layout) -> None:
    for sample, line in enumerate(text.split(b"\n")[layout.skipped_lines :]):
        if line.count(b'"') % 2:
            raise InputError(
                FIELD,
                f"{layout.line_of(sample)}: a quotation mark has no other to it on that line.",
                "Correct that line or export the recording again; no sample is ever skipped.",
            )


def _refuse_long_line(text: bytes, layout: Layout) -> None:
    """Refuse a line with more in it than the first sample: a decimal comma between commas would be cut off."""
    separator = layout.separator.encode()
    for sample, line in enumerate(text.split(b"\n")[layout.skipped_lines :]):
        if line.count(separator) < layout.fields:
            continue
        fields = split_line(line.decode("utf-8", "replace"), layout.separator)
        if any(fields[layout.fields :]):
            raise InputError(
                FIELD,
                f"{layout.line_of(sample)} has {len(fields)} fields, the first sample has {layout.fields}.",
                "If decimals are written with a comma, separate the fields with semicolons or tabs.",
            )


def _largest(layout: Layout) -> float:
    factor, _ = scale(layout.unit, Dimension.PRESSURE)
    return _HIGHEST / factor


def _number_column(text: pl.Series, layout: Layout, plausible: float | None) -> pl.Series:
    """Return numbers from text; `plausible` is the largest value in doubt over what a comma means."""
    # A space parts thousands or nothing: 20 5 must not become 205.
    odd = text.str.contains(_SPACE) & ~text.str.contains(_GROUPED_BY_SPACE)
    at = odd.arg_max()
    if bool(odd.any()) and at is not None:
        _refuse_blank(layout, at, str(text[at]))
    bare = text.str.replace_all(_SPACE, "")
    if bool(bare.str.contains(",", literal=True).any()):
        bare = _without_commas(bare, layout, plausible)
    numbers = bare.cast(pl.Float64, strict=False)
    wrong = numbers.is_null().arg_max()
    if numbers.null_count() and wrong is not None:
        _refuse_blank(layout, wrong, str(text[wrong]))
    return numbers


def _without_commas(bare: pl.Series, layout: Layout, plausible: float | None) -> pl.Series:
    """Return the numbers with points for decimals; a comma is a decimal sign unless it can only part thousands."""
    comma_last = bare.str.contains(r"\..*,")
    point_last = bare.str.contains(r",.*\.")
    if bool(point_last.any()):
        _refuse_commas(layout, bare.str.contains(",", literal=True) & ~bare.str.contains(_GROUPED_BY_COMMA))
        return bare.str.replace_all(",", "", literal=True)
    with_comma = bare.str.contains(",", literal=True)
    if bool(bare.filter(with_comma).str.contains(_GROUPED).all()) and not bool(comma_last.any()):
        grouped = bare.str.replace_all(",", "", literal=True)
        several = bool(bare.str.contains(r",.*,").any())
        largest = grouped.cast(pl.Float64, strict=False).max()
        if several or (plausible is None and not bool(with_comma.all())):
            return grouped
        if plausible is not None and isinstance(largest, float) and largest <= plausible:
            _refuse_commas(layout, with_comma)
    # A point beside decimal commas parts thousands or nothing: 20.5 among 21,3 must not become 205.
    _refuse_commas(layout, bare.str.contains(".", literal=True) & ~bare.str.contains(_GROUPED_BY_POINT))
    return bare.str.replace_all(".", "", literal=True).str.replace(",", ".", literal=True)


def _refuse_commas(layout: Layout, where: pl.Series) -> None:
    """Refuse a column in which commas and points are in doubt; `where` marks the samples that put them there."""
    if not bool(where.any()):
        return
    at = where.arg_max() or 0
    raise InputError(
        FIELD,
        f"{layout.line_of(at)}: it can't be told whether a comma or point parts thousands or decimals.",
        "Export with decimal points and without thousands separators.",
    )


def _sexagesimal(text: pl.Series, layout: Layout) -> pl.Series:
    """Return seconds from elapsed time or time of day written hours:minutes:seconds."""
    parts = text.str.replace(",", ".", literal=True).str.extract_groups(r"^(\d+):([0-5]\d):([0-5]\d(?:\.\d+)?)$")
    hours, minutes, seconds = (parts.struct.field(name).cast(pl.Float64) for name in parts.struct.fields)
    total = hours * 3600 + minutes * 60 + seconds
    wrong = total.is_null().arg_max()
    if total.null_count() and wrong is not None:
        raise InputError(
            FIELD,
            f"{layout.line_of(wrong)}: {str(text[wrong])!r} is not a time as hours:minutes:seconds.",
            "Write every time as in 0:14:32 or 00:14:32.5, or export elapsed seconds.",
        )
    return total


def _clock(text: pl.Series, layout: Layout, zone: tzinfo | None) -> tuple[FloatArray, datetime]:
    """Return elapsed seconds and the aware time of the first sample from a column of clock times."""
    column = _ClockColumn(text, layout, zone)
    parts = _even_parts(text)
    if parts is None:
        parts = _any_parts(text, layout)
    local, offsets, of_offset = parts
    column.refuse_far_years(local)
    if of_offset is None:
        shift = column.offset_seconds(offsets[0], local, None)
    else:
        shift = np.empty(len(local), np.int64)
        for number, offset in enumerate(offsets):
            here = np.flatnonzero(of_offset == number)
            shift[here] = column.offset_seconds(offset, local[here], here)
    first = int(local[0]) - int(shift[0]) * _MICRO
    started = _EPOCH + timedelta(microseconds=first)
    own = zone if zone is not None and not offsets[0] else timezone(timedelta(seconds=int(shift[0])))
    local -= shift * _MICRO + first
    return local / float(_MICRO), started.astimezone(own)


_Parts: TypeAlias = tuple[IntArray, list[str], npt.NDArray[np.uint32] | None]
"""Local times in µs since 1970, the offsets written, and which of them each sample has (None: all the first)."""


def _even_parts(text: pl.Series) -> _Parts | None:
    """Return the parts of a clock column in which every field has the layout of the first; None for another.

    Such fields in order of text are in order of time: each minute is found by search, and only the seconds
    are parsed one by one. A column out of order is left to the careful way, which says where.
    """
    model = _EVEN_CLOCK.fullmatch(str(text[0]))
    if model is None:
        return None
    ending = model.string[model.end("seconds") :]
    alike = (text.str.len_bytes() == model.end()).all() and text.str.ends_with(ending).all()
    if not alike or not text.is_sorted():
        return None
    letters = text.cast(pl.Binary).bin.reinterpret(dtype=pl.Array(pl.UInt8, model.end())).to_numpy()
    seconds = _microseconds(letters[:, model.start("seconds") : model.end("seconds")])
    minutes = _minutes(model.string, str(text[-1]), 2 * len(text))
    if seconds is None or minutes is None:
        return None
    written = np.char.replace(np.datetime_as_string(minutes), "T", model.string[10])
    starts = text.search_sorted(pl.Series(written.tolist())).to_numpy()
    counts: IntArray = np.diff(np.append(starts.astype(np.int64), len(text)))
    seconds += np.repeat(minutes.astype("datetime64[us]").astype(np.int64), counts)
    return seconds, [model["offset"] or ""], None


def _microseconds(letters: npt.NDArray[np.uint8]) -> IntArray | None:
    """Return µs from letters ``SS`` or ``SS.fff…``, one text a row; None where one is not below 60 s so written."""
    columns = np.ascontiguousarray(letters.T)
    digits = columns - ord("0")
    total = np.zeros(len(letters), np.int32)
    for place, power in zip([0, 1, *range(3, len(digits))], _POWERS, strict=False):
        if int(digits[place].max()) > 9:
            return None
        total += digits[place] * np.int32(power)
    fits = len(columns) == 2 or bool((columns[2] == ord(".")).all())
    return total.astype(np.int64) if fits and int(digits[0].max()) <= 5 else None


def _minutes(first: str, last: str, most: int) -> npt.NDArray[np.datetime64] | None:
    """Return every minute from that of the clock time `first` to that of `last`; None for more than `most`."""
    try:
        start, stop = np.datetime64(first[:16].replace(" ", "T")), np.datetime64(last[:16].replace(" ", "T"))
    except ValueError:
        return None
    count = int((stop - start) / np.timedelta64(1, "m")) + 1
    return start + np.arange(count) if 0 < count <= most else None


def _any_parts(text: pl.Series, layout: Layout) -> _Parts:
    """Return the parts of clock times each written in its own way."""
    turned = text.str.replace(r"^(\d{1,2})\.(\d{1,2})\.(\d{4})", "$3-$2-$1")
    groups = turned.str.extract_groups(_ANY_CLOCK).struct.unnest()
    year, month, day, hour, minute, second, offset = (groups[name].fill_null("") for name in groups.columns)
    stamp = year + "-" + month.str.zfill(2) + "-" + day.str.zfill(2) + "T" + hour.str.zfill(2) + ":" + minute
    minutes = stamp.str.to_datetime("%Y-%m-%dT%H:%M", time_unit="us", strict=False)
    seconds = second.str.replace(",", ".", literal=True).replace("", "0").cast(pl.Float64, strict=False)
    wrong = (minutes.is_null() | seconds.is_null()).arg_max()
    if (minutes.null_count() or seconds.null_count()) and wrong is not None:
        _refuse_clock(str(text[wrong]), layout, wrong)
    local = minutes.cast(pl.Int64).to_numpy() + np.round(seconds.to_numpy() * _MICRO).astype(np.int64)
    known = offset.unique(maintain_order=True).to_list()
    if len(known) == 1:
        return local, known, None
    codes = offset.replace_strict(known, list(range(len(known))), return_dtype=pl.UInt32)
    return local, known, codes.to_numpy()


def _refuse_clock(given: str, layout: Layout, sample: int) -> None:
    reason = f"{given!r} is not a clock time that can be read"
    if re.match(r"\d{1,2}[-/]\d{1,2}[-/]\d{2,4}", given):
        reason = f"in {given!r} day and month can't be told apart"
    elif re.search(r"[ap]\.?m\.?$", given, re.IGNORECASE):
        reason = f"{given!r} is on a 12-hour clock"
    raise InputError(FIELD, f"{layout.line_of(sample)}: {reason}.", _CLOCK_REMEDY)


@dataclass(frozen=True, slots=True)
class _ClockColumn:
    """A column of clock times as written, to name the line of one that can't be placed."""

    text: pl.Series
    layout: Layout
    zone: tzinfo | None

    def refuse_far_years(self, local: IntArray) -> None:
        """Refuse years no recorder's clock shows, and no calendar of ours can hold in every zone."""
        far = (local < _YEARS[0]) | (local >= _YEARS[1])
        if bool(far.any()):
            at = int(np.argmax(far))
            _refuse_clock(str(self.text[at]), self.layout, at)

    def offset_seconds(self, offset: str, local: IntArray, samples: npt.NDArray[np.intp] | None) -> IntArray:
        """Return the offset from UTC in s: one for all, or one a sample where the zone changes its clock.

        `local` holds the samples written with that offset, `samples` their places in the file (None: all).
        """
        if not offset:
            return self._offsets_of_zone(local, samples)
        seconds = _written_offset(offset)
        if abs(seconds) > _FARTHEST_OFFSET_S:
            first = 0 if samples is None else int(samples[0])
            _refuse_clock(str(self.text[first]), self.layout, first)
        return np.array([seconds], np.int64)

    def _offsets_of_zone(self, local: IntArray, samples: npt.NDArray[np.intp] | None) -> IntArray:
        if self.zone is None:
            raise InputError(
                FIELD,
                f"{self._line(0, samples)}: the clock has no offset from UTC, so the moment is not certain.",
                "Give the time zone of the recorder's clock, or export the clock with its offset (…+01:00).",
            )
        quarters, where = np.unique(local // (_QUARTER_HOUR_S * _MICRO), return_inverse=True)
        naive = [datetime(1970, 1, 1) + timedelta(seconds=int(quarter) * _QUARTER_HOUR_S) for quarter in quarters]  # noqa: DTZ001
        early, late = (
            np.array([_utc_offset_s(moment.replace(tzinfo=self.zone, fold=fold)) for moment in naive], np.int64)
            for fold in (0, 1)
        )
        unsure = (early != late)[where]
        if bool(unsure.any()):
            line = self._line(int(np.argmax(unsure)), samples)
            raise InputError(
                FIELD,
                f"{line}: the zone's clocks change at that time, which then comes twice or never.",
                "Export the clock with its offset (…+01:00), or elapsed seconds.",
            )
        return early[where]

    def _line(self, index: int, samples: npt.NDArray[np.intp] | None) -> str:
        return self.layout.line_of(index if samples is None else int(samples[index]))


def _utc_offset_s(moment: datetime) -> int:
    return round((moment.utcoffset() or timedelta()).total_seconds())


def _written_offset(offset: str) -> int:
    if offset.upper() in {"Z", "UTC", "GMT"}:
        return 0
    digits = offset[1:].replace(":", "").ljust(4, "0")
    return (-1 if offset[0] == "-" else 1) * (int(digits[:2]) * 3600 + int(digits[2:]) * 60)
