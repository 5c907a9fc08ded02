"""The steps of a drawdown in a recorder's file: each drop, the pressure at its end, and how far it came back.

With the pumps off a bank's pressure falls while a function takes its fluid, then stands, or climbs as the gas warms
again, until the next one. A drop is told from a leak by its pace, from noise by its depth; a climb too fast for warming
gas is a pump, and what comes after a charging is another test. Everything found is a proposal to confirm.

Times are elapsed seconds of the recording, pressures gauge, Pa. No figure here comes from a rule: they say what can be
seen in a curve sampled at 0.1 to 10 Hz, and were tried on curves of known steps (common practice of reading charts).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from calcs.closing import MAX_FUNCTIONS
from calcs.errors import InputError
from calcs.hold_windows import FloatArray
from calcs.recording_layouts import FIELD
from calcs.recordings import Recording
from calcs.units import Dimension, GaugePressure, to_si

_GRID: Final = 0.5
"""Finest interval looked at, s: no function works faster, and finer samples are averaged against noise."""
_PACE_OVER: Final = 2.0
"""Time over which the pace of a fall is taken, s."""
_PACE_SHARE: Final = 0.02
"""A drop falls at least at this share of the fastest one's pace; the same fluid costs less pressure further down."""
_SURELY_FAST: Final = to_si(1.5, "psi", Dimension.PRESSURE)
"""A fall of more than this a second, Pa/s, is never put down as a leak, however fast the others were."""
_DEPTH_SHARE: Final = 0.01
"""A drop is at least this share of the whole fall deep."""
_LEAST_DROP: Final = to_si(10.0, "psi", Dimension.PRESSURE)
_DEEPER_THAN_NOISE: Final = 8.0
_FASTER_THAN_NOISE: Final = 4.0
_SURE: Final = 5.0
_WIDEST_AVERAGE: Final = 5.0
_LONGEST_DROP: Final = 180.0
"""What falls for longer than this is a leak or a bleed-down, s: no function takes so long."""
_PAUSE: Final = 3.0
"""Stalls of a drop shorter than this are part of it, s: nobody reads a gauge between two functions faster."""
_READING: Final = 1.0
"""Time after a drop whose samples make up the pressure read at once, s."""
_STANDING: Final = 10.0
"""Longest stretch at the end of a wait whose samples make up the settled pressure, s."""
_MISSING_SAMPLES: Final = 3.5
"""Samples this many times further apart than usual have others missing between them."""
_CLIMB_OVER: Final = 20.0
"""Time over which the pace of a climb is taken, s."""
_PUMPED: Final = to_si(0.5, "psi", Dimension.PRESSURE)
"""A climb that quickens by more than this a second, Pa/s, is a pump's: warming gas only slows down."""
_CHARGED_SHARE: Final = 0.5
"""A climb over this share of the fall so far is a charging, which ends one test: warming nitrogen brings back about
three tenths of a fast fall (12 bottles of 10 gal from 3,000 psi by 30 gal: 1,139 psi at once, 1,672 psi warm)."""


@dataclass(frozen=True, slots=True)
class FoundStep:
    """One drop.

    Attributes:
        began_s: when the pressure began to fall.
        done_s: when it had fallen.
        pressure_before: it fell from.
        pressure_at_once: it fell to.
        settled_s: end of the wait after it; None where the next drop, or a pump, left no wait.
        pressure_settled: at that moment; None likewise.
    """

    began_s: float
    done_s: float
    pressure_before: GaugePressure
    pressure_at_once: GaugePressure
    settled_s: float | None
    pressure_settled: GaugePressure | None


