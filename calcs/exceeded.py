"""When a requirement was not met: every span of it, from the history of one item alone, in the rig's own time.

The answers are those of `calcs.recurrence.due` at every moment. They are found by walking once through what happened
and stopping only where the answer can change: at an event, at a deadline, at the end of a deferral.

Two things are told apart that an auditor counts: *overdue* (the interval ran out) and *open* (something happened
that calls for a test, or none was ever passed, and none was made). A deferral is named and not counted; so is a test
that runs, once it began in time: 30 CFR 250.737(a)(2) asks when a test begins, not when it ends.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final, TypeVar
from zoneinfo import ZoneInfo

from calcs.moments import limit_words, moment_words
from calcs.recurrence import (
    TEST,
    Deadline,
    Deferred,
    Doing,
    Event,
    EventKind,
    Happened,
    Interval,
    Section,
    State,
    Tested,
    deadline_after,
    due,
)


class Condition(StrEnum):
    """How a requirement stands over a span of time.

    OVERDUE and OPEN are not met. DEFERRED is past its own date and inside a deferral.
    """

    IN_DATE = "in-date"
    IN_PROGRESS = "in-progress"
    DEFERRED = "deferred"
    OVERDUE = "overdue"
    OPEN = "open"
    OUT_OF_SERVICE = "out-of-service"


NOT_MET: Final = frozenset({Condition.OVERDUE, Condition.OPEN})
_NOT_MET_STATES: Final = frozenset({State.OVERDUE, State.DUE_NOW})


@dataclass(frozen=True, slots=True)
class Basis:
    """What a condition rests on. All moments in UTC.

    Attributes:
        condition: how the requirement stands.
        limit: before when a test must begin; after a deferral, its end; None where nothing dates it.
        original: the limit before a deferral moved it, else None.
        trigger: the event that made it due at once, where one did.
        passed: the passing test that counts, where one does.
        failed: the last failed test after that one, if any.
        deferral: the deferral that counts, if any.
    """

    condition: Condition
    limit: dt.datetime | None = None
    original: dt.datetime | None = None
    trigger: Happened | Section | None = None
    passed: Tested | None = None
    failed: Tested | None = None
    deferral: Deferred | None = None


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time over which the condition stays the same.

    Attributes:
        condition: how the requirement stands over it.
        begin: its first moment, in the rig's zone; for what goes on since before anything is known, `since`.
        end: the first moment after it; None while it runs on at `until`.
        basis: what it rests on at its beginning.
        ended_by: the event that ended it; None where the clock did, or while it runs on.
    """

    condition: Condition
    begin: dt.datetime
    end: dt.datetime | None
    basis: Basis
    ended_by: Event | None = None


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
    first = max(_utc(begin), _utc(since))
    last = _utc(until) if end is None else min(_utc(end), _utc(until))
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
    return told(found, interval, zone, doing)


def told(
    found: Sequence[Span], interval: Interval | None, zone: ZoneInfo, doing: Doing = TEST
) -> tuple[Exceedance, ...]:
    """Return the exceedances among spans that follow one another: those not met without a break are one."""
    runs: list[list[Span]] = []
    for before, span in zip([None, *found], found, strict=False):
        if span.condition in NOT_MET and before is not None and before.condition in NOT_MET:
            runs[-1].append(span)
        elif span.condition in NOT_MET or span.condition is Condition.DEFERRED:
            runs.append([span])
    return tuple(_exceedance(run, _Teller(interval, zone, doing)) for run in runs)


def spans(
    interval: Interval | None,
    deadline: Deadline | None,
    history: Sequence[Event],
    *,
    since: dt.datetime,
    until: dt.datetime,
    zone: ZoneInfo,
    forget: dt.timedelta | None = None,
) -> tuple[Span, ...]:
    """Return how the requirement stood from `since` to `until`, span after span without a gap.

    The first may begin before `since`; the last has no end. Raises InputError for hours with a midnight deadline.
    """
    found: list[Span] = []
    for begin, basis, cause in _bases(_Ledger(interval, deadline, zone, forget), history, _utc(since), _utc(until)):
        if found and found[-1].condition is basis.condition:
            continue
        if found:
            found[-1] = replace(found[-1], end=begin.astimezone(zone), ended_by=cause)
        found.append(Span(basis.condition, begin.astimezone(zone), None, basis))
    return tuple(span for span in found if span.end is None or _utc(span.end) > _utc(since))


class _Phase(StrEnum):
    HAPPENS = "happens"
    BEGINS = "begins"
    ENDS = "ends"


_Change = tuple[dt.datetime, int, _Phase, Event]


