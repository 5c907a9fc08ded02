"""When a test falls due: from the history of one item alone, in the rig's own time.

The clock is never read here: `at` is the moment the question is asked for, so that the same function
answers for today and for any day in the past.

Source of the midnight rule: 30 CFR 250.737(a)(2), a test must begin before midnight of the 14th day
following the conclusion of the previous test. That midnight is the rig's own is common practice.
"""

import calendar
import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, TypeVar
from zoneinfo import ZoneInfo

from calcs.errors import InputError
from calcs.moments import limit_words as limit_words
from calcs.moments import localise as localise
from calcs.moments import moment_words as moment_words

SOON: Final = dt.timedelta(hours=72)
"""How long before its deadline an item counts as due soon."""
_LONGEST_YEARS: Final = 100
_PER_YEAR: Final = {"h": 8784, "d": 366, "months": 12, "years": 1}


class IntervalUnit(StrEnum):
    """What an interval counts. Weeks are read as seven days."""

    HOURS = "h"
    DAYS = "d"
    MONTHS = "months"
    YEARS = "years"


class Deadline(StrEnum):
    """Where an interval ends.

    MIDNIGHT: with the end of the last local day. EXACT: at the same clock time, days being 24 hours.
    """

    MIDNIGHT = "midnight"
    EXACT = "exact"


class State(StrEnum):
    """How an item stands at a moment."""

    IN_DATE = "in-date"
    DUE_SOON = "due-soon"
    OVERDUE = "overdue"
    IN_PROGRESS = "in-progress"
    DUE_NOW = "due-now"
    OUT_OF_SERVICE = "out-of-service"


class EventKind(StrEnum):
    """What can happen to an item."""

    INSTALLED = "installed"
    TESTED = "tested"
    REPAIRED = "repaired"
    OUT_OF_SERVICE = "out-of-service"
    BACK_IN_SERVICE = "back-in-service"
    SECTION = "section"
    DEFERRED = "deferred"


_WORDS: Final = {
    "h": (1, IntervalUnit.HOURS),
    "hour": (1, IntervalUnit.HOURS),
    "hours": (1, IntervalUnit.HOURS),
    "d": (1, IntervalUnit.DAYS),
    "day": (1, IntervalUnit.DAYS),
    "days": (1, IntervalUnit.DAYS),
    "week": (7, IntervalUnit.DAYS),
    "weeks": (7, IntervalUnit.DAYS),
    "month": (1, IntervalUnit.MONTHS),
    "months": (1, IntervalUnit.MONTHS),
    "year": (1, IntervalUnit.YEARS),
    "years": (1, IntervalUnit.YEARS),
}


_FULL_WORDS: Final = {
    IntervalUnit.HOURS: "hour",
    IntervalUnit.DAYS: "day",
    IntervalUnit.MONTHS: "month",
    IntervalUnit.YEARS: "year",
}


@dataclass(frozen=True, slots=True)
class Interval:
    """How long a test lasts: a whole number of hours, days, calendar months or calendar years."""

    count: int
    unit: IntervalUnit

    def __post_init__(self) -> None:
        """Refuse an interval of nothing or of more than a hundred years."""
        if not 1 <= self.count <= _LONGEST_YEARS * _PER_YEAR[self.unit]:
            raise InputError(
                "interval", "An interval is more than nothing and at most 100 years.", "Give for instance 14 d."
            )

    @classmethod
    def parse(cls, text: str) -> "Interval":
        """Read ``"14 d"``, ``"2 weeks"``, ``"6 months"``, ``"5 years"`` or ``"336 h"``.

        >>> str(Interval.parse("2 weeks"))
        '14 d'

        Raises InputError for anything else.
        """
        found = re.fullmatch(r"\s*([0-9]{1,7})\s*([a-z]+)\s*", text.lower()) if isinstance(text, str) else None
        if found is None or found[2] not in _WORDS:
            raise InputError(
                "interval",
                "An interval is a whole number of hours, days, weeks, months or years.",
                "Give for instance 14 d, 6 months, 5 years or 336 h.",
            )
        times, unit = _WORDS[found[2]]
        return cls(int(found[1]) * times, unit)

    @property
    def roughly_days(self) -> float:
        """Length in days, good for ordering intervals and for nothing else."""
        return self.count * {"h": 1 / 24, "d": 1.0, "months": 365.25 / 12, "years": 365.25}[self.unit]

    @property
    def words(self) -> str:
        """Return the interval in words.

        >>> Interval.parse("2 weeks").words, Interval.parse("1 month").words
        ('14 days', '1 month')
        """
        unit = _FULL_WORDS[self.unit]
        return f"{self.count} {unit}" if self.count == 1 else f"{self.count} {unit}s"

    def __str__(self) -> str:
        """Return the interval as it is read, ``14 d``."""
        unit = self.unit.removesuffix("s") if self.count == 1 else self.unit
        return f"{self.count} {unit}"


