"""The surfaces ``hold-check`` and ``find-holds``: a recording and what it had to hold, to a verdict."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from calcs.errors import InputError
from calcs.fields import Fields
from calcs.hold_matching import FoundHold, FoundHolds, find_holds
from calcs.hold_notes import high_notes, low_notes, seen_raised
from calcs.holds import HoldRule, judge
from calcs.recording_layouts import FIELD
from calcs.recordings import Recording, clock_time, read_recording
from calcs.rules import Edition
from calcs.steady import LOW_RAISED, RAISED_SHARE
from calcs.surfaces.answers import quantity_or_none, trimmed
from calcs.surfaces.recurrence import read_zone
from calcs.units import DISPLAY_UNITS, Dimension, System
from calcs.verdicts import HoldResult, HoldVerdict, Wording, in_words

_CONTENT: Final = "recording_csv"
_PRESSURES: Final = ("start_pressure", "end_pressure", "min_pressure", "max_pressure", "decay")


@dataclass(frozen=True, slots=True)
class HoldQuestion:
    """What ``hold-check`` was asked; the marks in elapsed s."""

    recording: Recording
    rule: HoldRule
    start: float | None
    end: float | None


@dataclass(frozen=True, slots=True)
class HoldAnswer:
    """A verdict with the recording it was given on."""

    recording: Recording
    verdict: HoldVerdict
    rule: HoldRule


@dataclass(frozen=True, slots=True)
class FindQuestion:
    """What ``find-holds`` was asked: one rule a step, in order."""

    recording: Recording
    rules: tuple[HoldRule, ...]


@dataclass(frozen=True, slots=True)
class FindAnswer:
    """The attempts found, with their recording."""

    recording: Recording
    found: FoundHolds


def parse_hold_check(fields: Fields, _: Sequence[Edition]) -> HoldQuestion:
    """Read a recording, a rule, and marks ``start`` and ``end`` if only a part is to be judged."""
    return HoldQuestion(
        rule=read_rule(fields.object("rule")),
        start=fields.si_or_none("start", Dimension.TIME),
        end=fields.si_or_none("end", Dimension.TIME),
        recording=read_recording_given(fields),
    )


def compute_hold_check(asked: HoldQuestion) -> HoldAnswer:
    """Judge the holds."""
    verdict = judge(asked.recording, asked.rule, start=asked.start, end=asked.end)
    return HoldAnswer(asked.recording, verdict, asked.rule)


def format_hold_check(answer: HoldAnswer, system: System) -> dict[str, Any]:
    """Write the verdict: pressures in the unit system, times in elapsed s and, with a clock, as moments."""
    written = _verdict(answer.verdict, answer.recording, system)
    wording = _wording(answer.recording, system)
    target = answer.rule.high_target
    if answer.verdict.low is not None:
        written["low"]["notes"] = low_notes(answer.verdict.low, answer.recording, wording)
        written["low"]["raised"] = _raised(answer, answer.verdict.low, LOW_RAISED, system)
    written["high"]["notes"] = high_notes(answer.verdict.high, answer.recording, wording, target=target)
    written["high"]["raised"] = _raised(answer, answer.verdict.high, RAISED_SHARE * target, system)
    return {**written, "recording": about_recording(answer.recording)}


def _raised(answer: HoldAnswer, hold: HoldResult, over: float, system: System) -> dict[str, Any] | None:
    """Write what was raised again inside a hold: how often, and by how much at most."""
    raised = seen_raised(hold, answer.recording, over=over)
    if raised is None:
        return None
    return {"times": raised.times, "most": quantity_or_none(raised.most, Dimension.PRESSURE, system)}


def _wording(recording: Recording, system: System) -> Wording:
    return Wording(DISPLAY_UNITS[system][Dimension.PRESSURE], recording.started_at)


def parse_find_holds(fields: Fields, _: Sequence[Edition]) -> FindQuestion:
    """Read a recording and the rules of the steps, in order."""
    rules = tuple(read_rule(each) for each in fields.objects("rules"))
    if not rules:
        raise InputError(fields.path("rules"), "No step is given.", "Give a list with one rule a step, in order.")
    return FindQuestion(recording=read_recording_given(fields), rules=rules)


def compute_find_holds(asked: FindQuestion) -> FindAnswer:
    """Cut the recording into attempts and propose their steps."""
    return FindAnswer(asked.recording, find_holds(asked.recording, asked.rules))


def format_find_holds(answer: FindAnswer, system: System) -> dict[str, Any]:
    """Write the attempts in order; steps are counted from 0, as the rules are in their list."""
    return {
        "holds": [_found(hold, answer.recording, system) for hold in answer.found.holds],
        "unmatched_steps": list(answer.found.unmatched),
        "not_passing_steps": list(answer.found.not_passing),
        "recording": about_recording(answer.recording),
    }


def read_rule(fields: Fields) -> HoldRule:
    """Return the rule of a step; raises InputError with the path of the value at fault.

    ``low`` given as null says that no low test is asked; left out it is an error, since a test without its low hold
    would pass unseen.
    """
    high = fields.object("high")
    low = None if fields.is_null("low") else fields.object("low")
    given: dict[str, Any] = {
        "low_min": low.si("min", Dimension.PRESSURE) if low else None,
        "low_max": low.si("max", Dimension.PRESSURE) if low else None,
        "restart_above": low.si("restart_above", Dimension.PRESSURE) if low else None,
        "low_hold_s": fields.si_or_none("low_hold", Dimension.TIME),
        "high_target": high.si("target", Dimension.PRESSURE),
        "high_max": high.si_or_none("max", Dimension.PRESSURE),
        "hold_s": fields.si("hold", Dimension.TIME),
        "max_decay": fields.si_or_none("max_decay", Dimension.PRESSURE),
        "max_gap_s": fields.si_or_none("max_gap", Dimension.TIME),
    }
    try:
        return HoldRule(**given)
    except InputError as error:
        raise error.under(fields.path_of_self) from error


def read_recording_given(fields: Fields) -> Recording:
    """Return the recording given as a file's text or as samples."""
    if fields.has(_CONTENT) == fields.has("samples"):
        raise InputError(
            fields.path(_CONTENT), "Exactly one recording is expected.", f"Give either {_CONTENT} or samples."
        )
    if fields.has("samples"):
        return _samples(fields.object("samples"))
    unit = fields.text("pressure_unit") if fields.has("pressure_unit") else None
    channel = fields.text("channel") if fields.has("channel") else None
    zone: ZoneInfo | None = fields.read("zone", read_zone) if fields.has("zone") else None
    content = fields.any(_CONTENT)
    if not isinstance(content, str):
        raise InputError(fields.path(_CONTENT), "The text of a recorder's file is expected.", "Give it as one text.")
    try:
        return read_recording(content, pressure_unit=unit, channel=channel, zone=zone)
    except InputError as error:
        field = _CONTENT if error.field == FIELD else error.field
        raise InputError(fields.path(field), error.reason, error.remedy) from error


