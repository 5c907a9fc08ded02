"""Windows of a hold: runs of samples that meet a limit, and the largest fall inside each window of one length.

Times are elapsed seconds, pressures gauge in Pa. Nothing is interpolated: what was not sampled is not known.
"""

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

FloatArray: TypeAlias = npt.NDArray[np.float64]
IndexArray: TypeAlias = npt.NDArray[np.intp]
BoolArray: TypeAlias = npt.NDArray[np.bool_]

TIME_TOLERANCE_S: Final = 1e-6
"""Clocks read from text carry rounding of the last bit; a hold short by less than this counts as whole."""

# A table of blocks may waste as much room again on short blocks before the slower, even method is taken.
_TABLE_WASTE: Final = 2
_TABLE_ROOM: Final = 4096


@dataclass(frozen=True, slots=True)
class Runs:
    """Contiguous stretches of samples, as the indexes of their first and last sample (inclusive)."""

    first: IndexArray
    last: IndexArray

    def __len__(self) -> int:
        """Return the number of runs."""
        return len(self.first)

    def lasting(self, times: FloatArray, seconds: float) -> "Runs":
        """Return the runs that last at least `seconds` (within the tolerance on time)."""
        keep = times[self.last] - times[self.first] >= seconds - TIME_TOLERANCE_S
        return Runs(self.first[keep], self.last[keep])

    def longest(self, times: FloatArray) -> tuple[int, int] | None:
        """Return first and last index of the longest run, the earliest of equals; None when there is none."""
        if not len(self.first):
            return None
        at = int(np.argmax(times[self.last] - times[self.first]))
        return int(self.first[at]), int(self.last[at])


@dataclass(frozen=True, slots=True)
class Windows:
    """For each possible first sample, the shortest window that lasts the hold, and the largest fall inside it.

    Attributes:
        start: index of each window's first sample, rising.
        end: index of its last sample (inclusive), never falling.
        decay: largest fall in Pa from any earlier to any later sample of the window; never negative.
    """

    start: IndexArray
    end: IndexArray
    decay: FloatArray

    def __len__(self) -> int:
        """Return the number of windows."""
        return len(self.start)

    def where(self, keep: BoolArray) -> "Windows":
        """Return the windows marked true in `keep`."""
        return Windows(self.start[keep], self.end[keep], self.decay[keep])

    def steadiest(self) -> int:
        """Return the place of the window of least decay, the earliest of equals; raises ValueError when empty."""
        return int(np.argmin(self.decay))


def runs_where(meets: BoolArray, times: FloatArray, max_gap: float) -> Runs:
    """Return the runs of samples where `meets` is true, broken where two samples lie over `max_gap` seconds apart."""
    if not len(meets):
        nothing = np.empty(0, np.intp)
        return Runs(nothing, nothing)
    joined = meets[1:] & meets[:-1] & (np.diff(times) <= max_gap + TIME_TOLERANCE_S)
    first = meets.copy()
    first[1:] &= ~joined
    last = meets.copy()
    last[:-1] &= ~joined
    return Runs(np.flatnonzero(first), np.flatnonzero(last))


def windows_in(runs: Runs, times: FloatArray, pressures: FloatArray, hold: float) -> Windows:
    """Return every window of `hold` seconds that lies whole inside one of the runs.

    Each run is cut into blocks as long as a window, so that a window is the tail of one block and the
    head of the next. Tails and heads are running maxima, minima and falls: the work grows with the
    number of samples alone, not with the length of the hold.
    """
    runs = runs.lasting(times, hold)
    if not len(runs):
        return Windows(np.empty(0, np.intp), np.empty(0, np.intp), np.empty(0))
    low, high = int(runs.first[0]), int(runs.last[-1]) + 1
    shift = _even_shift(times[low:high], hold)
    if len(runs) == 1 and shift is not None:
        return _even_windows(low, pressures[low:high], shift)
    ends = _window_ends(times[low:high], hold, shift) + low
    return _uneven_windows(runs, ends, low, pressures)


def _even_shift(times: FloatArray, hold: float) -> int | None:
    """Return the constant count of samples from a window's first to its last, or None where it varies."""
    shift = int(np.searchsorted(times, times[0] + hold - TIME_TOLERANCE_S))
    if not 0 < shift < len(times):
        return None
    long_enough = times[shift:] - times[:-shift] >= hold - TIME_TOLERANCE_S
    shorter = times[shift - 1 :] - times[: len(times) - shift + 1] >= hold - TIME_TOLERANCE_S
    return shift if bool(long_enough.all()) and not bool(shorter.any()) else None


def _window_ends(times: FloatArray, hold: float, shift: int | None) -> IndexArray:
    """Return for each sample the index of the first sample at least `hold` later (the count where there is none)."""
    if shift is not None:
        return np.arange(shift, shift + len(times), dtype=np.intp)
    ends = np.searchsorted(times, times + (hold - TIME_TOLERANCE_S)).astype(np.intp)
    return np.maximum(ends, np.arange(len(times), dtype=np.intp))


