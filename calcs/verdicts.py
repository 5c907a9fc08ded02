"""What was found of a hold, and why: results with their figures, and the one place that puts them in words.

Times are elapsed seconds of the recording, pressures gauge in Pa, falls in Pa.
"""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final, TypeAlias

from calcs.recordings import clock_time
from calcs.units import Dimension, from_si

_DECIMALS: Final = {"psi": 1, "kPa": 0, "bar": 2, "MPa": 3}
_MOST_DECIMALS: Final = 6


class Ended(StrEnum):
    """What ended a stretch of samples that met the limits."""

    FELL = "fell"
    ROSE = "rose"
    GAP = "gap"
    RECORDING = "recording"


@dataclass(frozen=True, slots=True)
class TooShort:
    """The limits were met, but for less than the hold.

    Attributes:
        held: longest contiguous time in s that met the limits.
        needed: the hold in s.
        floor: lower limit in Pa.
        ceiling: upper limit in Pa, or None.
        ended: what ended that time.
        ended_at: elapsed s of the sample that ended it, or of the last sample before a gap or the end.
        figure: the pressure in Pa of that sample; for a gap its length in s.
        after_gap: length in s of the gap just before that time, where a gap made it begin anew; or None.
    """

    held: float
    needed: float
    floor: float
    ceiling: float | None
    ended: Ended
    ended_at: float
    figure: float
    after_gap: float | None = None


@dataclass(frozen=True, slots=True)
class NeverWithin:
    """No sample met the limits; the nearest one was `nearest` Pa at `at` s.

    `after_low` tells whether only what follows the low hold was looked at.
    """

    floor: float
    ceiling: float | None
    nearest: float
    at: float
    after_low: bool = False


@dataclass(frozen=True, slots=True)
class FellTooMuch:
    """The hold lasted, but even its steadiest window fell by more than allowed (Pa; s)."""

    decay: float
    allowed: float
    from_pressure: float
    from_at: float
    to_pressure: float
    to_at: float


@dataclass(frozen=True, slots=True)
class NotBledOff:
    """More than `limit` Pa was seen before the low hold, and the pressure was not bled below `bled_below` since."""

    peak: float
    at: float
    limit: float
    bled_below: float


@dataclass(frozen=True, slots=True)
class HighBeforeLow:
    """The target was held only before the low hold."""

    at: float


@dataclass(frozen=True, slots=True)
class NothingAfterLow:
    """The recording, or the part judged, ends with the low hold."""

    at: float


@dataclass(frozen=True, slots=True)
class OverPressured:
    """`peak` Pa was seen at `at` s (None: no clock and no place) where the lowest rating exposed is `rating` Pa.

    `marked` tells whether it lies in the part marked; over-pressured outside it is over-pressured as well.
    """

    peak: float
    at: float | None
    rating: float
    marked: bool = True


@dataclass(frozen=True, slots=True)
class Peak:
    """The highest pressure of a stretch, Pa gauge, and when it was seen, elapsed s."""

    pressure: float
    at: float


Reason: TypeAlias = TooShort | NeverWithin | FellTooMuch | NotBledOff | HighBeforeLow | NothingAfterLow | OverPressured


@dataclass(frozen=True, slots=True)
class HoldResult:
    """One hold as judged; on failure the best attempt, if any sample met the limits at all.

    Attributes:
        passes: true when the window meets every condition of the rule.
        start: elapsed s of the window's first sample; None, like all below, when there was no attempt.
        end: elapsed s of its last sample.
        start_pressure: pressure of the first sample, Pa gauge.
        end_pressure: pressure of the last sample, Pa gauge.
        min_pressure: lowest pressure of the window, Pa gauge.
        max_pressure: highest pressure of the window, Pa gauge.
        decay: largest fall from any earlier to any later sample of the window, Pa.
        decay_rate: `decay` over the window's duration, Pa/s; None for a window of no duration.
        samples: samples in the window.
        peak_before: for the low hold, the highest pressure seen before it since the start of the part judged
            or since the pressure was last bled off, Pa gauge; None when there is no sample before it.
        peak_before_at: elapsed s of that peak.
        reasons: why it fails; empty when it passes.
    """

    passes: bool
    start: float | None = None
    end: float | None = None
    start_pressure: float | None = None
    end_pressure: float | None = None
    min_pressure: float | None = None
    max_pressure: float | None = None
    decay: float | None = None
    decay_rate: float | None = None
    samples: int = 0
    peak_before: float | None = None
    peak_before_at: float | None = None
    reasons: tuple[Reason, ...] = ()

    @property
    def duration(self) -> float | None:
        """Time in s from the window's first to its last sample."""
        return None if self.start is None or self.end is None else self.end - self.start


@dataclass(frozen=True, slots=True)
class HoldVerdict:
    """The low and the high hold of one step; it passes when both do.

    Attributes:
        low: the low hold; None where no low test is asked.
        high: the high hold.
        highest: the highest pressure the step answers for, in or outside the part marked.
        apart: a pressure over what the step may stand under that is taken for another step's; None for none.
    """

    low: HoldResult | None
    high: HoldResult
    highest: Peak | None = None
    apart: Peak | None = None

    @property
    def first(self) -> HoldResult:
        """The hold that comes first: the low one, or the high one where no low test is asked."""
        return self.high if self.low is None else self.low

    @property
    def passes(self) -> bool:
        """True when the low hold, where one is asked, passes and a high hold after it passes."""
        return (self.low is None or self.low.passes) and self.high.passes