def _samples(fields: Fields) -> Recording:
    times, pressures, unit = fields.any("t"), fields.any("p"), fields.text("pressure_unit")
    for key, given in (("t", times), ("p", pressures)):
        if not isinstance(given, list | tuple) or any(isinstance(item, bool | str) for item in given):
            raise InputError(fields.path(key), "A list of numbers is expected.", "Write it in square brackets.")
    try:
        return Recording.from_samples(times, pressures, unit)
    except InputError as error:
        raise error.under(fields.path_of_self) from error


def _verdict(verdict: HoldVerdict, recording: Recording, system: System) -> dict[str, Any]:
    low = None
    if verdict.low is not None:
        low = _hold(verdict.low, recording, system)
        low["peak_before_low"] = quantity_or_none(verdict.low.peak_before, Dimension.PRESSURE, system)
    return {"passes": verdict.passes, "low": low, "high": _hold(verdict.high, recording, system)}


def _hold(result: HoldResult, recording: Recording, system: System) -> dict[str, Any]:
    wording = _wording(recording, system)
    written: dict[str, Any] = {"passes": result.passes, **span(result.start, result.end, recording)}
    written["duration"] = seconds_or_none(result.duration)
    for name in _PRESSURES:
        written[name] = quantity_or_none(getattr(result, name), Dimension.PRESSURE, system)
    written["decay_rate"] = quantity_or_none(result.decay_rate, Dimension.PRESSURE_RATE, system)
    written["samples"] = result.samples
    written["reasons"] = [in_words(reason, wording) for reason in result.reasons]
    return written


def _found(hold: FoundHold, recording: Recording, system: System) -> dict[str, Any]:
    return {
        "step": hold.step,
        "judged_by_step": hold.judged_by,
        **span(hold.start, hold.end, recording),
        "why": hold.why,
        **_verdict(hold.verdict, recording, system),
    }


def span(start: float | None, end: float | None, recording: Recording) -> dict[str, Any]:
    """Write where something lies in a recording: in elapsed s and, with a clock, as moments."""
    found: dict[str, Any] = {"start": seconds_or_none(start), "end": seconds_or_none(end)}
    if recording.started_at is not None:
        found["start_at"] = _moment(start, recording.started_at)
        found["end_at"] = _moment(end, recording.started_at)
    return found


def seconds_or_none(elapsed: float | None) -> dict[str, Any] | None:
    """Write a time in s, or None for none."""
    return None if elapsed is None else {"value": trimmed(elapsed), "unit": "s"}


def _moment(elapsed: float | None, started_at: datetime) -> str | None:
    return None if elapsed is None else clock_time(started_at, elapsed).isoformat()


def about_recording(recording: Recording) -> dict[str, Any]:
    """Write what a recording is."""
    return {
        "samples": len(recording),
        "duration": seconds_or_none(recording.duration),
        "median_interval": seconds_or_none(recording.median_interval),
        "started_at": None if recording.started_at is None else recording.started_at.isoformat(),
        "pressure_unit": recording.unit,
        "channel": recording.channel,
        "channels": list(recording.channels),
        "channel_note": _channel_note(recording),
    }


def _channel_note(recording: Recording) -> str:
    """Return in words which of several columns was read; "" where the file has one."""
    others = [name for name in recording.channels if name != recording.channel]
    if not others:
        return ""
    return (
        f"Read from {recording.channel}. The file has other pressure columns: {'; '.join(others)}. "
        "Name the one of the test as channel if it is not this one."
    )