def _even_windows(low: int, pressures: FloatArray, shift: int) -> Windows:
    """Return the windows of one run sampled evenly: block and window are equally long, so slices do."""
    length = shift + 1
    count = len(pressures) - shift
    rows = -(-len(pressures) // length)
    table = np.full(rows * length, pressures[-1])
    table[: len(pressures)] = pressures
    scans = _Scans.of(table.reshape(rows, length))
    decay = scans.joined(slice(0, count), slice(shift, shift + count))
    whole = slice(0, count, length)
    decay[whole] = scans.tail_fall[whole]
    start = np.arange(low, low + count, dtype=np.intp)
    return Windows(start, start + shift, decay)


def _uneven_windows(runs: Runs, ends: IndexArray, low: int, pressures: FloatArray) -> Windows:
    """Return the windows of several runs, or of one sampled unevenly, laid end to end."""
    lengths = runs.last - runs.first + 1
    moved = np.repeat(runs.first - (np.cumsum(lengths) - lengths), lengths)
    here = np.arange(len(moved), dtype=np.intp)
    sample = here + moved
    end = ends[sample - low]
    whole = end <= np.repeat(runs.last, lengths)
    last = np.minimum(end, np.repeat(runs.last, lengths)) - moved
    laid = pressures[sample]
    start, stop = here[whole], last[whole]
    blocks = _block_starts(last, np.cumsum(lengths))
    room = len(blocks) * int(np.max(np.diff(np.append(blocks, len(laid)))))
    if room <= _TABLE_WASTE * len(laid) + _TABLE_ROOM:
        decay = _falls_by_blocks(laid, blocks, start, stop)
    else:
        decay = _falls_by_doubling(laid, start, stop)
    return Windows(sample[whole], end[whole], decay)


def _block_starts(last: IndexArray, run_ends: IndexArray) -> IndexArray:
    """Return where blocks begin: each is the window of its first sample, and none crosses from run to run."""
    starts: list[int] = []
    at = 0
    for run_end in run_ends.tolist():
        while at < run_end:
            starts.append(at)
            at = int(last[at]) + 1
    return np.array(starts, dtype=np.intp)


def _falls_by_blocks(laid: FloatArray, blocks: IndexArray, start: IndexArray, stop: IndexArray) -> FloatArray:
    lengths = np.diff(np.append(blocks, len(laid)))
    width = int(lengths.max())
    # A short block is filled up with its own last value, which changes no maximum, minimum or fall.
    column = np.minimum(np.arange(width), lengths[:, None] - 1)
    scans = _Scans.of(laid[blocks[:, None] + column])
    row = np.repeat(np.arange(len(blocks), dtype=np.intp), lengths)
    flat = np.arange(len(laid), dtype=np.intp) + row * width - blocks[row]
    decay = scans.joined(flat[start], flat[stop])
    alone = row[start] == row[stop]
    decay[alone] = scans.tail_fall[flat[start[alone]]]
    return decay


def _falls_by_doubling(laid: FloatArray, start: IndexArray, stop: IndexArray) -> FloatArray:
    """Return the falls of windows of very unequal sample counts, from spans of 1, 2, 4, … samples."""
    top, bottom, fall = laid.copy(), laid.copy(), np.zeros(len(laid))
    left = stop - start + 1
    at = start.copy()
    peak = np.full(len(start), -np.inf)
    decay = np.zeros(len(start))
    size = 1
    while bool((left > 0).any()):
        odd = np.flatnonzero(left & size)
        here = at[odd]
        decay[odd] = np.maximum(np.maximum(decay[odd], fall[here]), peak[odd] - bottom[here])
        peak[odd] = np.maximum(peak[odd], top[here])
        at[odd] += size
        left[odd] -= size
        if 2 * size > len(laid):
            break
        fall = np.maximum(np.maximum(fall[:-size], fall[size:]), top[:-size] - bottom[size:])
        top, bottom = np.maximum(top[:-size], top[size:]), np.minimum(bottom[:-size], bottom[size:])
        size *= 2
    return decay


@dataclass(frozen=True, slots=True)
class _Scans:
    """Running values of a table of blocks, flattened: heads from each block's first sample, tails to its last."""

    head_low: FloatArray
    head_fall: FloatArray
    tail_high: FloatArray
    tail_fall: FloatArray

    @classmethod
    def of(cls, table: FloatArray) -> "_Scans":
        backwards = table[:, ::-1]
        fall = np.maximum.accumulate(table, axis=1)
        fall -= table
        rise = backwards - np.minimum.accumulate(backwards, axis=1)
        return cls(
            head_low=np.minimum.accumulate(table, axis=1).reshape(-1),
            head_fall=np.maximum.accumulate(fall, axis=1, out=fall).reshape(-1),
            tail_high=np.ascontiguousarray(np.maximum.accumulate(backwards, axis=1)[:, ::-1]).reshape(-1),
            tail_fall=np.ascontiguousarray(np.maximum.accumulate(rise, axis=1, out=rise)[:, ::-1]).reshape(-1),
        )

    def joined(self, start: "slice | IndexArray", stop: "slice | IndexArray") -> FloatArray:
        """Return the fall of a tail from `start` followed by a head to `stop`."""
        across = self.tail_high[start] - self.head_low[stop]
        np.maximum(across, self.tail_fall[start], out=across)
        return np.maximum(across, self.head_fall[stop], out=across)
