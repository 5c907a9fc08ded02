"""Windows of a hold: runs of samples that meet a limit, and the largest fall inside each window of one length.

Times are elapsed seconds, pressures gauge in Pa. Nothing is interpolated: what was not sampled is not known.
"""

import math
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

    def steadiest(self, pressures: FloatArray) -> int:
        """Return the place of the window of least decay; raises ValueError when empty.

        Of windows that fall equally little the one that rises least is taken, then the earliest: a window that
        begins on the ramp says less of the hold than one that lies in it.
        """
        equals = np.flatnonzero(self.decay <= np.min(self.decay))
        rise = pressures[self.end[equals]] - pressures[self.start[equals]]
        return int(equals[np.argmin(rise)])


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
    if shift is not None:
        return _even_windows(runs, pressures, shift)
    return _uneven_windows(runs, _window_ends(times[low:high], hold) + low, low, pressures)


def _even_shift(times: FloatArray, hold: float) -> int | None:
    """Return the constant count of samples from a window's first to its last, or None where it varies."""
    shift = int(np.searchsorted(times, times[0] + hold - TIME_TOLERANCE_S))
    if not 0 < shift < len(times):
        return None
    long_enough = times[shift:] - times[:-shift] >= hold - TIME_TOLERANCE_S
    shorter = times[shift - 1 :] - times[: len(times) - shift + 1] >= hold - TIME_TOLERANCE_S
    return shift if bool(long_enough.all()) and not bool(shorter.any()) else None


def _window_ends(times: FloatArray, hold: float) -> IndexArray:
    """Return for each sample the index of the first sample at least `hold` later (the count where there is none)."""
    ends = np.searchsorted(times, times + (hold - TIME_TOLERANCE_S)).astype(np.intp)
    return np.maximum(ends, np.arange(len(times), dtype=np.intp))


def _even_windows(runs: Runs, pressures: FloatArray, shift: int) -> Windows:
    """Return the windows of runs sampled evenly: block and window are equally long, so whole tables combine."""
    length = shift + 1
    samples = runs.last - runs.first + 1
    rows = -(-samples // length)
    blocks = np.empty(int(rows.sum()) * length)
    places = ((np.cumsum(rows) - rows) * length).tolist()
    for first, last, at, room in zip(runs.first.tolist(), runs.last.tolist(), places, rows.tolist(), strict=True):
        filled = at + last + 1 - first
        blocks[at:filled] = pressures[first : last + 1]
        blocks[filled : at + room * length] = pressures[last]
    decay = _Scans.of(blocks.reshape(-1, length)).of_whole_blocks().reshape(-1)
    counts = (samples - shift).tolist()
    start = [np.arange(first, first + count) for first, count in zip(runs.first.tolist(), counts, strict=True)]
    found = [decay[at : at + count] for at, count in zip(places, counts, strict=True)]
    starts = np.concatenate(start) if len(start) > 1 else start[0]
    return Windows(starts, starts + shift, np.concatenate(found) if len(found) > 1 else found[0])


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
    place = np.arange(len(laid), dtype=np.intp) - blocks[row]
    return scans.joined((row[start], place[start]), (row[stop], place[stop]))


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


_Place: TypeAlias = tuple[IndexArray, IndexArray]
"""Row and column in a table of blocks."""


@dataclass(frozen=True, slots=True)
class _Scans:
    """Running values of a table with a block a row: heads from each block's first sample, tails to its last."""

    head_low: FloatArray
    head_fall: FloatArray
    tail_high: FloatArray
    tail_fall: FloatArray

    @classmethod
    def of(cls, table: FloatArray) -> "_Scans":
        fold = _Fold.of(table)
        samples = fold.folded
        fall = fold.heads(np.maximum, samples.copy())
        fall -= samples
        rise = fold.tails(np.minimum, samples.copy())
        np.subtract(samples, rise, out=rise)
        return cls(
            head_low=fold.unfolded(fold.heads(np.minimum, samples.copy())),
            head_fall=fold.unfolded(fold.heads(np.maximum, fall)),
            tail_fall=fold.unfolded(fold.tails(np.maximum, rise)),
            tail_high=fold.unfolded(fold.tails(np.maximum, samples)),
        )

    def joined(self, start: _Place, stop: _Place) -> FloatArray:
        """Return the falls of windows from `start` to `stop`, in the next row or, for a whole block, in the same."""
        across = self.tail_high[start] - self.head_low[stop]
        np.maximum(across, self.head_fall[stop], out=across)
        alone = start[0] == stop[0]
        across[alone] = 0.0
        return np.maximum(across, self.tail_fall[start], out=across)

    def of_whole_blocks(self) -> FloatArray:
        """Return the fall of the window from each place, all windows being as long as a block.

        From the first place of a row it is the row itself, from the others it ends one place earlier in the
        next row. Values of the last row but the first belong to no window.
        """
        decay = self.tail_fall.copy()
        joint = decay[:-1, 1:]
        np.maximum(joint, self.head_fall[1:, :-1], out=joint)
        np.maximum(joint, self.tail_high[:-1, 1:] - self.head_low[1:, :-1], out=joint)
        return decay


@dataclass(frozen=True, slots=True)
class _Fold:
    """A table whose rows are folded into short strands laid side by side.

    NumPy's running maximum along a row goes one sample at a time; along strands it takes all strands at once,
    and the totals of a row's strands are then carried on. That makes it several times as fast.
    """

    folded: FloatArray
    strands: int
    width: int

    @classmethod
    def of(cls, table: FloatArray) -> "_Fold":
        rows, width = table.shape
        length = max(math.isqrt(width), 1)
        strands = -(-width // length)
        filled = np.empty((rows, strands * length))
        filled[:, :width] = table
        filled[:, width:] = table[:, -1:]
        return cls(np.ascontiguousarray(filled.reshape(-1, length).T), strands, width)

    def unfolded(self, folded: FloatArray) -> FloatArray:
        length = len(folded)
        return np.ascontiguousarray(folded.T).reshape(-1, self.strands * length)[:, : self.width]

    def heads(self, extreme: np.ufunc, folded: FloatArray) -> FloatArray:
        """Replace each value by the extreme from its row's first to it; returns the array it was given."""
        for place in range(1, len(folded)):
            extreme(folded[place], folded[place - 1], out=folded[place])
        totals = folded[-1].reshape(-1, self.strands)
        carried = np.full(totals.shape, _NEUTRAL[extreme])
        extreme.accumulate(totals[:, :-1], axis=1, out=carried[:, 1:])
        extreme(folded, carried.reshape(-1), out=folded)
        return folded

    def tails(self, extreme: np.ufunc, folded: FloatArray) -> FloatArray:
        """Replace each value by the extreme from it to its row's last; returns the array it was given."""
        for place in range(len(folded) - 2, -1, -1):
            extreme(folded[place], folded[place + 1], out=folded[place])
        totals = folded[0].reshape(-1, self.strands)
        carried = np.full(totals.shape, _NEUTRAL[extreme])
        carried[:, :-1] = extreme.accumulate(totals[:, :0:-1], axis=1)[:, ::-1]
        extreme(folded, carried.reshape(-1), out=folded)
        return folded


_NEUTRAL: Final[dict[np.ufunc, float]] = {np.maximum: -np.inf, np.minimum: np.inf}