@dataclass(frozen=True, slots=True)
class FoundDrawdown:
    """The drops of one drawdown in order, its start pressure, and what to look at before they are taken over."""

    start: GaugePressure
    steps: tuple[FoundStep, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Curve:
    """The curve on an even grid `every` s apart, with the noise of one point, Pa."""

    times: FloatArray
    pressures: FloatArray
    every: float
    noise: float


@dataclass(frozen=True, slots=True)
class _Drop:
    """First and last grid point of a fall."""

    first: int
    last: int


def find_drawdown_steps(recording: Recording, functions: int | None = None) -> FoundDrawdown:
    """Return the drops of the drawdown in `recording`; `functions` is how many were worked, where that is known.

    Where the bank was charged in between, the run whose drops number the functions is taken, or the one with the most;
    of equals the last. Two functions worked without a pause make one drop: the count then differs, and the reasons say
    so. Raises InputError for ``recording`` where nothing falls like a drawdown, and for ``functions``.
    """
    if functions is not None and not 1 <= functions <= MAX_FUNCTIONS:
        raise InputError("functions", f"The count is not from 1 to {MAX_FUNCTIONS}.", "Give how many were worked.")
    curve = _curve(recording)
    runs = _runs(curve, _drops(curve))
    if not runs:
        raise InputError(
            FIELD,
            "No drop like that of a drawdown is in this recording.",
            "Check that it covers the test and that the channel is the pressure of the bank.",
        )
    chosen = _chosen(runs, functions)
    steps, pumped = _measured(curve, chosen, _next_after(runs, chosen))
    reasons = (*_other_runs(runs), *_miscounted(len(steps), functions), *pumped, *_unsampled(recording, steps))
    return FoundDrawdown(steps[0].pressure_before, steps, reasons)


def _curve(recording: Recording) -> _Curve:
    """Put the samples on an even grid: single spikes dropped, finer samples taken by their middle value."""
    times, pressures = recording.elapsed, _without_spikes(recording.pressures)
    every = max(recording.median_interval, _GRID)
    count = int(recording.duration / every) + 1
    if count < 4:
        raise InputError(
            FIELD, "There are too few samples to see a drop.", "Export the whole test at its own interval."
        )
    slots = np.minimum((times / every).astype(np.intp), count - 1)
    starts = np.flatnonzero(np.diff(slots, prepend=-1))
    sizes = np.diff(np.append(starts, len(slots)))
    ordered = pressures[np.lexsort((pressures, slots))]
    middles = (ordered[starts + (sizes - 1) // 2] + ordered[starts + sizes // 2]) / 2
    centres = np.add.reduceat(times, starts) / sizes
    grid = np.asarray(np.arange(count) * every, dtype=np.float64)
    even = np.asarray(np.interp(grid, centres, middles), dtype=np.float64)
    return _Curve(grid, even, every, _noise(even))


def _without_spikes(pressures: FloatArray) -> FloatArray:
    """Replace single samples that stand out far over the noise from both neighbours."""
    if len(pressures) < 3:
        return pressures
    around = np.median(np.stack((pressures[:-2], pressures[1:-1], pressures[2:])), axis=0)
    off = np.abs(pressures[1:-1] - around)
    neighbours = np.abs(pressures[2:] - pressures[:-2])
    spike = off > np.maximum(_DEEPER_THAN_NOISE * _noise(pressures) + _LEAST_DROP, 2 * neighbours)
    mended = pressures.copy()
    mended[1:-1][spike] = around[spike]
    return mended


def _noise(pressures: FloatArray) -> float:
    """Return the scatter of one point, at least that of the resolution.

    Taken from the bends between three points, so that a steady fall or climb does not count as noise.
    """
    bends = np.diff(pressures, 2)
    scatter = 1.4826 * float(np.median(np.abs(bends))) / 6**0.5
    changes = np.diff(pressures)
    moved = np.abs(changes[changes != 0])
    resolution = min(float(moved.min()), _LEAST_DROP) if len(moved) else 0.0
    return max(scatter, 0.3 * resolution)


def _drops(curve: _Curve) -> list[_Drop]:
    """Return the stretches that fall fast and deep enough."""
    smooth, width = _smoothed(curve)
    lag = max(width, round(_PACE_OVER / curve.every))
    falls = smooth.pressures[:-lag] - smooth.pressures[lag:]
    noisy = _FASTER_THAN_NOISE * 2**0.5 * smooth.noise
    slow = min(_PACE_SHARE * float(falls.max()), _SURELY_FAST * lag * curve.every)
    starts = np.flatnonzero(falls > max(noisy, slow))
    if not len(starts):
        return []
    gap = lag + _points(curve, _PAUSE)
    parts = np.split(starts, np.flatnonzero(np.diff(starts) > gap) + 1)
    drops = _joined(curve, [_trimmed(curve, int(part[0]), int(part[-1]) + lag) for part in parts])
    return _deep(curve, [drop for drop in drops if (drop.last - drop.first) * curve.every <= _LONGEST_DROP])


def _joined(curve: _Curve, drops: Sequence[_Drop]) -> list[_Drop]:
    """Join drops between which the pressure kept falling at half their pace or more: noise had hidden the middle."""
    found: list[_Drop] = []
    for drop in drops:
        if found and _kept_falling(curve, found[-1], drop):
            found[-1] = _Drop(found[-1].first, drop.last)
        else:
            found.append(drop)
    return found


def _kept_falling(curve: _Curve, before: _Drop, after: _Drop) -> bool:
    gap = after.first - before.last
    if gap > _points(curve, _STANDING):
        return False
    paces = [
        (curve.pressures[one.first] - curve.pressures[one.last]) / max(1, one.last - one.first)
        for one in (before, after)
    ]
    return bool(curve.pressures[before.last] - curve.pressures[after.first] >= 0.5 * min(paces) * gap)


def _smoothed(curve: _Curve) -> tuple[_Curve, int]:
    """Average over as few neighbours, five seconds at most, as make a small drop stand out; say over how many."""
    wanted = max(_LEAST_DROP, _DEPTH_SHARE * float(np.ptp(curve.pressures))) / _DEEPER_THAN_NOISE
    widest = max(1, min(_points(curve, _WIDEST_AVERAGE), len(curve.pressures) // 2))
    width = min(widest, max(1, int(np.ceil((curve.noise / wanted) ** 2)))) | 1
    if width == 1:
        return curve, 1
    padded = np.pad(curve.pressures, width // 2, mode="edge")
    averaged = np.convolve(padded, np.ones(width) / width, mode="valid")
    return replace(curve, pressures=averaged, noise=curve.noise / width**0.5), width


def _trimmed(curve: _Curve, first: int, last: int) -> _Drop:
    """Bring the ends in to where the fall begins and ends, looked at without averaging."""
    part = curve.pressures[first : last + 1]
    least = int(part.argmin())
    near = max(3 * curve.noise, 0.01 * float(part.max() - part.min()))
    began = int(np.flatnonzero(part[: least + 1] >= part[: least + 1].max() - near)[-1])
    done = began + int(np.flatnonzero(part[began : least + 1] <= part[least] + near)[0])
    return _Drop(first + began, first + done)


def _deep(curve: _Curve, drops: Sequence[_Drop]) -> list[_Drop]:
    """Keep the drops whose levels before and after differ by more than noise and by a share of the whole.

    Looked at over a short and over a long stretch: the one shows through warming gas, the other through noise.
    """
    if not drops:
        return []
    earliest = [0, *(drop.last for drop in drops[:-1])]
    latest = [*(drop.first for drop in drops[1:]), len(curve.pressures) - 1]
    depths = [_depths(curve, *each) for each in zip(drops, earliest, latest, strict=True)]
    least = max(_LEAST_DROP, _SURE * curve.noise, _DEPTH_SHARE * sum(max(0.0, each[0][0]) for each in depths))
    return [
        drop
        for drop, each in zip(drops, depths, strict=True)
        if any(depth >= max(least, doubt) for depth, doubt in each)
    ]


def _depths(curve: _Curve, drop: _Drop, since: int, until: int) -> tuple[tuple[float, float], ...]:
    """Return the depth of a drop, with how far noise could make it, over a short and over a long stretch."""
    found = []
    for around in (max(1, _points(curve, _PAUSE)), max(1, _points(curve, _STANDING))):
        before = curve.pressures[max(since, drop.first - around + 1) : drop.first + 1]
        after = curve.pressures[drop.last : min(until + 1, drop.last + around)]
        doubt = _SURE * curve.noise * (1 / len(before) + 1 / len(after)) ** 0.5
        found.append((float(before.mean() - after.mean()), doubt))
    return tuple(found)


def _runs(curve: _Curve, drops: Sequence[_Drop]) -> list[list[_Drop]]:
    """Part the drops where the bank was charged in between."""
    runs: list[list[_Drop]] = []
    for drop in drops:
        if runs and not _charged_between(curve, runs[-1], drop):
            runs[-1].append(drop)
        else:
            runs.append([drop])
    return runs


def _charged_between(curve: _Curve, run: Sequence[_Drop], following: _Drop) -> bool:
    start, end = curve.pressures[run[0].first], curve.pressures[run[-1].last]
    return float(curve.pressures[following.first] - end) > _CHARGED_SHARE * float(start - end)


def _chosen(runs: Sequence[list[_Drop]], functions: int | None) -> list[_Drop]:
    exact = [run for run in runs if len(run) == functions]
    most = max(len(run) for run in runs)
    return exact[-1] if exact else [run for run in runs if len(run) == most][-1]


def _next_after(runs: Sequence[list[_Drop]], chosen: list[_Drop]) -> _Drop | None:
    at = next(index for index, run in enumerate(runs) if run is chosen)
    return runs[at + 1][0] if at + 1 < len(runs) else None


def _measured(
    curve: _Curve, drops: Sequence[_Drop], following: _Drop | None
) -> tuple[tuple[FoundStep, ...], tuple[str, ...]]:
    """Read the pressures of each drop, and say after which ones a pump ran."""
    steps: list[FoundStep] = []
    said: list[str] = []
    for number, (drop, end) in enumerate(zip(drops, _wait_ends(curve, drops, following), strict=True), start=1):
        quickened = _pump_start(curve, drop.last, end)
        if quickened is not None and number < len(drops):
            said.append(f"After drop {number} the pressure climbs faster than warming gas: look whether a pump ran.")
        step = _step(curve, drop, end if quickened is None else quickened)
        if _is_charging(step, curve.pressures[drops[0].first]):
            said.append(f"After drop {number} the bank was charged at once: its settled pressure can't be told.")
            step = replace(step, settled_s=None, pressure_settled=None)
        steps.append(step)
    return tuple(steps), tuple(said)


def _wait_ends(curve: _Curve, drops: Sequence[_Drop], following: _Drop | None) -> list[int]:
    """Return where each wait ends; the last one is taken as long as the longest before it."""
    ends = [drop.first for drop in drops[1:]]
    last = len(curve.times) - 1 if following is None else following.first
    longest = max((end - drop.last for drop, end in zip(drops, ends, strict=False)), default=last)
    return [*ends, min(last, drops[-1].last + longest)]


def _is_charging(step: FoundStep, start: float) -> bool:
    if step.pressure_settled is None:
        return False
    return step.pressure_settled - step.pressure_at_once > _CHARGED_SHARE * (start - step.pressure_at_once)


def _step(curve: _Curve, drop: _Drop, end: int) -> FoundStep:
    at_once = _middle(curve, drop.last, min(end, drop.last + _points(curve, _READING)))
    found = FoundStep(
        began_s=float(curve.times[drop.first]),
        done_s=float(curve.times[drop.last]),
        pressure_before=_at_end(curve, max(0, drop.first - _points(curve, _STANDING)), drop.first),
        pressure_at_once=at_once,
        settled_s=None,
        pressure_settled=None,
    )
    if end - drop.last < max(1, _points(curve, _PAUSE)):
        return found
    standing = end - min(_points(curve, _STANDING), (end - drop.last) // 4)
    return replace(found, settled_s=float(curve.times[end]), pressure_settled=_at_end(curve, standing, end))


def _pump_start(curve: _Curve, first: int, last: int) -> int | None:
    """Return the grid point from which a climb quickens after having slowed, as no warming gas does; or None."""
    over = max(2, _points(curve, _CLIMB_OVER))
    if last - first < 2 * over:
        return None
    part = curve.pressures[first : last + 1]
    smooth = np.convolve(part, np.ones(over) / over, mode="valid")
    if len(smooth) <= over:
        return None
    pace = (smooth[over:] - smooth[:-over]) / (over * curve.every)
    slowest = np.minimum.accumulate(pace)
    doubt = 5 * curve.noise * (2 / over) ** 0.5 / (over * curve.every)
    quick = np.flatnonzero(pace > np.maximum(slowest, 0.0) + max(_PUMPED, doubt))
    # The first windows still hold the fall's end: their pace rises by itself.
    return None if not len(quick) else first + int(quick[0]) + over


def _points(curve: _Curve, seconds: float) -> int:
    return int(seconds / curve.every)


def _middle(curve: _Curve, first: int, last: int) -> GaugePressure:
    return GaugePressure(float(np.median(curve.pressures[first : last + 1])))


def _at_end(curve: _Curve, first: int, last: int) -> GaugePressure:
    """Return the pressure at the last point by the straight line through the stretch: noise does not decide."""
    part = curve.pressures[first : last + 1]
    if len(part) <= 3:
        return GaugePressure(float(part[-1]))
    since = np.arange(len(part)) - (len(part) - 1) / 2
    slope = float(np.dot(since, part - part.mean())) / float(np.dot(since, since))
    return GaugePressure(float(part.mean()) + slope * float(since[-1]))


def _miscounted(found: int, functions: int | None) -> tuple[str, ...]:
    if functions is None or found == functions:
        return ()
    if found < functions:
        why = "some were worked without a pause between them, or took too little fluid to be seen"
    else:
        why = "one may have been worked in two strokes, fluid was bled off, or one is missing from the list"
    return (f"{_drops_in_words(found)} found for {functions} functions: {why}. Check each against the notes taken.",)


def _unsampled(recording: Recording, steps: Sequence[FoundStep]) -> tuple[str, ...]:
    """Say in which drops samples are missing: what was not sampled is not known."""
    long = np.flatnonzero(np.diff(recording.elapsed) > _MISSING_SAMPLES * recording.median_interval)
    from_s, to_s = recording.elapsed[long], recording.elapsed[long + 1]
    broken = [
        str(number)
        for number, step in enumerate(steps, start=1)
        if bool(np.any((from_s < step.done_s + _READING) & (to_s > step.began_s)))
    ]
    if not broken:
        return ()
    return (f"Samples are missing in drop {', '.join(broken)}: its times and the pressure at once may be off.",)


def _other_runs(runs: Sequence[list[_Drop]]) -> tuple[str, ...]:
    if len(runs) == 1:
        return ()
    counts = ", ".join(str(len(run)) for run in runs)
    return (f"The bank was charged in between: {len(runs)} runs, of {counts} drops. One run is one test.",)


def _drops_in_words(count: int) -> str:
    return "1 drop was" if count == 1 else f"{count} drops were"
