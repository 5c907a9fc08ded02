"""When a requirement was not met: every time of it, for how long, why, and what ended it.

Two things are told apart that an auditor counts: *overdue* (the interval ran out) and *open* (something happened
that calls for a test, or none was ever passed, and none was made). A deferral is named and not counted; so is a test
that runs, once it began in time: 30 CFR 250.737(a)(2) asks when a test begins, not when it ends.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final
from zoneinfo import ZoneInfo

from calcs.conditions import NOT_MET, Basis, Condition, Span, in_utc, spans
from calcs.moments import limit_words, moment_words
from calcs.recurrence import (
    TEST,
    Deadline,
    Deferred,
    Doing,
    Event,
    EventKind,
    Interval,
    Section,
    State,
    Tested,
    due,
)

_NOT_MET_STATES: Final = frozenset({State.OVERDUE, State.DUE_NOW})


@dataclass(frozen=True, slots=True)
class Exceedance:
    """A time over which a requirement was not met without a break, or was past its date and deferred.

    Attributes:
        condition: OVERDUE or OPEN, as it began, or DEFERRED.
        begin: when it began, in the rig's zone.
        end: when it ended; None while it runs on.
        why: in words.
        ended: what ended it, in words.
        ended_by: the event that did; None where the clock did, or while it runs on.
        basis: what it rested on when it began.
    """

    condition: Condition
    begin: dt.datetime
    end: dt.datetime | None
    why: str
    ended: str
    ended_by: Event | None
    basis: Basis

    @property
    def counted(self) -> bool:
        """Tell whether the requirement was not met; a deferral is named and not counted."""
        return self.condition in NOT_MET

    def length(self, since: dt.datetime, until: dt.datetime) -> dt.timedelta:
        """Return how much of it lies between two moments."""
        return overlap(self.begin, self.end, since, until)


def overlap(begin: dt.datetime, end: dt.datetime | None, since: dt.datetime, until: dt.datetime) -> dt.timedelta:
    """Return how much of a span, open-ended without `end`, lies between two moments: time that passed.

    >>> chicago = ZoneInfo("America/Chicago")  # clocks go back in the night to 1 November
    >>> day = dt.datetime(2026, 11, 1, tzinfo=chicago), dt.datetime(2026, 11, 2, tzinfo=chicago)
    >>> overlap(*day, dt.datetime(2026, 10, 1, tzinfo=chicago), dt.datetime(2026, 12, 1, tzinfo=chicago))
    datetime.timedelta(days=1, seconds=3600)
    """
    first = max(in_utc(begin), in_utc(since))
    last = in_utc(until) if end is None else min(in_utc(end), in_utc(until))
    return max(last - first, dt.timedelta())


def was_met(
    interval: Interval | None,
    deadline: Deadline | None,
    history: Sequence[Event],
    *,
    at: dt.datetime,
    zone: ZoneInfo,
    forget: dt.timedelta | None = None,
) -> bool:
    """Tell whether the requirement was met at a moment, from what had happened by then.

    A test that runs meets it; what is out of service is asked nothing.
    """
    return due(interval, deadline, history, at=at, zone=zone, forget=forget).state not in _NOT_MET_STATES


def exceedances(
    interval: Interval | None,
    deadline: Deadline | None,
    history: Sequence[Event],
    *,
    since: dt.datetime,
    until: dt.datetime,
    zone: ZoneInfo,
    forget: dt.timedelta | None = None,
    doing: Doing = TEST,
) -> tuple[Exceedance, ...]:
    """Return every time between `since` and `until` over which the requirement was not met, and every deferral.

    One that began before `since` is given from its own beginning; `Exceedance.length` cuts it to any two moments.
    What lies after `until` is not known to it. `forget` and `doing` are those of `calcs.recurrence.due`.

    >>> chicago = ZoneInfo("America/Chicago")
    >>> tested = Tested(*(dt.datetime(2026, 10, 25, hour, tzinfo=chicago) for hour in (8, 10)), passed=True)
    >>> late = Tested(*(dt.datetime(2026, 11, 11, hour, tzinfo=chicago) for hour in (6, 12)), passed=True)
    >>> found = exceedances(Interval.parse("14 d"), Deadline.MIDNIGHT, [tested, late],
    ...                     since=tested.started, until=late.started + dt.timedelta(days=3), zone=chicago)
    >>> [(one.begin.isoformat(), one.ended) for one in found]
    [('2026-11-09T00:00:00-06:00', 'Passed 11 Nov 2026, 12:00 UTC−6')]
    """
    found = spans(interval, deadline, history, since=since, until=until, zone=zone, forget=forget)
    return told(found, zone, doing)


def told(found: Sequence[Span], zone: ZoneInfo, doing: Doing = TEST) -> tuple[Exceedance, ...]:
    """Return the exceedances among spans that follow one another: those not met without a break are one."""
    runs: list[list[Span]] = []
    for before, span in zip([None, *found], found, strict=False):
        if span.condition in NOT_MET and before is not None and _goes_on(before, span):
            runs[-1].append(span)
        elif span.condition in NOT_MET or span.condition is Condition.DEFERRED:
            runs.append([span])
    return tuple(_exceedance(run, _Teller(zone, doing)) for run in runs)


def _goes_on(before: Span, span: Span) -> bool:
    touches = before.end is not None and in_utc(before.end) == in_utc(span.begin)
    return touches and before.condition in NOT_MET


def cut(
    found: Sequence[Span], begin: dt.datetime | None, end: dt.datetime | None, *, ended: str = ""
) -> tuple[Span, ...]:
    """Return the spans cut to what lies from `begin` and before `end`; `ended` says what ended the last at `end`."""
    kept = []
    for span in found:
        last = span
        if end is not None and (span.end is None or in_utc(span.end) > in_utc(end)):
            last = replace(span, end=end, ended_by=None, ended_otherwise=ended)
        if begin is not None and in_utc(last.begin) < in_utc(begin):
            last = replace(last, begin=begin)
        if last.end is None or in_utc(last.end) > in_utc(last.begin):
            kept.append(last)
    return tuple(kept)


def joined(pieces: Sequence[Sequence[Span]]) -> tuple[Span, ...]:
    """Return pieces that follow one another as one; where they touch, what is alike becomes one span.

    What was asked may have changed between two pieces; a span keeps the basis it began with.
    """
    found: list[Span] = []
    for span in (span for piece in pieces for span in piece):
        before = found[-1] if found else None
        touches = before is not None and before.end is not None and in_utc(before.end) == in_utc(span.begin)
        if before is not None and touches and before.condition is span.condition:
            kept = (before.condition, before.begin, span.end, before.basis)
            found[-1] = Span(*kept, span.ended_by, span.ended_otherwise)
        else:
            found.append(span)
    return tuple(found)


# Words

_SINCE_WORDS: Final = {
    EventKind.INSTALLED: "Installed",
    EventKind.REPAIRED: "Repaired",
    EventKind.BACK_IN_SERVICE: "Back in service",
}
_HAPPENED_WORDS: Final = {**_SINCE_WORDS, EventKind.OUT_OF_SERVICE: "Taken out of service"}


def _exceedance(run: Sequence[Span], teller: "_Teller") -> Exceedance:
    first, last = run[0], run[-1]
    why = " ".join(dict.fromkeys(teller.why(span) for span in run))
    return Exceedance(first.condition, first.begin, last.end, why, teller.ended(last), last.ended_by, first.basis)


@dataclass(frozen=True, slots=True)
class _Teller:
    """Says why a span began and what ended it."""

    zone: ZoneInfo
    doing: Doing

    def why(self, span: Span) -> str:
        basis = span.basis
        if basis.words:
            return basis.words
        if span.condition is Condition.DEFERRED:
            return f"{self._was_due(basis)}; deferred until {self._limit(basis.limit)}."
        if span.condition is Condition.OPEN:
            return f"{self._opened(basis)}.{self._failure(basis)}"
        if basis.deferral is not None:
            ran_out = f"The deferral ran out at {self._limit(basis.limit)}. {self._was_due(basis)}."
            return ran_out + self._failure(basis)
        concluded = basis.passed.concluded if basis.passed is not None else None
        every = basis.interval.words if basis.interval is not None else "a time"
        said = f", {every} after the one that passed {self._moment(concluded)}" if concluded else ""
        return (
            f"No {self.doing.noun} begun before {self._limit(basis.limit)}{said}.{self._failure(basis, in_time=True)}"
        )

    def _was_due(self, basis: Basis) -> str:
        if basis.trigger is not None or basis.passed is None:
            return self._opened(basis)
        return f"Due before {self._limit(basis.original)}"

    def _opened(self, basis: Basis) -> str:
        trigger, noun = basis.trigger, self.doing.noun
        if trigger is None:
            return f"Never passed a {noun} that counts"
        when = self._moment(trigger.at)
        if isinstance(trigger, Section):
            return f"Section begun {when} that asks for a higher pressure, and no {noun} at it since"
        return f"{_SINCE_WORDS[trigger.kind]} {when}, and no {noun} passed since"

    def _failure(self, basis: Basis, *, in_time: bool = False) -> str:
        failed = basis.failed
        if failed is None or failed.concluded is None:
            return ""
        begun = ", begun in time," if in_time and basis.limit is not None and failed.started < basis.limit else ""
        return f" The {self.doing.noun} concluded {self._moment(failed.concluded)}{begun} failed."

    def ended(self, span: Span) -> str:
        if span.end is None:
            return "Not ended"
        if span.ended_otherwise:
            return span.ended_otherwise
        when, event = self._moment(span.end), span.ended_by
        if event is None:
            return f"{'Ran out' if span.condition is Condition.DEFERRED else 'Ended'} {when}"
        if isinstance(event, Tested):
            return self._ended_by_test(event, span.end, when)
        if isinstance(event, Deferred):
            return f"Deferred {when}, until {self._limit(event.until)}"
        if isinstance(event, Section):
            return f"Section begun {when}, for which an earlier {self.doing.noun} is enough"
        return f"{_HAPPENED_WORDS[event.kind]} {when}"

    def _ended_by_test(self, test: Tested, end: dt.datetime, when: str) -> str:
        noun = self.doing.noun
        if test.concluded is None or in_utc(test.concluded) != in_utc(end):
            return f"{noun[:1].upper()}{noun[1:]} begun {when}"
        return f"Passed {when}" if test.passed else f"Failed {when}"

    def _moment(self, moment: dt.datetime) -> str:
        return moment_words(moment, self.zone)

    def _limit(self, moment: dt.datetime | None) -> str:
        return limit_words(moment, self.zone) if moment is not None else "a date not known"
