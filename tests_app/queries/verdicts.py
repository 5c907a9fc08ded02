"""Verdicts as they are kept on a step: plain JSON, pressures gauge in Pa, times in s, reasons in words.

``{"passes", "evidence", "low": {…}, "high": {…}, "curve": {"t": […], "p": […]} | None}``; each hold holds
``passes``, ``start_s``, ``end_s``, ``start_at``, ``end_at`` (ISO, where the clock is known), ``duration_s``,
``start_pressure``, ``end_pressure``, ``min_pressure``, ``max_pressure``, ``decay``, ``decay_rate`` (Pa/s),
``samples``, ``highest_before``, ``highest_before_s`` and ``reasons``; None where there is no such figure.
"""

from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from calcs.holds import HoldRule
from calcs.readings import Reading, faults_of_high, faults_of_low
from calcs.recordings import Recording, reduced
from calcs.units import DISPLAY_UNITS, Dimension, System
from calcs.verdicts import HoldResult, HoldVerdict, Wording, in_words
from equipment.models import Rig

CURVE_POINTS: Final = 800
"""Points kept of the curve around a judged step."""
_MARGIN: Final = 0.15
"""What is shown before the low and after the high hold, as a share of the time between."""


def wording_for(rig: Rig, started_at: datetime | None = None) -> Wording:
    """Return how figures are said on this rig: in its display unit, on its clock."""
    system: System = "si" if rig.display_units == "si" else "us"
    local = started_at.astimezone(rig.zone) if started_at else None
    return Wording(DISPLAY_UNITS[system][Dimension.PRESSURE], local)


def of_recording(
    verdict: HoldVerdict, recording: Recording, rig: Rig, *, start_s: float | None, end_s: float | None
) -> dict[str, Any]:
    """Return the verdict on a recording between two marks (s; None: its beginning or end)."""
    wording = wording_for(rig, recording.started_at)
    return {
        "passes": verdict.passes,
        "evidence": "recording",
        "low": _hold(verdict.low, recording, wording),
        "high": _hold(verdict.high, recording, wording),
        "curve": _curve(verdict, recording, start_s, end_s),
    }


def of_readings(low: Reading, high: Reading, rule: HoldRule, rig: Rig) -> dict[str, Any]:
    """Return the verdict on readings typed in."""
    wording = wording_for(rig)
    low_faults = faults_of_low(low, rule, wording)
    high_faults = faults_of_high(high, low, rule, wording)
    return {
        "passes": not low_faults and not high_faults,
        "evidence": "typed",
        "low": _typed(low, low_faults),
        "high": _typed(high, high_faults),
        "curve": None,
    }


def concluded_at(verdict: dict[str, Any]) -> datetime | None:
    """Return when the judged high hold ended, where the clock is known."""
    ended = verdict["high"]["end_at"]
    return datetime.fromisoformat(ended) if ended else None


def overlaps(first: dict[str, Any] | None, second: dict[str, Any] | None) -> bool:
    """Tell whether two kept verdicts judge a stretch of one recording in common."""
    if first is None or second is None:
        return False
    return any(
        one["start_s"] is not None
        and other["start_s"] is not None
        and one["start_s"] < other["end_s"]
        and other["start_s"] < one["end_s"]
        for one in (first["low"], first["high"])
        for other in (second["low"], second["high"])
    )


def _hold(result: HoldResult, recording: Recording, wording: Wording) -> dict[str, Any]:
    return {
        "passes": result.passes,
        "start_s": result.start,
        "end_s": result.end,
        "start_at": _clock(recording, result.start),
        "end_at": _clock(recording, result.end),
        "duration_s": result.duration,
        "start_pressure": result.start_pressure,
        "end_pressure": result.end_pressure,
        "min_pressure": result.min_pressure,
        "max_pressure": result.max_pressure,
        "decay": result.decay,
        "decay_rate": result.decay_rate,
        "samples": result.samples,
        "highest_before": result.peak_before,
        "highest_before_s": result.peak_before_at,
        "reasons": [in_words(reason, wording) for reason in result.reasons],
    }


def _clock(recording: Recording, elapsed: float | None) -> str | None:
    at = None if elapsed is None else recording.clock(elapsed)
    return None if at is None else at.astimezone(ZoneInfo("UTC")).isoformat()


def _typed(reading: Reading, faults: tuple[str, ...]) -> dict[str, Any]:
    return {
        "passes": not faults,
        "start_s": None,
        "end_s": None,
        "start_at": reading.start_at.isoformat(),
        "end_at": reading.end_at.isoformat(),
        "duration_s": reading.duration,
        "start_pressure": reading.start_pressure,
        "end_pressure": reading.end_pressure,
        "min_pressure": min(reading.start_pressure, reading.end_pressure),
        "max_pressure": max(reading.start_pressure, reading.end_pressure),
        "decay": reading.decay,
        "decay_rate": reading.decay / reading.duration,
        "samples": 2,
        "highest_before": reading.highest_before,
        "highest_before_s": None,
        "reasons": list(faults),
    }


def _curve(verdict: HoldVerdict, recording: Recording, start_s: float | None, end_s: float | None) -> dict[str, Any]:
    """Return the recording around the judged holds, reduced; all between the marks where no hold was found."""
    first = 0.0 if start_s is None else start_s
    last = recording.duration if end_s is None else end_s
    edges = [edge for hold in (verdict.low, verdict.high) for edge in (hold.start, hold.end) if edge is not None]
    if verdict.low.start is not None and verdict.high.end is not None:
        margin = _MARGIN * (max(edges) - min(edges))
        first, last = max(first, min(edges) - margin), min(last, max(edges) + margin)
    t, p = reduced(between(recording, first, last), CURVE_POINTS)
    return {"t": [round(float(one), 3) for one in t + first_time(recording, first)], "p": [float(one) for one in p]}


def first_time(recording: Recording, start_s: float) -> float:
    """Return the elapsed time of the first sample at or after `start_s`."""
    return float(recording.elapsed[int(np.searchsorted(recording.elapsed, start_s))])


def between(recording: Recording, start_s: float, end_s: float) -> Recording:
    """Return the part of a recording between two times, its own clock starting at its first sample."""
    first = int(np.searchsorted(recording.elapsed, start_s))
    stop = int(np.searchsorted(recording.elapsed, end_s, side="right"))
    times = recording.elapsed[first:stop]
    return Recording(
        elapsed=times - times[0],
        pressures=recording.pressures[first:stop],
        started_at=recording.clock(float(times[0])),
        unit=recording.unit,
        channels=recording.channels,
        channel=recording.channel,
        skipped_lines=recording.skipped_lines,
    )
