"""The events a due date hangs on, and the next moment at which it changes by itself.

Years of tests leave few that matter: the last that passed, what happened since, and what is known to lie ahead.
`kept` cuts a history down to those; `calcs.recurrence.due` gives the same answer over them as over the whole, at
every moment from the one they were cut for, as long as nothing more becomes known.
"""

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from calcs.recurrence import SOON, Deadline, Deferred, Due, Event, Interval, Known, Section, State, Tested, due

_INSTANT: Final = dt.timedelta(microseconds=1)


def kept(history: Sequence[Event], *, at: dt.datetime, forget: dt.timedelta | None = None) -> tuple[Event, ...]:
    """Return the events of `history`, in their order, that its date hangs on at `at` or at any later moment.

    What lies ahead of `at` is kept whole, running tests with it unless they are forgotten (see `due`).
    """
    moment = at.astimezone(dt.UTC)
    begun = [event for event in history if _moment(event) <= moment]
    held = {id(event) for event in history if _moment(event) > moment}
    ahead = [event for event in history if isinstance(event, Section) and id(event) in held]
    known = Known.of(begun, moment, _UTC, forget=forget)
    held |= _of(known)
    # A section ahead may ask for more, or for less: then another test is the last that counts.
    for section in ahead:
        later = [event for event in begun if not isinstance(event, Section)]
        placed = Section(dt.datetime.min.replace(tzinfo=dt.UTC), section.required_gauge)
        held |= _of(Known.of([placed, *later], moment, _UTC, forget=forget))
    return tuple(event for event in history if id(event) in held)


_UTC: Final = ZoneInfo("UTC")


def _moment(event: Event) -> dt.datetime:
    return event.started if isinstance(event, Tested) else event.at


def _of(known: Known) -> set[int]:
    """Return which events a walk through the history found to matter; what failed before the last pass does not."""
    found: list[Event | None] = [
        known.section,
        known.last_call,
        known.last_move,
        known.last_pass,
        *(test for test in (known.last_too_low, known.last_failure) if _is_after(test, known.last_pass)),
        known.deferral(None),
        max(known.repairs, key=lambda event: event.at, default=None),
        *known.running,
    ]
    test = known.last_pass
    if test is not None and test.concluded is not None:
        # A repair while that test ran is told beside the date.
        during = [event for event in known.repairs if test.started < event.at <= test.concluded]
        found.append(max(during, key=lambda event: event.at, default=None))
    return {id(event) for event in found if event is not None}


def _is_after(test: Tested | None, passed: Tested | None) -> bool:
    if passed is None or passed.concluded is None:
        return True
    return test is not None and test.concluded is not None and test.concluded > passed.concluded


def last_pass(history: Sequence[Event], *, at: dt.datetime) -> Tested | None:
    """Return the last test concluded by `at` that passed and is enough; None where a section ahead may ask for more.

    What was over before it bears on no date.
    """
    moment = at.astimezone(dt.UTC)
    if any(isinstance(event, Section) and event.at > moment for event in history):
        return None
    return Known.of(history, moment, _UTC).last_pass


@dataclass(frozen=True, slots=True)
class Clock:
    """What a due date runs by: interval, deadline, zone, and after how long a running test is forgotten."""

    interval: Interval | None
    deadline: Deadline | None
    zone: ZoneInfo
    forget: dt.timedelta | None = None

    def due(self, history: Sequence[Event], *, at: dt.datetime) -> Due:
        """Return when the item is due, see `calcs.recurrence.due`."""
        return due(self.interval, self.deadline, history, at=at, zone=self.zone, forget=self.forget)


def attention_at(clock: Clock, history: Sequence[Event], *, at: dt.datetime) -> dt.datetime | None:
    """Return the next moment after `at` at which state or date change by themselves, in UTC; None where none will.

    By themselves: with nothing more becoming known. A date comes near or passes, a deferral ends, a running test is
    forgotten or what is known to lie ahead comes about.
    """
    moment = at.astimezone(dt.UTC)
    known = tuple(history)
    now = clock.due(known, at=moment)
    seen = moment
    while True:
        ahead = {one for one in _candidates(clock, known, seen) if one > seen}
        if not ahead:
            return None
        seen = min(ahead)
        then = clock.due(known, at=seen)
        if standing(then) != standing(now):
            return seen


def standing(found: Due) -> tuple[State, dt.datetime | None]:
    """Return state and date, without a date that is but the moment asked for: due at once, and never heard of."""
    is_at_once = found.state in (State.DUE_NOW, State.IN_PROGRESS)
    # A date that stands on a paper counts from nothing either, and is a date.
    stands_for_now = is_at_once and found.counts_from is None and found.original_due_at is None
    return found.state, None if stands_for_now else found.due_at


def _candidates(clock: Clock, history: Iterable[Event], seen: dt.datetime) -> Iterator[dt.datetime]:
    """Yield the moments at which something may change, as far as can be told at `seen`."""
    found = clock.due(tuple(history), at=seen)
    dates = [found.due_at, found.original_due_at]
    for event in history:
        if isinstance(event, Tested):
            yield event.started.astimezone(dt.UTC)
            if event.concluded is not None:
                yield event.concluded.astimezone(dt.UTC)
            elif clock.forget is not None:
                yield event.started.astimezone(dt.UTC) + clock.forget + _INSTANT
        else:
            yield event.at.astimezone(dt.UTC)
            dates.append(event.until if isinstance(event, Deferred) else None)
    for date in dates:
        if date is not None:
            limit = date.astimezone(dt.UTC)
            yield limit - SOON
            yield limit