def _bases(
    ledger: "_Ledger", history: Sequence[Event], since: dt.datetime, until: dt.datetime
) -> Iterator[tuple[dt.datetime, Basis, Event | None]]:
    """Yield each moment at which the answer may change, what it rests on from there, and the event behind it."""
    changes = sorted(_changes(history, until), key=lambda change: change[:2])
    now, place = min([since, *(change[0] for change in changes[:1])]), 0
    while True:
        happening: list[Event] = []
        while place < len(changes) and changes[place][0] <= now:
            ledger.learn(changes[place])
            happening.append(changes[place][3])
            place += 1
        basis = ledger.basis(now)
        yield now, basis, _cause(happening, basis)
        following = [changes[place][0]] if place < len(changes) else []
        moments = [moment for moment in (*following, *ledger.by_clock(basis)) if now < moment < until]
        if not moments:
            return
        now = min(moments)


def _changes(history: Sequence[Event], until: dt.datetime) -> Iterator[_Change]:
    """Yield what becomes known before `until`, and when; in the order of the history where moments are the same."""
    for place, event in enumerate(history):
        if not isinstance(event, Tested):
            if event.at < until:
                yield _utc(event.at), place, _Phase.HAPPENS, event
            continue
        # Without a conclusion but marked as failed it was broken off: it never ran and never counts.
        if event.started < until and (event.concluded is not None or event.passed is None):
            yield _utc(event.started), place, _Phase.BEGINS, event
            if event.concluded is not None and event.concluded < until:
                yield _utc(event.concluded), place, _Phase.ENDS, event


def _cause(happening: Sequence[Event], basis: Basis) -> Event | None:
    """Return which of the events of one moment made the condition what it is."""
    telling: tuple[object, ...] = (basis.passed, basis.deferral, basis.trigger)
    if basis.condition in (Condition.OUT_OF_SERVICE, Condition.IN_PROGRESS):
        wanted = Tested if basis.condition is Condition.IN_PROGRESS else Happened
        return next((event for event in reversed(happening) if isinstance(event, wanted)), None)
    return next((event for event in happening if event in telling), next(iter(happening), None))


_CALLS_FOR_TEST: Final = frozenset({EventKind.INSTALLED, EventKind.REPAIRED, EventKind.BACK_IN_SERVICE})


