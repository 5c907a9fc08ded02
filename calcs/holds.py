"""Judging a low and a high hold on the raw samples of a recording.

The low hold comes first, inside its band; then the high hold, at or over its target. Where no low test is asked the
high hold stands alone. A hold is a contiguous
time in which every single sample meets the limits: nothing is interpolated, and a gap in the samples is a
failure to prove, not a pass. Pressures are gauge in Pa, times elapsed seconds.

Basis: 30 CFR 250.737(b) and (c) (low band, restart over the limit, low before high, hold), from memory; the
superseded 250.448 for the same logic. That no decline is allowed below the required pressure, and that a window
is judged by its largest fall, is common practice.
"""

import math
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np

from calcs.errors import InputError
from calcs.exposure import ALONE, BLED_OFF, Beside, Exposure
from calcs.hold_windows import (
    TIME_TOLERANCE_S,
    BoolArray,
    FloatArray,
    Runs,
    Windows,
    runs_where,
    windows_in,
)
from calcs.recordings import Recording
from calcs.verdicts import (
    Ended,
    FellTooMuch,
    HighBeforeLow,
    HoldResult,
    HoldVerdict,
    NeverWithin,
    NotBledOff,
    NothingAfterLow,
    OverPressured,
    Reason,
    TooShort,
)

PRESSURE_TOLERANCE: Final = 1e-9
"""Relative tolerance on pressure limits: room for the conversion of units, far under what any gauge resolves."""

LEAST_ATTEMPT: Final = 0.1
"""Share of the hold a stretch must last to be taken for an attempt rather than for a ramp passing through."""

OVER_RATING: Final = 0.05
"""Share a pressure may pass the lowest rating exposed: pumping a little over, to hold at the rating (common practice).

Over the rating but within this share is worth a note; over the share the equipment is over-pressured."""

LEAST_MAX_GAP_S: Final = 30.0
MEDIAN_INTERVALS_IN_GAP: Final = 5


class LowLimits(NamedTuple):
    """What the low hold has to meet: its band, the pressure over which it is begun again, and its time; Pa, s."""

    low_min: float
    low_max: float
    restart_above: float
    hold_s: float


@dataclass(frozen=True, slots=True)
class HoldRule:
    """What a step has to hold: gauge pressures in Pa, times in s.

    Attributes:
        low_min: lowest pressure of the low band; None, like the two below, where no low test is asked.
        low_max: highest pressure of the low band.
        restart_above: a pressure over this, seen before the low hold, must be bled to zero first.
        high_target: the pressure every sample of the high hold must reach.
        hold_s: the time each hold must last.
        high_max: highest pressure allowed in the high hold, or None.
        max_decay: largest fall allowed inside a hold, or None.
        max_gap_s: longest time between two samples of a hold; None for five times the median interval of the
            recording, at least 30 s.
        rating: the lowest rating among what the pressure reaches, or None; nothing the step stood under may
            pass it by more than `OVER_RATING`: in a hold, between holds, or outside the part marked.
        low_hold_s: the time the low hold must last, where that is another; None for `hold_s`.

    Raises InputError with the path of the value at fault (``low.min``, ``high.target``, ``hold`` …).
    """

    low_min: float | None
    low_max: float | None
    restart_above: float | None
    high_target: float
    hold_s: float
    high_max: float | None = None
    max_decay: float | None = None
    max_gap_s: float | None = None
    rating: float | None = None
    low_hold_s: float | None = None

    @property
    def low(self) -> LowLimits | None:
        """What the low hold has to meet; None where no low test is asked."""
        if self.low_min is None or self.low_max is None or self.restart_above is None:
            return None
        hold_s = self.hold_s if self.low_hold_s is None else self.low_hold_s
        return LowLimits(self.low_min, self.low_max, self.restart_above, hold_s)

    @property
    def never_above(self) -> float | None:
        """The pressure nothing may pass, in Pa gauge; None where no rating is given."""
        return None if self.rating is None else self.rating * (1 + OVER_RATING)

    def over_pressured(self, peak: float, at: float | None = None, *, marked: bool = True) -> OverPressured | None:
        """Return the fault of a `peak` (Pa gauge, seen at `at` s) over what nothing may pass; None below that."""
        if self.rating is None or self.never_above is None or peak <= self.never_above * (1 + PRESSURE_TOLERANCE):
            return None
        return OverPressured(peak, at, self.rating, marked)

    def __post_init__(self) -> None:
        """Refuse a rule that contradicts itself."""
        self._refuse_negative()
        low = self.low
        given = (self.low_min, self.low_max, self.restart_above)
        _refuse(low is None and given != (None, None, None), "low", "The low test is not given as a whole.")
        if low is not None:
            _refuse(low.low_max < low.low_min, "low.max", "The top of the low band lies under its bottom.")
            _refuse(low.restart_above < low.low_max, "low.restart_above", "The restart limit lies inside the low band.")
            _refuse(self.high_target <= low.low_max, "high.target", "The high target does not lie over the low band.")
        _refuse(
            self.high_max is not None and self.high_max < self.high_target,
            "high.max",
            "The highest pressure allowed lies under the target.",
        )

    def _refuse_negative(self) -> None:
        above_zero = {
            "low.min": self.low_min,
            "hold": self.hold_s,
            "low_hold": self.low_hold_s,
            "high.target": self.high_target,
            "max_gap": self.max_gap_s,
            "high.rating": self.rating,
        }
        others = {
            "low.max": self.low_max,
            "low.restart_above": self.restart_above,
            "high.max": self.high_max,
            "max_decay": self.max_decay,
        }
        for field, value in {**above_zero, **others}.items():
            if value is None:
                continue
            _refuse(not math.isfinite(value), field, "The number is not finite.")
            _refuse(value < 0, field, "The value is negative.")
            _refuse(value == 0 and field in above_zero, field, "The value is zero.")

    def gap_for(self, recording: Recording) -> float:
        """Return the longest time in s between two samples of a hold, on this recording."""
        if self.max_gap_s is not None:
            return self.max_gap_s
        # The median of half a million intervals takes its time and decides only for a slow recorder.
        quick = np.diff(recording.elapsed) <= LEAST_MAX_GAP_S / MEDIAN_INTERVALS_IN_GAP
        if 2 * int(np.count_nonzero(quick)) > len(quick):
            return LEAST_MAX_GAP_S
        return max(LEAST_MAX_GAP_S, MEDIAN_INTERVALS_IN_GAP * recording.median_interval)


