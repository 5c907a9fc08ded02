"""A recorder's file as numbers: elapsed seconds and gauge pressure, with what is known of its clock.

`read_recording` reads the text exports of pressure recorders; it takes the content, never a path. Everything
that can't be read for certain is refused with the line and what to do: a guessed unit or a skipped
sample could turn a leak into a pass.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from functools import cached_property
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from calcs.errors import InputError
from calcs.recording_columns import read_columns
from calcs.recording_layouts import FIELD, channel_names, layout_of, text_bytes
from calcs.units import Dimension, canonical_unit, from_si, scale, to_si

FloatArray: TypeAlias = npt.NDArray[np.float64]
_Naming: TypeAlias = Callable[[int], str]

MOST_SAMPLES: Final = 500_000
_LOWEST: Final = to_si(-50.0, "psi", Dimension.PRESSURE)
_HIGHEST: Final = to_si(60_000.0, "psi", Dimension.PRESSURE)


@dataclass(frozen=True)
class Recording:
    """The samples of one pressure channel.

    Attributes:
        elapsed: seconds from the first sample, starting at 0, never falling.
        pressures: gauge pressure of each sample in Pa.
        started_at: aware time of the first sample, when the file has a clock.
        unit: pressure unit as recorded.
        channels: names of the pressure channels of the file, in its order.
        channel: name of the channel read.
        skipped_lines: lines before the first sample: free text and column heads.
    """

    elapsed: FloatArray
    pressures: FloatArray
    started_at: datetime | None
    unit: str
    channels: tuple[str, ...]
    channel: str
    skipped_lines: int = 0

    @classmethod
    def from_samples(
        cls,
        t: "npt.ArrayLike",
        p: "npt.ArrayLike",
        pressure_unit: str,
        *,
        started_at: datetime | None = None,
    ) -> "Recording":
        """Return a recording of times `t` in s (made to start at 0) and pressures `p` in `pressure_unit`.

        Raises InputError (``t``, ``p``, ``pressure_unit``) for lists of unequal length, fewer than two samples,
        values that are not finite numbers, times going back, an unknown unit or absurd pressures.
        """
        times, pressures = _numbers(t, "t"), _numbers(p, "p")
        factor, offset = scale(pressure_unit, Dimension.PRESSURE, field="pressure_unit")
        if len(times) != len(pressures):
            raise InputError(
                "p", f"There are {len(times):,} times but {len(pressures):,} pressures.", "Give one pressure a time."
            )
        _refuse_count(len(times), "t")
        _refuse_backwards(times, "t", lambda index: f"Item {index + 1}")
        gauge = pressures * factor + offset
        _refuse_absurd(gauge, "p", pressure_unit, lambda index: f"Item {index + 1}")
        unit = canonical_unit(pressure_unit)
        return cls(times - times[0], gauge, started_at, unit, ("pressure",), "pressure")

    def __len__(self) -> int:
        """Return the number of samples."""
        return len(self.elapsed)

    @cached_property
    def median_interval(self) -> float:
        """Median time in s between two samples."""
        return float(np.median(np.diff(self.elapsed)))

    @property
    def duration(self) -> float:
        """Time in s from the first to the last sample."""
        return float(self.elapsed[-1])

    def clock(self, elapsed: float) -> datetime | None:
        """Return the aware time at `elapsed` seconds; None for a recording without a clock."""
        return None if self.started_at is None else clock_time(self.started_at, elapsed)


def clock_time(started_at: datetime, elapsed: float) -> datetime:
    """Return the moment `elapsed` seconds after `started_at`, in its zone.

    Counted in UTC: adding to a local time would be wrong by an hour where the zone changes its clock.
    """
    return (started_at.astimezone(UTC) + timedelta(seconds=elapsed)).astimezone(started_at.tzinfo)


def read_recording(
    content: str | bytes,
    *,
    pressure_unit: str | None = None,
    channel: str | None = None,
    zone: tzinfo | None = None,
) -> Recording:
    """Read a recorder's text file: CSV, TSV or semicolons, elapsed time or clock, one or several channels.

    Args:
        content: the whole file, as text or as bytes (UTF-8, UTF-16 or a Windows code page).
        pressure_unit: unit of the pressures when the column head does not say (gauge; psi, bar, kPa, MPa).
        channel: name of the pressure column to read; the first one by default.
        zone: the zone of a clock written without offset.

    Raises InputError: ``recording`` for everything wrong with the content, naming the line; ``channel`` for an
    unknown channel; ``pressure_unit`` for a unit that is unknown, absolute or contradicts the column head.
    """
    text = text_bytes(content)
    layout = layout_of(text, pressure_unit=pressure_unit, channel=channel)
    times, pressures, started_at = read_columns(text, layout, zone, MOST_SAMPLES)
    _refuse_count(len(times), FIELD)
    _refuse_backwards(times, FIELD, layout.line_of)
    factor, offset = scale(layout.unit, Dimension.PRESSURE, field="pressure_unit")
    gauge = pressures * factor + offset
    _refuse_absurd(gauge, FIELD, layout.unit, layout.line_of)
    return Recording(
        elapsed=times,
        pressures=gauge,
        started_at=started_at,
        unit=canonical_unit(layout.unit),
        channels=layout.channels,
        channel=layout.channel,
        skipped_lines=layout.skipped_lines,
    )


@dataclass(frozen=True, slots=True)
class ChannelSeen:
    """One column of a file that can be its pressure, with what it shows; pressures gauge in Pa.

    Attributes:
        name: as the file heads it.
        recording: its samples, or None where the column can't be read as gauge pressure.
        refusal: why it can't be read; None where it can.
    """

    name: str
    recording: Recording | None
    refusal: InputError | None


def read_channels(
    content: str | bytes, *, pressure_unit: str | None = None, zone: tzinfo | None = None
) -> tuple[ChannelSeen, ...]:
    """Read every column of a file that can be its pressure: which of them is the test's, only a person can say.

    Raises InputError as `read_recording` where no column can be read.
    """
    text = text_bytes(content)
    names = channel_names(text, pressure_unit=pressure_unit)
    seen = tuple(_channel_seen(text, name, pressure_unit, zone) for name in names)
    if seen[0].refusal is not None and all(one.recording is None for one in seen):
        raise seen[0].refusal
    return seen


def _channel_seen(text: bytes, name: str, pressure_unit: str | None, zone: tzinfo | None) -> ChannelSeen:
    try:
        return ChannelSeen(name, read_recording(text, pressure_unit=pressure_unit, channel=name, zone=zone), None)
    except InputError as error:
        return ChannelSeen(name, None, error)


def reduced(recording: Recording, points: int = 2000) -> tuple[FloatArray, FloatArray]:
    """Return at most about `points` (elapsed s, pressure Pa gauge) that draw the same curve.

    The samples are parted into buckets, and of each the lowest and the highest are kept, in their order:
    no peak and no dip is lost, unlike with averages or every n-th sample. First and last sample are kept.
    """
    count = len(recording)
    if count <= max(points, 4):
        return recording.elapsed, recording.pressures
    edges = np.linspace(0, count, max(points // 2, 2) + 1).astype(np.intp)
    kept = np.empty((len(edges) - 1, 2), np.intp)
    for bucket, (first, stop) in enumerate(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)):
        part = recording.pressures[first:stop]
        kept[bucket] = first + int(part.argmin()), first + int(part.argmax())
    chosen = np.unique(np.concatenate(([0], kept.reshape(-1), [count - 1])))
    return recording.elapsed[chosen], recording.pressures[chosen]


def _numbers(given: "npt.ArrayLike", field: str) -> FloatArray:
    try:
        numbers = np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError, OverflowError) as error:
        raise InputError(field, "A list of numbers is expected.", "Give plain numbers, none left blank.") from error
    if numbers.ndim != 1:
        raise InputError(field, "A flat list of numbers is expected.", "Give plain numbers, none left blank.")
    wrong = np.flatnonzero(~np.isfinite(numbers))
    if len(wrong):
        raise InputError(
            field, f"Item {int(wrong[0]) + 1} is not a finite number.", "Remove it or give the pressure that was read."
        )
    return numbers


def _refuse_count(count: int, field: str) -> None:
    if count < 2:
        raise InputError(field, "There are fewer than two samples.", "Export the whole test from the recorder again.")
    if count > MOST_SAMPLES:
        raise InputError(
            field,
            f"There are more than {MOST_SAMPLES:,} samples.",
            "Export the part with the test, or export at a longer interval, and give several files if need be.",
        )


def _refuse_backwards(times: FloatArray, field: str, line_of: _Naming) -> None:
    back = times[1:] < times[:-1]
    if bool(back.any()):
        at = int(np.argmax(back)) + 1
        raise InputError(
            field,
            f"{line_of(at)}: the time goes back by {float(times[at - 1] - times[at]):g} s.",
            "Give the samples in order of time; where the clock was changed, export a clock with offset.",
        )
    if times[-1] <= times[0]:
        raise InputError(field, "All samples carry the same time.", "Export elapsed seconds, or a clock with seconds.")


def _refuse_absurd(gauge: FloatArray, field: str, unit: str, line_of: _Naming) -> None:
    if float(gauge.min()) >= _LOWEST and float(gauge.max()) <= _HIGHEST:
        return
    at = int(np.argmax((gauge < _LOWEST) | (gauge > _HIGHEST)))
    shown = from_si(float(gauge[at]), unit, Dimension.PRESSURE)
    raise InputError(
        field,
        f"{line_of(at)}: {shown:,g} {unit} can't be a test pressure (under -50 psi or over 60,000 psi).",
        f"Probably {unit} is not the unit of this column, or the decimal sign was read wrongly: check both.",
    )