@dataclass(slots=True)
class _Ledger:
    """What is known so far, kept up event by event.

    The rules are those of `calcs.recurrence.due`, which looks at a whole history for one moment; asked for hundreds
    of moments it would walk through the history as often.
    """

    interval: Interval | None
    deadline: Deadline | None
    zone: ZoneInfo
    forget: dt.timedelta | None = None
    section: Section | None = None
    last_call: Happened | None = None
    last_move: Happened | None = None
    last_pass: Tested | None = None
    last_too_low: Tested | None = None
    last_failure: Tested | None = None
    passing: list[Tested] = field(default_factory=list)
    running: list[Tested] = field(default_factory=list)
    deferrals: list[Deferred] = field(default_factory=list)
    lapses_at: dt.datetime | None = None

    def learn(self, change: _Change) -> None:
        _, _, phase, event = change
        if isinstance(event, Tested):
            self._learn_test(event, phase)
        elif isinstance(event, Section):
            self._learn_section(event)
        elif isinstance(event, Deferred):
            self.deferrals.append(event)
        elif event.kind in _CALLS_FOR_TEST:
            self.last_call = _later(self.last_call, event)
        if isinstance(event, Happened) and event.kind in (EventKind.OUT_OF_SERVICE, EventKind.BACK_IN_SERVICE):
            self.last_move = _later(self.last_move, event)

    def _learn_test(self, test: Tested, phase: _Phase) -> None:
        if phase is _Phase.BEGINS:
            self.running.append(test)
            return
        self.running = [one for one in self.running if one is not test]
        if not test.passed:
            self.last_failure = _later_concluded(self.last_failure, test)
        else:
            self.passing.append(test)
            self._weigh(test)

    def _learn_section(self, section: Section) -> None:
        self.section = _later(self.section, section)
        self.last_pass = self.last_too_low = self.lapses_at = None
        for test in self.passing:
            self._weigh(test)

    def _weigh(self, test: Tested) -> None:
        if not _is_enough(test, self.section):
            self.last_too_low = _later_concluded(self.last_too_low, test)
            return
        kept = _later_concluded(self.last_pass, test)
        if kept is not self.last_pass:
            self.last_pass, self.lapses_at = kept, None

    def basis(self, at: dt.datetime) -> Basis:
        move = self.last_move
        if move is not None and move.kind is EventKind.OUT_OF_SERVICE:
            return Basis(Condition.OUT_OF_SERVICE, trigger=move)
        trigger = self._trigger()
        limit = since = _utc(trigger.at) if trigger is not None else None
        if trigger is None and self.last_pass is not None and self.last_pass.concluded is not None:
            if self.interval is None or self.deadline is None:
                return Basis(Condition.IN_DATE, passed=self.last_pass, failed=self._failed_since())
            since = _utc(self.last_pass.concluded)
            limit = self._lapses_at(self.last_pass.concluded, self.interval, self.deadline)
        return self._dated(trigger, since, limit, self._deferral(since), at)

    def by_clock(self, basis: Basis) -> Iterator[dt.datetime]:
        """Yield the moments at which the clock alone may change what was found."""
        if basis.condition in (Condition.IN_DATE, Condition.DEFERRED):
            yield from (moment for moment in (basis.original, basis.limit) if moment is not None)
        if basis.condition is Condition.IN_PROGRESS and self.forget is not None:
            unfinished = (test for test in self.running if test.concluded is None)
            yield from (_utc(test.started) + self.forget + _INSTANT for test in unfinished)

    def _dated(
        self,
        trigger: Happened | Section | None,
        since: dt.datetime | None,
        limit: dt.datetime | None,
        deferral: Deferred | None,
        at: dt.datetime,
    ) -> Basis:
        at_once = deferral is None and (trigger is not None or self.last_pass is None)
        until = _utc(deferral.until) if deferral is not None else limit
        if self._is_running(at, since, None if at_once else until):
            condition = Condition.IN_PROGRESS
        elif at_once:
            condition = Condition.OPEN
        elif until is not None and at >= until:
            condition = Condition.OVERDUE
        elif deferral is not None and (limit is None or at >= limit):
            condition = Condition.DEFERRED
        else:
            condition = Condition.IN_DATE
        original = limit if deferral is not None else None
        return Basis(condition, until, original, trigger, self.last_pass, self._failed_since(), deferral)

    def _trigger(self) -> Happened | Section | None:
        """Return the last event since the last passing test that makes the item due at once."""
        call, passed = self.last_call, self.last_pass
        if passed is not None and passed.concluded is not None:
            return call if call is not None and call.at > passed.concluded else None
        if self.section is not None and self.last_too_low is not None:
            return self.section if call is None or self.section.at > call.at else call
        return call

    def _lapses_at(self, concluded: dt.datetime, interval: Interval, deadline: Deadline) -> dt.datetime:
        if self.lapses_at is None:
            self.lapses_at = _utc(deadline_after(concluded, interval, deadline, self.zone))
        return self.lapses_at

    def _deferral(self, since: dt.datetime | None) -> Deferred | None:
        granted = [event for event in self.deferrals if since is None or event.at >= since]
        return max(granted, key=lambda event: event.at, default=None)

    def _is_running(self, at: dt.datetime, earliest: dt.datetime | None, before: dt.datetime | None) -> bool:
        return any(
            (earliest is None or test.started >= earliest) and (before is None or test.started < before)
            for test in self.running
            if test.concluded is not None or self.forget is None or at - test.started <= self.forget
        )

    def _failed_since(self) -> Tested | None:
        failed, passed = self.last_failure, self.last_pass
        if failed is None or passed is None or failed.concluded is None or passed.concluded is None:
            return failed
        return failed if failed.concluded > passed.concluded else None


_INSTANT: Final = dt.timedelta(microseconds=1)


def _is_enough(test: Tested, section: Section | None) -> bool:
    if test.falls_short:
        return False
    required = section.required_gauge if section is not None else None
    return required is None or (test.pressure_gauge is not None and test.pressure_gauge >= required)


_Placed = TypeVar("_Placed", Happened, Section)


def _later(known: _Placed | None, event: _Placed) -> _Placed:
    return event if known is None or event.at > known.at else known


def _later_concluded(known: Tested | None, test: Tested) -> Tested:
    if known is None or known.concluded is None or test.concluded is None:
        return test
    return test if test.concluded > known.concluded else known


def _utc(moment: dt.datetime) -> dt.datetime:
    # Between two times of one zone Python reckons by the clock face, an hour wrong across a change of clocks.
    return moment.astimezone(dt.UTC)


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

    interval: Interval | None
    zone: ZoneInfo
    doing: Doing

    def why(self, span: Span) -> str:
        basis = span.basis
        if span.condition is Condition.DEFERRED:
            return f"{self._was_due(basis)}; deferred until {self._limit(basis.limit)}."
        if span.condition is Condition.OPEN:
            return f"{self._opened(basis)}.{self._failure(basis)}"
        if basis.deferral is not None:
            ran_out = f"The deferral ran out at {self._limit(basis.limit)}. {self._was_due(basis)}."
            return ran_out + self._failure(basis)
        concluded = basis.passed.concluded if basis.passed is not None else None
        every = self.interval.words if self.interval is not None else ""
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
        if test.concluded is None or _utc(test.concluded) != _utc(end):
            return f"{noun[:1].upper()}{noun[1:]} begun {when}"
        return f"Passed {when}" if test.passed else f"Failed {when}"

    def _moment(self, moment: dt.datetime) -> str:
        return moment_words(moment, self.zone)

    def _limit(self, moment: dt.datetime | None) -> str:
        return limit_words(moment, self.zone) if moment is not None else "a date not known"