_REMEDIES: Final = {
    "low": "Give its bottom, its top and its restart limit, or none of them.",
    "low.min": "Give the bottom of the low band, over zero.",
    "low.max": "Give a top of the low band that is not under its bottom.",
    "low.restart_above": "Give a restart limit at or over the top of the low band.",
    "high.target": "Give a target over the top of the low band.",
    "high.max": "Give a highest pressure at or over the target, or leave it out.",
    "high.rating": "Give the lowest rating exposed, over zero, or leave it out.",
    "hold": "Give a hold longer than zero, for instance 5 min.",
    "low_hold": "Give a hold longer than zero, or leave it out where both last the same.",
    "max_decay": "Give zero or more, or leave it out.",
    "max_gap": "Give a time longer than zero, or leave it out.",
}


def _refuse(wrong: bool, field: str, reason: str) -> None:
    if wrong:
        raise InputError(field, reason, _REMEDIES[field])


def judge(
    recording: Recording,
    rule: HoldRule,
    *,
    start: float | None = None,
    end: float | None = None,
    beside: Beside = ALONE,
) -> HoldVerdict:
    """Return the verdict on the low and the high hold between `start` and `end` (elapsed s; None: the whole).

    Whenever a low hold that meets the rule is followed by a high hold that does, such a pair is found: the
    earliest good low opens the search, the judged high is the steadiest after it, and the judged low the
    steadiest that ends before that high begins. Otherwise each result is the best attempt with its reasons.

    Whether a pressure over the restart limit was bled off is looked for in the samples before `start` too: a mark
    set after the peak would else hide it. A pressure over the rating is looked for in the whole recording, up to
    what other steps are judged on (`beside`).

    Where the rule asks no low test, the judged high is the steadiest of the whole part.

    Raises InputError on ``start`` or ``end`` when fewer than two samples lie between the marks.
    """
    span = _Span.between(recording, rule, start, end)
    low, high = _low_and_high(span)
    exposure = Exposure.of(recording, start, end, beside)
    peak, apart = exposure.charged(beside), exposure.apart
    fault = rule.over_pressured(peak.pressure, peak.at, marked=span.holds(peak.at))
    if fault is not None:
        high = replace(high, passes=False, reasons=(fault, *high.reasons))
    anothers = exposure.is_anothers(beside) and apart is not None and rule.over_pressured(apart.pressure)
    return HoldVerdict(low, high, highest=peak, apart=apart if anothers else None)


