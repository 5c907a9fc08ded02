"""Judging a low and a high hold from readings written down, where no recording stands.

Two readings a hold are all there is: its start and its end. They are judged by the same rule as samples as
far as two readings allow, and everything they can't show counts against them only where the rule asks for
it in writing: the highest pressure seen before the low hold. Pressures gauge in Pa, falls in Pa, times in s.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from calcs.errors import InputError
from calcs.hold_windows import TIME_TOLERANCE_S
from calcs.holds import PRESSURE_TOLERANCE, HoldRule, LowLimits
from calcs.units import Dimension, to_si
from calcs.verdicts import Wording, duration_in_words, in_words

HIGHEST_READING: Final = to_si(60_000.0, "psi", Dimension.PRESSURE)
"""Over this a figure is no test pressure but a slip of the hand; the limit of recorder files too."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One hold as written down.

    Attributes:
        start_at: when it began.
        end_at: when it ended.
        start_pressure: pressure then, Pa gauge.
        end_pressure: pressure at the end, Pa gauge.
        highest_before: for the low hold, the highest pressure seen before it since last at zero, Pa gauge.
    """

    start_at: datetime
    end_at: datetime
    start_pressure: float
    end_pressure: float
    highest_before: float | None = None

    def __post_init__(self) -> None:
        """Refuse a hold that ends before it began, and a pressure under zero or over any test."""
        if self.duration <= 0:
            raise InputError("end_at", "The hold ends before it began.", "Give an end after the start.")
        for field in ("start_pressure", "end_pressure", "highest_before"):
            given = getattr(self, field)
            if given is not None and given < 0:
                raise InputError(field, "The pressure is under zero.", "Give the gauge pressure as read.")
            if given is not None and given > HIGHEST_READING:
                reason = "Over 60,000 psi can't be a test pressure."
                raise InputError(field, reason, "Give the gauge pressure as read, with its unit.")

    @property
    def duration(self) -> float:
        """Time held, s."""
        return _seconds_between(self.start_at, self.end_at)

    @property
    def decay(self) -> float:
        """Fall from start to end, Pa; zero where it rose."""
        return max(0.0, self.start_pressure - self.end_pressure)


def _seconds_between(start: datetime, end: datetime) -> float:
    """Return the time from one moment to another; of two times of one zone Python would compare the clock faces."""
    return (end.astimezone(UTC) - start.astimezone(UTC)).total_seconds()


def faults_of_low(reading: Reading, rule: HoldRule, wording: Wording) -> tuple[str, ...]:
    """Return in words why the low hold does not meet the rule; empty when it does, or where none is asked."""
    low = rule.low
    if low is None:
        return ()
    faults = [
        _outside(pressure, when, low, wording)
        for when, pressure in (("start", reading.start_pressure), ("end", reading.end_pressure))
    ]
    peak = reading.highest_before
    if peak is not None and peak > low.restart_above * (1 + PRESSURE_TOLERANCE):
        faults.append(
            f"{wording.pressure(peak, beside=low.restart_above)} was seen before the low hold: over "
            f"{wording.pressure(low.restart_above)} the pressure must be bled to zero and the low hold begun again"
        )
    return (*(fault for fault in faults if fault), *_common(reading, rule, low.hold_s, wording))


def faults_of_high(reading: Reading, low: Reading | None, rule: HoldRule, wording: Wording) -> tuple[str, ...]:
    """Return in words why the high hold does not meet the rule; empty when it does."""
    faults = list(_over_rating(reading, low, rule, wording))
    if low is not None and _seconds_between(low.end_at, reading.start_at) < 0:
        faults.append("it began before the low hold was over: the low hold comes first")
    for when, pressure in (("start", reading.start_pressure), ("end", reading.end_pressure)):
        if pressure < rule.high_target * (1 - PRESSURE_TOLERANCE):
            said = wording.pressure(pressure, beside=rule.high_target)
            faults.append(f"the {when} reading, {said}, is under the {wording.pressure(rule.high_target)} required")
        elif rule.over_pressured(pressure) is not None:
            continue  # said once for the highest of all readings
        elif rule.high_max is not None and pressure > rule.high_max * (1 + PRESSURE_TOLERANCE):
            said = wording.pressure(pressure, beside=rule.high_max)
            faults.append(f"the {when} reading, {said}, is over the {wording.pressure(rule.high_max)} allowed")
    return (*faults, *_common(reading, rule, rule.hold_s, wording))


def _over_rating(high: Reading, low: Reading | None, rule: HoldRule, wording: Wording) -> tuple[str, ...]:
    fault = rule.over_pressured(highest_of(low, high))
    return () if fault is None else (in_words(fault, wording),)


def highest_of(low: Reading | None, high: Reading) -> float:
    """Return the highest pressure written down of both holds, Pa gauge."""
    held = [high] if low is None else [low, high]
    return max(max(one.start_pressure, one.end_pressure, one.highest_before or 0.0) for one in held)


def _outside(pressure: float, when: str, rule: LowLimits, wording: Wording) -> str:
    under = pressure < rule.low_min * (1 - PRESSURE_TOLERANCE)
    over = pressure > rule.low_max * (1 + PRESSURE_TOLERANCE)
    if not (under or over):
        return ""
    said = wording.pressure(pressure, beside=rule.low_min if under else rule.low_max)
    return (
        f"the {when} reading, {said}, lies outside {wording.pressure(rule.low_min)} to {wording.pressure(rule.low_max)}"
    )


def _common(reading: Reading, rule: HoldRule, hold_s: float, wording: Wording) -> tuple[str, ...]:
    faults = []
    if reading.duration < hold_s - TIME_TOLERANCE_S:
        held, needed = duration_in_words(reading.duration), duration_in_words(hold_s)
        faults.append(f"it was held for {held} of the {needed} needed")
    if rule.max_decay is not None and reading.decay > rule.max_decay * (1 + PRESSURE_TOLERANCE):
        fell = wording.pressure(reading.decay, beside=rule.max_decay)
        faults.append(f"it fell {fell}, more than the {wording.pressure(rule.max_decay)} allowed")
    return tuple(faults)
