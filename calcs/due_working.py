"""The working of a due date: which events it counts on, which it leaves out and why, and the sum written out.

Nothing is decided here: the date is that of `calcs.recurrence.due`, and the working is told so that somebody with a
calendar can follow it.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

from calcs.moments import date_words, limit_words, moment_words, offset_words
from calcs.recurrence import (
    TEST,
    Deadline,
    Deferred,
    Doing,
    Due,
    Event,
    EventKind,
    Happened,
    Interval,
    IntervalUnit,
    Known,
    Section,
    State,
    Tested,
    deadline_after,
    due,
)


class Part(StrEnum):
    """What an event does to the date.

    COUNTS: the date counts from it, or it decides which test counts. LEFT_OUT: it could have and does not.
    """

    COUNTS = "counts"
    LEFT_OUT = "left-out"


@dataclass(frozen=True, slots=True)
class Weighed:
    """An event, whether the date counts on it, and why or why not in words.

    Attributes:
        event: what happened.
        at: when it became known: a test's conclusion, else its start.
        part: whether it counts.
        why: in words.
    """

    event: Event
    at: dt.datetime
    part: Part
    why: str


@dataclass(frozen=True, slots=True)
class SumLine:
    """One line of a sum: what it finds and what it comes to, in words."""

    label: str
    value: str


def weighed(
    history: Sequence[Event],
    *,
    at: dt.datetime,
    zone: ZoneInfo,
    forget: dt.timedelta | None = None,
    doing: Doing = TEST,
) -> tuple[Weighed, ...]:
    """Return every event known by `at`, the earliest first, each with the part it plays in the date.

    >>> oslo = ZoneInfo("Europe/Oslo")
    >>> day = lambda number: dt.datetime(2026, 3, number, 12, tzinfo=oslo)
    >>> history = [Tested(day(1), day(1), passed=True), Tested(day(9), day(9), passed=False)]
    >>> [(one.part.value, one.why) for one in weighed(history, at=day(10), zone=oslo)]
    [('counts', 'Passed: the clock counts from its conclusion.'), ('left-out', 'Failed: it renews nothing.')]
    """
    moment = at.astimezone(dt.UTC)
    known = Known.of(history, moment, zone, forget=forget, doing=doing)
    found = [_weigh(event, known) for event in history if _begins(event) <= moment]
    return tuple(sorted(found, key=lambda one: one.at.astimezone(dt.UTC)))


def _begins(event: Event) -> dt.datetime:
    return event.started if isinstance(event, Tested) else event.at


def _weigh(event: Event, known: Known) -> Weighed:
    if isinstance(event, Tested):
        return _weigh_test(event, known)
    if isinstance(event, Section):
        return _weigh_section(event, known)
    if isinstance(event, Deferred):
        return _weigh_deferral(event, known)
    return _weigh_happening(event, known)


def _weigh_test(test: Tested, known: Known) -> Weighed:
    if test.concluded is None or test.concluded > known.at:
        if test in known.running:
            return Weighed(test, test.started, Part.COUNTS, "Running: begun and not concluded.")
        broken_off = test.passed is False
        why = "Broken off without a result." if broken_off else "Begun long ago and never concluded: it is forgotten."
        return Weighed(test, test.started, Part.LEFT_OUT, why)
    at, passed_at = test.concluded, known.passed_at
    if not test.passed:
        return Weighed(test, at, Part.LEFT_OUT, "Failed: it renews nothing.")
    if test.falls_short:
        return Weighed(test, at, Part.LEFT_OUT, f"Passed, but counts no more: {test.falls_short}.")
    if not known.is_enough(test):
        return Weighed(test, at, Part.LEFT_OUT, "Passed, but at a pressure too low for the section being drilled.")
    if test is not known.last_pass and passed_at is not None:
        return Weighed(test, at, Part.LEFT_OUT, f"Passed; superseded by the one of {known.say(passed_at)}.")
    trigger = known.trigger
    if trigger is not None:
        return Weighed(test, at, Part.LEFT_OUT, f"Passed, before what calls for another on {known.say(trigger.at)}.")
    return Weighed(test, at, Part.COUNTS, "Passed: the clock counts from its conclusion.")


_CALLS: Final = {
    EventKind.INSTALLED: "Installed: calls for a {0} at once.",
    EventKind.REPAIRED: "Repaired: calls for a {0} at once.",
    EventKind.BACK_IN_SERVICE: "Back in service: calls for a {0} at once.",
    EventKind.OUT_OF_SERVICE: "Out of service: nothing is asked until it is back.",
}


def _weigh_happening(event: Happened, known: Known) -> Weighed:
    out_since, passed_at = known.out_of_service_since, known.passed_at
    if event.kind is EventKind.OUT_OF_SERVICE:
        if out_since is not None and event is known.last_move:
            return Weighed(event, event.at, Part.COUNTS, _CALLS[event.kind])
        return Weighed(event, event.at, Part.LEFT_OUT, "Out of service; it came back since.")
    if out_since is not None:
        return Weighed(event, event.at, Part.LEFT_OUT, "It is out of service.")
    if passed_at is not None and event.at <= passed_at:
        said = f"Answered by the {known.doing.noun} of {known.say(passed_at)}."
        return Weighed(event, event.at, Part.LEFT_OUT, said)
    if event is known.last_call:
        return Weighed(event, event.at, Part.COUNTS, _CALLS[event.kind].format(known.doing.noun))
    return Weighed(event, event.at, Part.LEFT_OUT, "Followed by a later event that calls for the same.")


def _weigh_section(event: Section, known: Known) -> Weighed:
    if event is not known.section:
        return Weighed(event, event.at, Part.LEFT_OUT, "A later section is being drilled.")
    if event.required_gauge is None:
        return Weighed(event, event.at, Part.LEFT_OUT, "Section begun; it states no pressure of its own.")
    why = f"Section begun: no {known.doing.noun} under its pressure counts."
    return Weighed(event, event.at, Part.COUNTS, why)


def _weigh_deferral(event: Deferred, known: Known) -> Weighed:
    trigger, passed_at = known.trigger, known.passed_at
    if known.out_of_service_since is None and event is known.deferral(trigger.at if trigger else passed_at):
        return Weighed(event, event.at, Part.COUNTS, f"Deferred until {limit_words(event.until, known.zone)}.")
    return Weighed(event, event.at, Part.LEFT_OUT, "A deferral that something after it ended.")


def sum_of(
    interval: Interval | None,
    deadline: Deadline | None,
    history: Sequence[Event],
    *,
    at: dt.datetime,
    zone: ZoneInfo,
    forget: dt.timedelta | None = None,
    doing: Doing = TEST,
) -> tuple[SumLine, ...]:
    """Return the sum behind the date as of `at`, line by line.

    >>> chicago = ZoneInfo("America/Chicago")  # clocks go forward on 8 March 2026
    >>> concluded = dt.datetime(2026, 3, 1, 2, 10, tzinfo=chicago)
    >>> history = [Tested(concluded, concluded, passed=True)]
    >>> for line in sum_of(Interval.parse("14 d"), Deadline.MIDNIGHT, history, at=concluded, zone=chicago):
    ...     print(f"{line.label}: {line.value}")
    Counts from: 1 Mar 2026, 02:10 UTC−6 (test concluded, passed)
    Day of that on the rig: 1 Mar 2026
    Plus 14 days on the calendar: 15 Mar 2026
    End of that day: 16 Mar 2026, 00:00 UTC−5, exclusive
    The same in UTC: 16 Mar 2026, 05:00 UTC
    Clocks change between: 8 Mar 2026, 03:00 UTC−5: from UTC−6 to UTC−5, 1 h forward
    Time that passes: 14 d 20 h 50 min
    Begin before: midnight at the end of 15 Mar 2026, UTC−5
    """
    answer = due(interval, deadline, history, at=at, zone=zone, forget=forget, doing=doing)
    return tuple(_lines(answer, interval, deadline, zone, doing))


def _lines(
    answer: Due, interval: Interval | None, deadline: Deadline | None, zone: ZoneInfo, doing: Doing
) -> Iterator[SumLine]:
    since = answer.counts_from
    if since is None or answer.counts_from_kind is None:
        yield SumLine("Counts from", f"nothing: {doing.never.lower()}, so it is due at once")
    else:
        yield SumLine("Counts from", f"{moment_words(since, zone)} ({_what(answer.counts_from_kind, doing)})")
    if since is not None and answer.counts_from_kind is EventKind.TESTED:
        if interval is None or deadline is None:
            yield SumLine("Interval", "none: only events call for it again")
        else:
            yield from _clock_lines(since, interval, deadline, zone)
    elif answer.state is State.OUT_OF_SERVICE:
        yield SumLine("Due", "nothing, while it is out of service")
    elif since is not None:
        yield SumLine("Due", "at once, from that moment")
    is_moved, is_counted = answer.original_due_at is not None, answer.counts_from_kind is EventKind.TESTED
    if answer.due_at is not None and (is_moved or is_counted):
        yield SumLine("Moved by a deferral to" if is_moved else "Begin before", limit_words(answer.due_at, zone))


def _what(kind: EventKind, doing: Doing) -> str:
    if kind is EventKind.TESTED:
        return f"{doing.noun} concluded, passed"
    return _KIND_WORDS[kind]


_KIND_WORDS: Final = {
    EventKind.INSTALLED: "installed",
    EventKind.REPAIRED: "repaired",
    EventKind.BACK_IN_SERVICE: "back in service",
    EventKind.OUT_OF_SERVICE: "out of service",
    EventKind.SECTION: "section begun",
    EventKind.DEFERRED: "deferred",
}


def _clock_lines(since: dt.datetime, interval: Interval, deadline: Deadline, zone: ZoneInfo) -> Iterator[SumLine]:
    limit = deadline_after(since, interval, deadline, zone)
    by_calendar = deadline is Deadline.MIDNIGHT or interval.unit in (IntervalUnit.MONTHS, IntervalUnit.YEARS)
    if by_calendar:
        last = (limit.astimezone(dt.UTC) - _INSTANT).astimezone(zone) if deadline is Deadline.MIDNIGHT else limit
        yield SumLine("Day of that on the rig", date_words(since.astimezone(zone)))
        yield SumLine(f"Plus {interval.words} on the calendar", date_words(last))
    else:
        hours = interval.count * (1 if interval.unit is IntervalUnit.HOURS else _HOURS_A_DAY)
        yield SumLine(f"Plus {interval.words}", f"{hours:,} hours that pass, whatever the clocks do")
    label = "End of that day" if deadline is Deadline.MIDNIGHT else "To the same clock time" if by_calendar else "Due"
    yield SumLine(label, f"{moment_words(limit, zone)}, exclusive")
    yield SumLine("The same in UTC", moment_words(limit, _UTC))
    for change in clock_changes(since, limit, zone):
        yield SumLine("Clocks change between", _change_words(change, zone))
    yield SumLine("Time that passes", length_words(limit.astimezone(dt.UTC) - since.astimezone(dt.UTC)))


_INSTANT: Final = dt.timedelta(microseconds=1)
_HOURS_A_DAY: Final = 24
_UTC: Final = ZoneInfo("UTC")
_DAY: Final = dt.timedelta(days=1)
_SECOND: Final = dt.timedelta(seconds=1)


def clock_changes(begin: dt.datetime, end: dt.datetime, zone: ZoneInfo) -> tuple[dt.datetime, ...]:
    """Return the moments, in `zone`, at which its clocks are put forward or back after `begin` and up to `end`.

    >>> [one.isoformat() for one in clock_changes(dt.datetime(2026, 1, 1, tzinfo=dt.UTC),
    ...     dt.datetime(2027, 1, 1, tzinfo=dt.UTC), ZoneInfo("Europe/Oslo"))]
    ['2026-03-29T03:00:00+02:00', '2026-10-25T02:00:00+01:00']
    """
    found = []
    here, last = begin.astimezone(dt.UTC), end.astimezone(dt.UTC)
    while here < last:
        # A day at a time: no zone changes its clocks twice within one.
        there = min(here + _DAY, last)
        if _offset(here, zone) != _offset(there, zone):
            found.append(_change_within(here, there, zone).astimezone(zone))
        here = there
    return tuple(found)


def _change_within(before: dt.datetime, after: dt.datetime, zone: ZoneInfo) -> dt.datetime:
    """Return the first second at which the offset is that of `after`."""
    old = _offset(before, zone)
    low, high = 0, int((after - before) / _SECOND)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _offset(before + middle * _SECOND, zone) == old else (low, middle)
    return (before + high * _SECOND).replace(microsecond=0)


def _offset(moment: dt.datetime, zone: ZoneInfo) -> dt.timedelta:
    return moment.astimezone(zone).utcoffset() or dt.timedelta()


def _change_words(change: dt.datetime, zone: ZoneInfo) -> str:
    before = (change.astimezone(dt.UTC) - _SECOND).astimezone(zone)
    step = (change.utcoffset() or dt.timedelta()) - (before.utcoffset() or dt.timedelta())
    way = "forward" if step > dt.timedelta() else "back"
    told = f"from {offset_words(before)} to {offset_words(change)}, {length_words(abs(step))} {way}"
    return f"{moment_words(change, zone)}: {told}"


def rough_length_words(length: dt.timedelta) -> str:
    """Return a length of time in its two largest units, rounded down: what is long needs no minutes.

    >>> [rough_length_words(dt.timedelta(days=2, minutes=left)) for left in (605, 5)]
    ['2 d 10 h', '2 d']
    """
    whole = length if length < _DAY else length - length % dt.timedelta(hours=1)
    return length_words(whole)


def length_words(length: dt.timedelta) -> str:
    """Return a length of time in days, hours and minutes that passed, rounded down to the minute.

    >>> length_words(dt.timedelta(days=3, hours=10)), length_words(dt.timedelta(seconds=59))
    ('3 d 10 h', 'under 1 min')
    """
    minutes = int(length.total_seconds() // 60)
    days, rest = divmod(minutes, 24 * 60)
    hours, left = divmod(rest, 60)
    parts = [f"{count} {unit}" for count, unit in ((days, "d"), (hours, "h"), (left, "min")) if count]
    return " ".join(parts) or "under 1 min"