def _low_and_high(span: "_Span") -> tuple[HoldResult | None, HoldResult]:
    """Return both holds as judged; no low one where none is asked: then a high hold anywhere in the part counts."""
    if span.rule.low is None:
        return None, _high_result(span, 0, low_found=False)
    low = _LowSearch.of(span, span.rule.low)
    high_from = low.earliest_end + 1
    high = _high_result(span, high_from, low_found=low.found)
    # A clock of whole seconds may give the end of the low and the start of the high the same time.
    return low.result(max(span.index_of(high.start), high_from)), high


class _Limits(NamedTuple):
    """What every sample of one hold has to meet, Pa gauge, and for how long, s."""

    floor: float
    ceiling: float | None
    hold_s: float


@dataclass(frozen=True, slots=True)
class _Span:
    """The part of a recording that is judged, with the rule and the samples before it since the last bleeding off."""

    times: FloatArray
    pressures: FloatArray
    times_before: FloatArray
    pressures_before: FloatArray
    rule: HoldRule
    max_gap: float

    @classmethod
    def between(cls, recording: Recording, rule: HoldRule, start: float | None, end: float | None) -> "_Span":
        times = recording.elapsed
        for field, mark in (("start", start), ("end", end)):
            if mark is not None and not math.isfinite(mark):
                raise InputError(field, "The mark is not a finite time.", "Give elapsed seconds.")
        first = 0 if start is None else int(np.searchsorted(times, start - TIME_TOLERANCE_S, side="left"))
        stop = len(times) if end is None else int(np.searchsorted(times, end + TIME_TOLERANCE_S, side="right"))
        if stop - first < 2:
            field = "start" if end is None or (start is not None and start > times[-1]) else "end"
            raise InputError(
                field,
                "Fewer than two samples lie between the marks.",
                f"The recording runs from 0 s to {float(times[-1]):g} s; set the start before the end inside it.",
            )
        bled = np.flatnonzero(recording.pressures[:first] < BLED_OFF)
        since = int(bled[-1]) if len(bled) else 0
        return cls(
            times=times[first:stop],
            pressures=recording.pressures[first:stop],
            times_before=times[since:first],
            pressures_before=recording.pressures[since:first],
            rule=rule,
            max_gap=rule.gap_for(recording),
        )

    def holds(self, elapsed: float) -> bool:
        """Tell whether a time lies in the part marked."""
        return bool(self.times[0] <= elapsed <= self.times[-1])

    def index_of(self, elapsed: float | None) -> int:
        """Return the index of the sample at `elapsed`; past the last when None."""
        return len(self.times) if elapsed is None else int(np.searchsorted(self.times, elapsed))

    def runs(self, meets: BoolArray, offset: int = 0) -> Runs:
        found = runs_where(meets, self.times[offset:], self.max_gap)
        return Runs(found.first + offset, found.last + offset)

    def windows(self, runs: Runs, hold_s: float) -> Windows:
        return windows_in(runs, self.times, self.pressures, hold_s)

    def allows(self, decay: float) -> bool:
        """Tell whether the rule allows a fall of `decay`."""
        return self.rule.max_decay is None or decay <= self.rule.max_decay * (1 + PRESSURE_TOLERANCE)

    def good(self, windows: Windows) -> Windows:
        """Return the windows that fall by no more than the rule allows."""
        allowed = self.rule.max_decay
        return windows if allowed is None else windows.where(windows.decay <= allowed * (1 + PRESSURE_TOLERANCE))

    def result(self, first: int, last: int, decay: float, reasons: tuple[Reason, ...] = ()) -> HoldResult:
        held = self.pressures[first : last + 1]
        duration = float(self.times[last] - self.times[first])
        return HoldResult(
            passes=not reasons,
            start=float(self.times[first]),
            end=float(self.times[last]),
            start_pressure=float(held[0]),
            end_pressure=float(held[-1]),
            min_pressure=float(held.min()),
            max_pressure=float(held.max()),
            decay=decay,
            decay_rate=decay / duration if duration > 0 else None,
            samples=len(held),
            reasons=reasons,
        )

    def short_run(self, first: int, last: int, limits: _Limits) -> TooShort:
        """Return why the run from `first` to `last` is too short: by what it ended."""
        held = float(self.times[last] - self.times[first])
        where, what, figure = last, Ended.RECORDING, float(self.pressures[last])
        if last + 1 < len(self.times):
            gap = self.gap_before(last + 1)
            if gap is not None:
                what, figure = Ended.GAP, gap
            else:
                where, figure = last + 1, float(self.pressures[last + 1])
                what = Ended.FELL if figure < limits.floor else Ended.ROSE
        ended_at, after_gap = float(self.times[where]), self.gap_before(first)
        return TooShort(held, limits.hold_s, limits.floor, limits.ceiling, what, ended_at, figure, after_gap)

    def gap_before(self, index: int) -> float | None:
        """Return the length of the gap that ends with the sample at `index`; None where there is none."""
        gap = float(self.times[index] - self.times[index - 1]) if index else 0.0
        return gap if gap > self.max_gap + TIME_TOLERANCE_S else None

    def fall(self, first: int, last: int) -> FellTooMuch:
        """Return the largest fall of a window, with where it began and ended."""
        held = self.pressures[first : last + 1]
        falls = np.maximum.accumulate(held) - held
        bottom = int(np.argmax(falls))
        top = int(np.argmax(held[: bottom + 1]))
        return FellTooMuch(
            decay=float(falls[bottom]),
            allowed=self.rule.max_decay or 0.0,
            from_pressure=float(held[top]),
            from_at=float(self.times[first + top]),
            to_pressure=float(held[bottom]),
            to_at=float(self.times[first + bottom]),
        )

    def failed(self, first: int, last: int, limits: _Limits, *more: Reason) -> HoldResult:
        """Return the best attempt, a run of samples within the limits, with why it is not enough."""
        run = Runs(np.array([first]), np.array([last]))
        windows = self.windows(run, limits.hold_s)
        if not len(windows):
            decay = self.fall(first, last).decay
            return self.result(first, last, decay, (*more, self.short_run(first, last, limits)))
        best = windows.steadiest(self.pressures)
        first, last = int(windows.start[best]), int(windows.end[best])
        fell = () if len(self.good(windows)) else (self.fall(first, last),)
        return self.result(first, last, float(windows.decay[best]), (*more, *fell))