@dataclass(frozen=True, slots=True)
class Happened:
    """Something that happened at one moment: installed, repaired, out of service, back in service."""

    kind: EventKind
    at: dt.datetime


@dataclass(frozen=True, slots=True)
class Tested:
    """A test of the item; without `concluded` it is still running.

    Attributes:
        started: when it began.
        concluded: when it was over; the next clock starts here.
        passed: the result, None while it runs.
        pressure_gauge: the high pressure it was held at in Pa, when known.
        falls_short: why it shows less than is asked now though it passed, in words; empty where it is enough.
    """

    started: dt.datetime
    concluded: dt.datetime | None = None
    passed: bool | None = None
    pressure_gauge: float | None = None
    falls_short: str = ""

    __test__ = False  # pytest would take the name for one of its own

    def __post_init__(self) -> None:
        """Refuse a test that ends before it begins, or one that is over without a result."""
        if self.concluded is not None and self.concluded < self.started:
            raise InputError("concluded", "The test concludes before it starts.", "Give a conclusion after the start.")
        if self.concluded is not None and self.passed is None:
            raise InputError("passed", "A concluded test has a result.", "Give passed as true or false.")
        if self.concluded is None and self.passed:
            raise InputError("concluded", "A test that passed has a conclusion.", "Give the time it was concluded.")


@dataclass(frozen=True, slots=True)
class Section:
    """A hole section begun, with the high test pressure (Pa gauge) it requires, when known."""

    at: dt.datetime
    required_gauge: float | None = None


@dataclass(frozen=True, slots=True)
class Deferred:
    """A deferral (dispensation) granted at a moment, until another."""

    at: dt.datetime
    until: dt.datetime


Event = Happened | Tested | Section | Deferred


@dataclass(frozen=True, slots=True)
class Due:
    """When an item is due, and why.

    Attributes:
        due_at: the moment by which the next test must have begun (exclusive), in the rig's zone; the
            moment it became due for something due at once; None while it is out of service.
        amber_at: conclusion plus the interval in 24-hour days where the deadline is a later midnight:
            the same clause also says "before 14 days have elapsed".
        state: how the item stands.
        counts_from: the moment the clock counts from, None when nothing is known.
        counts_from_kind: what happened at that moment.
        reason: the same in words.
        original_due_at: the date before a deferral moved it, else None.
    """

    due_at: dt.datetime | None
    amber_at: dt.datetime | None
    state: State
    counts_from: dt.datetime | None
    counts_from_kind: EventKind | None
    reason: str
    original_due_at: dt.datetime | None = None


def deadline_after(concluded: dt.datetime, interval: Interval, deadline: Deadline, zone: ZoneInfo) -> dt.datetime:
    """Return the moment, in `zone`, before which the next test must have begun.

    MIDNIGHT gives 00:00 of the day after the last day, exclusive; a day on which 00:00 does not exist
    gives its first moment. Raises InputError for hours with a midnight deadline.

    >>> oslo = ZoneInfo("Europe/Oslo")
    >>> concluded = dt.datetime(2026, 3, 20, 2, 10, tzinfo=oslo)
    >>> deadline_after(concluded, Interval.parse("14 d"), Deadline.MIDNIGHT, oslo).isoformat()
    '2026-04-04T00:00:00+02:00'
    >>> deadline_after(concluded, Interval.parse("14 d"), Deadline.EXACT, oslo).isoformat()
    '2026-04-03T03:10:00+02:00'
    """
    if deadline is Deadline.EXACT:
        return _exact(concluded, interval, zone)
    if interval.unit is IntervalUnit.HOURS:
        raise InputError(
            "deadline", "A midnight deadline counts days, months or years.", "Give days, or the deadline exact."
        )
    last_day = _later_date(concluded.astimezone(zone).date(), interval)
    return localise(dt.datetime.combine(last_day + dt.timedelta(days=1), dt.time()), zone)


