"""How one requirement stood over time: span after span, from the history of one item alone, in the rig's own time.

The answers are those of `calcs.recurrence.due` at every moment. They are found by walking once through what happened
and stopping only where the answer can change: at an event, at a deadline, at the end of a deferral.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final, TypeVar
from zoneinfo import ZoneInfo

from calcs.recurrence import (
    Deadline,
    Deferred,
    Due,
    Event,
    EventKind,
    Happened,
    Interval,
    Section,
    State,
    Tested,
    deadline_after,
)


class Condition(StrEnum):
    """How a requirement stands over a span of time.

    OVERDUE and OPEN are not met. DEFERRED is past its own date and inside a deferral. A history alone never gives
    the last two: nothing stood there to be tested, or what is asked of it could not be worked out.
    """

    IN_DATE = "in-date"
    IN_PROGRESS = "in-progress"
    DEFERRED = "deferred"
    OVERDUE = "overdue"
    OPEN = "open"
    OUT_OF_SERVICE = "out-of-service"
    NOT_INSTALLED = "not-installed"
    UNKNOWN = "unknown"


NOT_MET: Final = frozenset({Condition.OVERDUE, Condition.OPEN})


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
        interval: the interval asked for, where there is one.
        words: why it stands so, in words, where no history tells.
    """

    condition: Condition
    limit: dt.datetime | None = None
    original: dt.datetime | None = None
    trigger: Happened | Section | None = None
    passed: Tested | None = None
    failed: Tested | None = None
    deferral: Deferred | None = None
    interval: Interval | None = None
    words: str = ""


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time over which the condition stays the same.

    Attributes:
        condition: how the requirement stands over it.
        begin: its first moment, in the rig's zone; for what goes on since before anything is known, `since`.
        end: the first moment after it; None while it runs on at `until`.
        basis: what it rests on at its beginning.
        ended_by: the event that ended it; None where the clock did, or while it runs on.
        ended_otherwise: what ended it, in words, where nothing of the history did.
    """

    condition: Condition
    begin: dt.datetime
    end: dt.datetime | None
    basis: Basis
    ended_by: Event | None = None
    ended_otherwise: str = ""


def condition_of(found: Due, *, at: dt.datetime) -> Condition:
    """Return the condition behind the answer of `calcs.recurrence.due` at a moment."""
    if found.state in _AS_STATED:
        return _AS_STATED[found.state]
    original = found.original_due_at
    return Condition.DEFERRED if original is not None and in_utc(at) >= in_utc(original) else Condition.IN_DATE


_AS_STATED: Final = {
    State.OVERDUE: Condition.OVERDUE,
    State.DUE_NOW: Condition.OPEN,
    State.IN_PROGRESS: Condition.IN_PROGRESS,
    State.OUT_OF_SERVICE: Condition.OUT_OF_SERVICE,
}


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
    for begin, basis, cause in _bases(_Ledger(interval, deadline, zone, forget), history, in_utc(since), in_utc(until)):
        if found and found[-1].condition is basis.condition:
            continue
        if found:
            found[-1] = replace(found[-1], end=begin.astimezone(zone), ended_by=cause)
        found.append(Span(basis.condition, begin.astimezone(zone), None, basis))
    return tuple(span for span in found if span.end is None or in_utc(span.end) > in_utc(since))


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
                yield in_utc(event.at), place, _Phase.HAPPENS, event
            continue
        # Without a conclusion but marked as failed it was broken off: it never ran and never counts.
        if event.started < until and (event.concluded is not None or event.passed is None):
            yield in_utc(event.started), place, _Phase.BEGINS, event
            if event.concluded is not None and event.concluded < until:
                yield in_utc(event.concluded), place, _Phase.ENDS, event


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
        limit = since = in_utc(trigger.at) if trigger is not None else None
        if trigger is None and self.last_pass is not None and self.last_pass.concluded is not None:
            if self.interval is None or self.deadline is None:
                return Basis(Condition.IN_DATE, passed=self.last_pass, failed=self._failed_since())
            since = in_utc(self.last_pass.concluded)
            limit = self._lapses_at(self.last_pass.concluded, self.interval, self.deadline)
        return self._dated(trigger, since, limit, self._deferral(since), at)

    def by_clock(self, basis: Basis) -> Iterator[dt.datetime]:
        """Yield the moments at which the clock alone may change what was found."""
        if basis.condition in (Condition.IN_DATE, Condition.DEFERRED):
            yield from (moment for moment in (basis.original, basis.limit) if moment is not None)
        if basis.condition is Condition.IN_PROGRESS and self.forget is not None:
            unfinished = (test for test in self.running if test.concluded is None)
            yield from (in_utc(test.started) + self.forget + _INSTANT for test in unfinished)

    def _dated(
        self,
        trigger: Happened | Section | None,
        since: dt.datetime | None,
        limit: dt.datetime | None,
        deferral: Deferred | None,
        at: dt.datetime,
    ) -> Basis:
        at_once = deferral is None and (trigger is not None or self.last_pass is None)
        until = in_utc(deferral.until) if deferral is not None else limit
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
        failed = self._failed_since()
        return Basis(condition, until, original, trigger, self.last_pass, failed, deferral, self.interval)

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
            self.lapses_at = in_utc(deadline_after(concluded, interval, deadline, self.zone))
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


def in_utc(moment: dt.datetime) -> dt.datetime:
    """Return a moment in UTC, where moments are compared.

    Between two times of one zone Python reckons by the clock face, an hour wrong across a change of clocks.
    """
    return moment.astimezone(dt.UTC)