def _best_low_attempt(
    span: _Span, in_band: BoolArray, spoilt: BoolArray | None, hold_s: float
) -> tuple[int, int] | None:
    """Return the longest stretch in the band; one begun without bleeding off only where no other was meant."""
    longest = span.runs(in_band).longest(span.times)
    if longest is None or spoilt is None:
        return longest
    clean = span.runs(in_band & ~spoilt).longest(span.times)
    meant = clean is not None and span.times[clean[1]] - span.times[clean[0]] >= LEAST_ATTEMPT * hold_s
    return clean if meant else longest


def _at_most(pressures: FloatArray, limit: float) -> BoolArray:
    return pressures <= limit + abs(limit) * PRESSURE_TOLERANCE


def _at_least(pressures: FloatArray, limit: float) -> BoolArray:
    return pressures >= limit - abs(limit) * PRESSURE_TOLERANCE


def _spoilt(pressures: FloatArray, restart_above: float) -> BoolArray | None:
    """Return where more than `restart_above` was seen before without bleeding off since; None for nowhere."""
    over = ~_at_most(pressures, restart_above)
    if not bool(over.any()):
        return None
    level = over.view(np.int8) - (pressures < BLED_OFF).view(np.int8)
    changes = np.append(0, np.flatnonzero(level[1:] != level[:-1]) + 1)
    decided = level[changes] != 0
    latest = np.maximum.accumulate(np.where(decided, np.arange(len(changes)), 0))
    spoilt = level[changes][latest] > 0
    return np.repeat(spoilt, np.diff(np.append(changes, len(pressures))))