def _exact(concluded: dt.datetime, interval: Interval, zone: ZoneInfo) -> dt.datetime:
    if interval.unit in (IntervalUnit.HOURS, IntervalUnit.DAYS):
        return (concluded.astimezone(dt.UTC) + _elapsed(interval)).astimezone(zone)
    local = concluded.astimezone(zone)
    return localise(dt.datetime.combine(_later_date(local.date(), interval), local.time().replace(fold=0)), zone)


def _elapsed(interval: Interval) -> dt.timedelta:
    hours = interval.count * (1 if interval.unit is IntervalUnit.HOURS else 24)
    return dt.timedelta(hours=hours)


def _later_date(day: dt.date, interval: Interval) -> dt.date:
    """Return the date `interval` after `day`, clipped to the end of a shorter month."""
    if interval.unit is IntervalUnit.DAYS:
        return day + dt.timedelta(days=interval.count)
    months = day.month - 1 + interval.count * (12 if interval.unit is IntervalUnit.YEARS else 1)
    year, month = day.year + months // 12, months % 12 + 1
    return dt.date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


@dataclass(frozen=True, slots=True)
class Doing:
    """How a reason names what is done, and what first calls for it: a test, on installation, unless said otherwise."""

    noun: str = "test"
    last: str = "Last passing test concluded"
    never: str = "Never tested"
    not_passed: str = "Not passed a test"
    installed: str = "Installed"


TEST: Final = Doing()


def due(
    interval: Interval | None,
    deadline: Deadline | None,
    history: Sequence[Event],
    *,
    at: dt.datetime,
    zone: ZoneInfo,
    forget: dt.timedelta | None = None,
    doing: Doing = TEST,
) -> Due:
    """Return when the item is due as of `at`, from what had happened to it by then.

    Without an interval only events call for it: once done it is in date, without a date, until the next of them.
    A running test begun longer than `forget` ago counts for nothing: nobody concludes it any more.

    Rules: only a passing test renews, and it counts from its conclusion, even when it began late. An
    installation, a repair or a return to service after the last passing test makes the item due at
    once. A deferral granted since the event the clock counts from moves the date and ends with the
    next such event. A running test begun before the deadline keeps the item compliant. Out of service
    ends only with back in service. A section that states its required pressure discards every test
    not shown to have reached it, and a test that falls short of what is asked now counts for nothing.
    """
    # Between two times of one zone Python reckons by the clock face, an hour wrong across a change of clocks.
    known = Known.of(history, at.astimezone(dt.UTC), zone, forget=forget, doing=doing)
    if known.out_of_service_since is not None:
        return _out_of_service(known, known.out_of_service_since)
    trigger = known.trigger
    if trigger is None and known.passed_at is not None:
        if interval is None or deadline is None:
            return _until_called(known, known.passed_at)
        return _by_clock(known, known.passed_at, interval, deadline)
    return _at_once(known, trigger)


_CALLS_FOR_TEST: Final = frozenset({EventKind.INSTALLED, EventKind.REPAIRED, EventKind.BACK_IN_SERVICE})


