"""Verdicts as they are kept on a step: plain JSON, pressures gauge in Pa, times in s, reasons in words.

``{"passes", "evidence", "low": {…}, "high": {…}, "curve": {"t": […], "p": […]} | None}``; each hold holds
``passes``, ``start_s``, ``end_s``, ``start_at``, ``end_at`` (ISO, where the clock is known), ``duration_s``,
``start_pressure``, ``end_pressure``, ``min_pressure``, ``max_pressure``, ``decay``, ``decay_rate`` (Pa/s),
``samples``, ``highest_before``, ``highest_before_s``, ``reasons`` and ``notes``; None where there is no such
figure. ``notes`` say what does not fail a hold that passes, but has to be looked for. ``over_rating`` of the whole
says that the lowest rating exposed was passed, within what is allowed; "" where it was not. ``apart`` says that a
pressure over what the step may stand under was seen beside it, and is taken for another step's; "" where none was.
``over_pressured`` says what over-pressured the step; "" where nothing did.
``low`` is None where no low test is asked.
``stretch`` is the fingerprint of the samples judged, by which a second step resting on them is found.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from calcs.hold_notes import high_notes, low_notes
from calcs.holds import OVER_RATING, PRESSURE_TOLERANCE, HoldRule
from calcs.readings import Reading, faults_of_high, faults_of_low, highest_of
from calcs.recordings import Recording, reduced
from calcs.steady import HIGH_SHARE, LOW_FALL
from calcs.stretches import fingerprint
from calcs.units import DISPLAY_UNITS, Dimension, System
from calcs.verdicts import HoldResult, HoldVerdict, OverPressured, Peak, Wording, in_words
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
    verdict: HoldVerdict, recording: Recording, rule: HoldRule, rig: Rig, *, start_s: float | None, end_s: float | None
) -> dict[str, Any]:
    """Return the verdict on a recording between two marks (s; None: its beginning or end)."""
    wording = wording_for(rig, recording.started_at)
    low_note = low_notes(verdict.low, recording, wording)
    high_note = high_notes(verdict.high, recording, wording, target=rule.high_target)
    return {
        "passes": verdict.passes,
        "evidence": "recording",
        "low": {**_hold(verdict.low, recording, wording), "notes": low_note} if verdict.low else None,
        "high": {**_hold(verdict.high, recording, wording), "notes": high_note},
        "over_rating": _over_rating(verdict.highest.pressure, rule, wording) if verdict.highest else "",
        "apart": _apart(verdict.apart, rule, wording),
        "over_pressured": _over_pressured(verdict, wording),
        "stretch": _stretch(verdict, recording),
        "curve": _curve(verdict, recording, start_s, end_s),
    }


def _over_pressured(verdict: HoldVerdict, wording: Wording) -> str:
    faults = (fault for fault in verdict.high.reasons if isinstance(fault, OverPressured))
    return next((in_words(fault, wording) for fault in faults), "")


def _stretch(verdict: HoldVerdict, recording: Recording) -> list[str] | None:
    """Return the fingerprint of the samples from the start of the low to the end of the high hold, with the ramp.

    Of a high hold alone it is of that hold.
    """
    start = verdict.first.start
    if start is None or verdict.high.end is None:
        return None
    return list(fingerprint(between(recording, start, verdict.high.end).pressures))


def of_readings(low: Reading | None, high: Reading, rule: HoldRule, rig: Rig) -> dict[str, Any]:
    """Return the verdict on readings typed in; `low` is None where no low test is asked."""
    wording = wording_for(rig)
    low_faults = faults_of_low(low, rule, wording) if low else ()
    high_faults = faults_of_high(high, low, rule, wording)
    return {
        "passes": not low_faults and not high_faults,
        "evidence": "typed",
        "low": {**_typed(low, low_faults), "notes": _typed_note("low", low, low_faults, LOW_FALL, wording)}
        if low
        else None,
        "high": {
            **_typed(high, high_faults),
            "notes": _typed_note("high", high, high_faults, HIGH_SHARE * rule.high_target, wording),
        },
        "over_rating": _over_rating(highest_of(low, high), rule, wording),
        "curve": None,
    }


def notes_of(verdict: Mapping[str, Any] | None) -> list[str]:
    """Return what does not fail the step but has to be looked for: falls that did not settle, pumping up."""
    if not verdict:
        return []
    return [note for _, hold in holds_of(verdict) for note in hold.get("notes", ())]


def holds_of(verdict: Mapping[str, Any]) -> list[tuple[str, Mapping[str, Any]]]:
    """Return the holds of a kept verdict by their phase: both, or the high one where no low test is asked."""
    return [(phase, verdict[phase]) for phase in ("low", "high") if verdict[phase] is not None]


def over_rating_of(verdict: Mapping[str, Any] | None) -> str:
    """Return in words that the lowest rating exposed was passed, within what is allowed; "" where it was not."""
    return str(verdict.get("over_rating", "")) if verdict else ""


def all_notes_of(verdict: Mapping[str, Any] | None) -> list[str]:
    """Return everything that does not fail the step but has to be seen, for a page or a paper."""
    return [note for note in (*notes_of(verdict), over_rating_of(verdict), apart_of(verdict)) if note]


def apart_of(verdict: Mapping[str, Any] | None) -> str:
    """Return in words that a pressure beside the step is taken for another step's; "" where none was."""
    return str(verdict.get("apart", "")) if verdict else ""


def _apart(peak: Peak | None, rule: HoldRule, wording: Wording) -> str:
    if peak is None or rule.rating is None:
        return ""
    return (
        f"{wording.pressure(peak.pressure)} was seen {wording.moment(peak.at)}, bled to zero before and after, and is "
        f"taken for another step's. Did it stand on this line-up, whose lowest rating is "
        f"{wording.pressure(rule.rating)}, the step is over-pressured: judge it on that hold."
    )


def _typed_note(name: str, hold: Reading, faults: tuple[str, ...], over: float, wording: Wording) -> list[str]:
    if faults or hold.decay <= over:
        return []
    rate = f"{wording.pressure(hold.decay / hold.duration * 60)}/min"
    return [
        f"The {name} pressure fell {wording.pressure(hold.decay)}, {rate}; two readings do not show that it settled, "
        "and a steady fall is a leak to be found (common practice)."
    ]


def _over_rating(peak: float, rule: HoldRule, wording: Wording) -> str:
    if rule.rating is None or peak <= rule.rating * (1 + PRESSURE_TOLERANCE) or rule.over_pressured(peak):
        return ""
    return (
        f"{wording.pressure(peak, beside=rule.rating)} was seen, over the lowest rating exposed, "
        f"{wording.pressure(rule.rating)}, by no more than the {OVER_RATING * 100:g} % allowed (common practice)."
    )


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
        for _, one in holds_of(first)
        for _, other in holds_of(second)
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
    """Return the recording around the judged holds and what over-pressured, reduced; all marked where none held."""
    first = 0.0 if start_s is None else start_s
    last = recording.duration if end_s is None else end_s
    holds = [hold for hold in (verdict.low, verdict.high) if hold is not None]
    edges = [edge for hold in holds for edge in (hold.start, hold.end) if edge is not None]
    peaks = [fault.at for fault in verdict.high.reasons if isinstance(fault, OverPressured) and fault.at is not None]
    if peaks:
        edges, first, last = [*edges, *peaks], min(first, *peaks), max(last, *peaks)
    if verdict.first.start is not None and verdict.high.end is not None:
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