@dataclass(frozen=True, slots=True)
class Wording:
    """How figures are said: the pressure unit, and the clock when the recording has one."""

    pressure_unit: str = "psi"
    started_at: datetime | None = None

    def pressure(self, pascal: float, *, beside: float | None = None) -> str:
        """Return a pressure in words, with as many decimals as it takes to tell it from the limit `beside`."""
        value = from_si(pascal, self.pressure_unit, Dimension.PRESSURE)
        decimals = _DECIMALS.get(self.pressure_unit, 2)
        if beside is not None:
            limit = from_si(beside, self.pressure_unit, Dimension.PRESSURE)
            while decimals < _MOST_DECIMALS and round(value, decimals) == round(limit, decimals):
                decimals += 1
        text = f"{value:,.{decimals}f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        return f"{'0' if text == '-0' else text} {self.pressure_unit}"

    def moment(self, elapsed: float) -> str:
        """Return a moment as the clock shows it, or as time into the recording."""
        if self.started_at is not None:
            return f"at {clock_time(self.started_at, elapsed):%H:%M:%S}"
        whole = int(elapsed + 1e-6)
        return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d} into the recording"


def duration_in_words(seconds: float) -> str:
    """Return a time in words, cut (never rounded up) to tenths of a second.

    >>> duration_in_words(192)
    '3 min 12 s'
    >>> duration_in_words(299.99)
    '4 min 59.9 s'
    """
    tenths = int(seconds * 10 + 1e-5)
    minutes, rest = divmod(tenths, 600)
    if not minutes:
        return f"{rest / 10:g} s"
    return f"{minutes} min" + (f" {rest / 10:g} s" if rest else "")


def in_words(reason: Reason, wording: Wording) -> str:
    """Return one reason as a sentence without its full stop, with the figures that decided."""
    match reason:
        case TooShort():
            return _too_short(reason, wording)
        case NeverWithin():
            return _never_within(reason, wording)
        case FellTooMuch(decay, allowed, from_pressure, from_at, to_pressure, to_at):
            return (
                f"fell {wording.pressure(decay, beside=allowed)}, more than the {wording.pressure(allowed)} allowed: "
                f"from {wording.pressure(from_pressure)} {wording.moment(from_at)} "
                f"to {wording.pressure(to_pressure)} {wording.moment(to_at)}"
            )
        case NotBledOff(peak, at, limit, bled_below):
            return (
                f"{wording.pressure(peak, beside=limit)} was seen {wording.moment(at)}, before the low hold: over "
                f"{wording.pressure(limit)} the pressure must be bled to zero (below {wording.pressure(bled_below)}) "
                "and the low hold begun again"
            )
        case HighBeforeLow(at):
            return f"the target was reached only before the low hold, {wording.moment(at)}: the low hold comes first"
        case NothingAfterLow(at):
            return f"nothing was recorded after the low hold, which ends {wording.moment(at)}"
        case OverPressured(peak, at, rating, marked):
            when = "" if at is None else f" {wording.moment(at)}"
            when += "" if marked else ", outside the part marked"
            return (
                f"{wording.pressure(peak, beside=rating)} was seen{when}; the lowest rating exposed is "
                f"{wording.pressure(rating)}: over-pressured, inspect before it is relied on"
            )


def _limits(floor: float, ceiling: float | None, wording: Wording) -> str:
    if ceiling is None:
        return f"{wording.pressure(floor)} or more"
    return f"{wording.pressure(floor)} to {wording.pressure(ceiling)}"


def _too_short(reason: TooShort, wording: Wording) -> str:
    held = (
        f"held {_limits(reason.floor, reason.ceiling, wording)} for {duration_in_words(reason.held)} "
        f"of the {duration_in_words(reason.needed)} needed"
    )
    if reason.after_gap is not None:
        held += f", counted anew after {duration_in_words(reason.after_gap)} without a sample"
    moment = wording.moment(reason.ended_at)
    match reason.ended:
        case Ended.FELL:
            return f"{held}; fell to {wording.pressure(reason.figure, beside=reason.floor)} {moment}"
        case Ended.ROSE:
            return f"{held}; rose to {wording.pressure(reason.figure, beside=reason.ceiling)} {moment}"
        case Ended.GAP:
            return f"{held}; {duration_in_words(reason.figure)} without a sample follow {moment}"
        case Ended.RECORDING:
            return f"{held}; the part judged ends {moment}"


def _never_within(reason: NeverWithin, wording: Wording) -> str:
    nearest = f"{wording.pressure(reason.nearest, beside=_nearer_limit(reason))} {wording.moment(reason.at)}"
    after = " after the low hold" if reason.after_low else ""
    if reason.ceiling is None:
        then = " then" if reason.after_low else ""
        return f"never reached {wording.pressure(reason.floor)}{after}; the highest{then} was {nearest}"
    return f"no sample{after} lay in {_limits(reason.floor, reason.ceiling, wording)}; the nearest was {nearest}"


def _nearer_limit(reason: NeverWithin) -> float:
    return reason.floor if reason.ceiling is None or reason.nearest < reason.floor else reason.ceiling