@dataclass(slots=True)
class Known:
    """What the history says as of a moment, gathered in one walk: histories are long and fleets large."""

    at: dt.datetime
    zone: ZoneInfo
    forget: dt.timedelta | None = None
    doing: Doing = TEST
    section: Section | None = None
    last_call: Happened | None = None
    last_move: Happened | None = None
    last_pass: Tested | None = None
    last_too_low: Tested | None = None
    last_failure: Tested | None = None
    running: list[Tested] = field(default_factory=list)
    deferrals: list[Deferred] = field(default_factory=list)
    repairs: list[Happened] = field(default_factory=list)

    @classmethod
    def of(
        cls,
        history: Sequence[Event],
        at: dt.datetime,
        zone: ZoneInfo,
        *,
        forget: dt.timedelta | None = None,
        doing: Doing = TEST,
    ) -> "Known":
        """Walk the history; `at` is in UTC."""
        known = cls(at, zone, forget, doing)
        tests = []
        for event in history:
            if isinstance(event, Tested):
                tests.append(event)
            elif event.at <= at:
                known._learn(event)
        # The section first: it decides which tests count.
        for test in tests:
            if test.started <= at:
                known._learn_test(test)
        return known

    def _learn(self, event: Happened | Section | Deferred) -> None:
        if isinstance(event, Section):
            self.section = _later(self.section, event)
        elif isinstance(event, Deferred):
            self.deferrals.append(event)
        else:
            if event.kind in _CALLS_FOR_TEST:
                self.last_call = _later(self.last_call, event)
            if event.kind in (EventKind.OUT_OF_SERVICE, EventKind.BACK_IN_SERVICE):
                self.last_move = _later(self.last_move, event)
            if event.kind is EventKind.REPAIRED:
                self.repairs.append(event)

    def _learn_test(self, test: Tested) -> None:
        if test.concluded is None or test.concluded > self.at:
            if self._is_running(test):
                self.running.append(test)
        elif not test.passed:
            self.last_failure = _last_concluded(self.last_failure, test)
        elif self.is_enough(test):
            self.last_pass = _last_concluded(self.last_pass, test)
        else:
            self.last_too_low = _last_concluded(self.last_too_low, test)

    def _is_running(self, test: Tested) -> bool:
        if test.concluded is not None:
            return True
        # Without a conclusion but marked as failed it was broken off.
        return test.passed is None and (self.forget is None or self.at - test.started <= self.forget)

    def is_enough(self, test: Tested) -> bool:
        """Tell whether a passing test shows what is asked now."""
        if test.falls_short:
            return False
        required = self.section.required_gauge if self.section else None
        return required is None or (test.pressure_gauge is not None and test.pressure_gauge >= required)

    @property
    def passed_at(self) -> dt.datetime | None:
        return self.last_pass.concluded if self.last_pass else None

    @property
    def out_of_service_since(self) -> dt.datetime | None:
        move = self.last_move
        return move.at if move is not None and move.kind is EventKind.OUT_OF_SERVICE else None

    @property
    def trigger(self) -> Happened | None:
        """The last event since the last passing test that makes the item due at once."""
        call = self.last_call
        if self.passed_at is not None:
            return call if call is not None and call.at > self.passed_at else None
        if self.section is not None and self.last_too_low is not None:
            return _later(call, Happened(EventKind.SECTION, self.section.at))
        return call

    def running_since(self, earliest: dt.datetime | None, before: dt.datetime | None) -> dt.datetime | None:
        """Return when the running test began, if it began in [earliest, before)."""
        begun = [test.started for test in self.running]
        fit = [s for s in begun if (earliest is None or s >= earliest) and (before is None or s < before)]
        return max(fit, default=None)

    def deferral(self, since: dt.datetime | None) -> Deferred | None:
        granted = [event for event in self.deferrals if since is None or event.at >= since]
        return max(granted, key=lambda event: event.at, default=None)

    def say(self, moment: dt.datetime) -> str:
        return moment_words(moment, self.zone)

    def say_limit(self, limit: dt.datetime) -> str:
        return limit_words(limit, self.zone)

    @property
    def never(self) -> str:
        """How far it ever got, for what has not passed a test that counts."""
        tried = self.last_failure is not None or self.last_too_low is not None
        return self.doing.not_passed if tried else self.doing.never

    @property
    def note(self) -> str:
        """What the reader must know beside the date."""
        return self._failure_note + self._shortfall_note + self._repair_note

    @property
    def _shortfall_note(self) -> str:
        test = self.last_too_low
        if test is None or test.concluded is None or not test.falls_short:
            return ""
        if self.passed_at is not None and test.concluded <= self.passed_at:
            return ""
        concluded = self.say(test.concluded)
        return f" The {self.doing.noun} concluded {concluded} passed, but counts no more: {test.falls_short}."

    @property
    def _repair_note(self) -> str:
        test, passed_at = self.last_pass, self.passed_at
        during = [r.at for r in self.repairs if test and passed_at and test.started < r.at <= passed_at]
        if not during:
            return ""
        return (
            f" Repaired {self.say(max(during))}, while that {self.doing.noun} ran: make sure it was tested after that."
        )

    @property
    def _again(self) -> str:
        return "retest" if self.doing is TEST else "repeat it"

    @property
    def _failure_note(self) -> str:
        failed = self.last_failure.concluded if self.last_failure else None
        if failed is None or (self.passed_at is not None and failed <= self.passed_at):
            return ""
        return (
            f" The {self.doing.noun} concluded {self.say(failed)} failed and does not count: correct and {self._again}."
        )