@dataclass(frozen=True, slots=True)
class _LowSearch:
    """The low hold: the windows that meet the rule, or else the best attempt.

    Attributes:
        windows: the good ones; empty when there is none.
        attempt: first and last index of the best attempt when there is no good window; None without any.
    """

    span: _Span
    limits: LowLimits
    windows: Windows
    attempt: tuple[int, int] | None
    spoilt: BoolArray | None

    @classmethod
    def of(cls, span: _Span, limits: LowLimits) -> "_LowSearch":
        in_band = _at_least(span.pressures, limits.low_min) & _at_most(span.pressures, limits.low_max)
        spoilt = _spoilt(np.append(span.pressures_before, span.pressures), limits.restart_above)
        spoilt = None if spoilt is None else spoilt[len(span.pressures_before) :]
        windows = span.windows(span.runs(in_band if spoilt is None else in_band & ~spoilt), limits.hold_s)
        good = span.good(windows)
        if len(good):
            return cls(span, limits, good, None, spoilt)
        if len(windows):
            best = windows.steadiest(span.pressures)
            return cls(span, limits, good, (int(windows.start[best]), int(windows.end[best])), spoilt)
        return cls(span, limits, good, _best_low_attempt(span, in_band, spoilt, limits.hold_s), spoilt)

    @property
    def found(self) -> bool:
        return bool(len(self.windows)) or self.attempt is not None

    @property
    def earliest_end(self) -> int:
        """Index of the last sample of the earliest good window, or of the attempt; -1 without either."""
        if len(self.windows):
            return int(self.windows.end[0])
        return -1 if self.attempt is None else self.attempt[1]

    def result(self, before: int) -> HoldResult:
        """Return the low hold as judged, ending before the sample at index `before`."""
        if len(self.windows):
            usable = self.windows.where(self.windows.end < before)
            best = usable.steadiest(self.span.pressures)
            first, last, decay = int(usable.start[best]), int(usable.end[best]), float(usable.decay[best])
            return self._with_peak(self.span.result(first, last, decay), first)
        if self.attempt is None:
            return HoldResult(passes=False, reasons=(self._nearest(),))
        first, last = self.attempt
        spoilt = self.spoilt is not None and bool(self.spoilt[first])
        peak = (self._not_bled(first),) if spoilt else ()
        limits = _Limits(self.limits.low_min, self.limits.low_max, self.limits.hold_s)
        result = self.span.failed(first, last, limits, *peak)
        return self._with_peak(result, first)

    def _nearest(self) -> NeverWithin:
        low_min, low_max = self.limits.low_min, self.limits.low_max
        pressures = self.span.pressures
        off = np.maximum(low_min - pressures, pressures - low_max)
        at = int(np.argmin(off))
        return NeverWithin(low_min, low_max, float(pressures[at]), float(self.span.times[at]))

    def _peak(self, first: int) -> tuple[float, float] | None:
        """Return the highest pressure before index `first`, since the last bleeding off, and when."""
        pressures = np.append(self.span.pressures_before, self.span.pressures[:first])
        times = np.append(self.span.times_before, self.span.times[:first])
        bled = np.flatnonzero(pressures < BLED_OFF)
        since = int(bled[-1]) if len(bled) else 0
        before = pressures[since:]
        if not len(before):
            return None
        at = int(np.argmax(before))
        return float(before[at]), float(times[since + at])

    def _not_bled(self, first: int) -> NotBledOff:
        peak, at = self._peak(first) or (float(self.span.pressures[first]), float(self.span.times[first]))
        return NotBledOff(peak, at, self.limits.restart_above, BLED_OFF)

    def _with_peak(self, result: HoldResult, first: int) -> HoldResult:
        peak = self._peak(first)
        if peak is None:
            return result
        return replace(result, peak_before=peak[0], peak_before_at=peak[1])


def _high_result(span: _Span, offset: int, *, low_found: bool) -> HoldResult:
    """Return the high hold as judged on the samples from index `offset` on."""
    rule = span.rule
    pressures = span.pressures[offset:]
    if not len(pressures):
        return HoldResult(passes=False, reasons=_nothing_after(span, offset))
    at_target = _at_least(pressures, rule.high_target)
    if rule.high_max is not None:
        at_target &= _at_most(pressures, rule.high_max)
    runs = span.runs(at_target, offset)
    windows = span.windows(runs, rule.hold_s)
    if len(windows):
        best = windows.steadiest(span.pressures)
        first, last, decay = int(windows.start[best]), int(windows.end[best]), float(windows.decay[best])
        if span.allows(decay):
            return span.result(first, last, decay)
        return span.result(first, last, decay, (span.fall(first, last),))
    attempt = runs.longest(span.times)
    if attempt is not None:
        return span.failed(*attempt, _Limits(rule.high_target, rule.high_max, rule.hold_s))
    return HoldResult(passes=False, reasons=_never_high(span, offset, low_found=low_found))


def _held_before(span: _Span, offset: int) -> tuple[Reason, ...]:
    earlier = np.flatnonzero(_at_least(span.pressures[:offset], span.rule.high_target))
    return (HighBeforeLow(float(span.times[earlier[0]])),) if len(earlier) else ()


def _nothing_after(span: _Span, offset: int) -> tuple[Reason, ...]:
    return (NothingAfterLow(float(span.times[offset - 1])), *_held_before(span, offset))


def _never_high(span: _Span, offset: int, *, low_found: bool) -> tuple[Reason, ...]:
    """Return the reasons when no sample after the low hold lies at the target."""
    rule, pressures = span.rule, span.pressures[offset:]
    over = rule.high_max is not None and not bool((pressures < rule.high_target).all())
    off = np.abs(pressures - rule.high_target) if over else -pressures
    at = int(np.argmin(off))
    ceiling = rule.high_max if over else None
    pressure, moment = float(pressures[at]), float(span.times[offset + at])
    nearest = NeverWithin(rule.high_target, ceiling, pressure, moment, after_low=low_found)
    return (*(_held_before(span, offset) if low_found else ()), nearest)