_Placed = TypeVar("_Placed", Happened, Section)


def _later(known: _Placed | None, event: _Placed) -> _Placed:
    return event if known is None or event.at > known.at else known


def _last_concluded(known: Tested | None, test: Tested) -> Tested:
    if known is None or known.concluded is None:
        return test
    return test if test.concluded is not None and test.concluded > known.concluded else known


def _out_of_service(known: Known, since: dt.datetime) -> Due:
    reason = f"Out of service since {known.say(since)}: test before it is used again."
    return Due(None, None, State.OUT_OF_SERVICE, since.astimezone(known.zone), EventKind.OUT_OF_SERVICE, reason)


_SINCE_WORDS: Final = {
    EventKind.REPAIRED: "Repaired",
    EventKind.BACK_IN_SERVICE: "Back in service",
    EventKind.SECTION: "Section begun that needs a higher test pressure",
}


def _at_once(known: Known, trigger: Happened | None) -> Due:
    """Due since an event, or never tested."""
    since = trigger.at if trigger else None
    kind = trigger.kind if trigger else None
    words = known.doing.installed if kind is EventKind.INSTALLED else _SINCE_WORDS.get(kind, "") if kind else ""
    why = f"{words} {known.say(since)}" if kind and since else known.never
    if trigger is not None and known.passed_at is not None:
        why += f", after the last passing {known.doing.noun} ({known.say(known.passed_at)})"
    elif trigger is not None:
        why += f"; {known.never.lower()} since"
    why += "." + known.note
    from_local = since.astimezone(known.zone) if since else None
    due_at = (since or known.at).astimezone(known.zone)
    deferral = known.deferral(since)
    if deferral is not None:
        return _with_deadline(known, due_at, None, from_local, kind, why, deferral)
    running = known.running_since(since, None)
    if running is not None:
        return Due(
            due_at,
            None,
            State.IN_PROGRESS,
            from_local,
            kind,
            f"{why} A {known.doing.noun} began {known.say(running)} and is running.",
        )
    return Due(due_at, None, State.DUE_NOW, from_local, kind, f"{why} Due at once.")


def _until_called(known: Known, passed_at: dt.datetime) -> Due:
    """Done, and nothing has called for it again."""
    why = f"{known.doing.last} {known.say(passed_at)}; no interval runs, only events call for it again.{known.note}"
    counts_from = passed_at.astimezone(known.zone)
    return Due(None, None, State.IN_DATE, counts_from, EventKind.TESTED, why)


def _by_clock(known: Known, passed_at: dt.datetime, interval: Interval, deadline: Deadline) -> Due:
    due_at = deadline_after(passed_at, interval, deadline, known.zone)
    amber = _exact(passed_at, interval, known.zone)
    why = f"{known.doing.last} {known.say(passed_at)}; every {interval.words}, "
    why += "begun before midnight at the end of the last day." if deadline is Deadline.MIDNIGHT else "to the hour."
    why += known.note
    return _with_deadline(
        known,
        due_at,
        amber if amber < due_at else None,
        passed_at.astimezone(known.zone),
        EventKind.TESTED,
        why,
        known.deferral(passed_at),
    )


def _with_deadline(
    known: Known,
    due_at: dt.datetime,
    amber_at: dt.datetime | None,
    counts_from: dt.datetime | None,
    kind: EventKind | None,
    why: str,
    deferral: Deferred | None,
) -> Due:
    original = None
    if deferral is not None:
        original, due_at = due_at, deferral.until.astimezone(known.zone)
        why += f" Deferred from {known.say_limit(original)} until {known.say_limit(due_at)}."
    limit = due_at.astimezone(dt.UTC)  # for the same reason as `at`
    running = known.running_since(counts_from, limit)
    if running is not None:
        state, why = State.IN_PROGRESS, f"{why} A {known.doing.noun} begun in time, {known.say(running)}, is running."
    elif known.at >= limit:
        state, why = State.OVERDUE, f"{why} Overdue since {known.say_limit(due_at)}."
    else:
        state = State.DUE_SOON if limit - known.at <= SOON else State.IN_DATE
        why += f" Begin before {known.say_limit(due_at)}."
    return Due(due_at, amber_at, state, counts_from, kind, why, original)
