"""Due dates against a second, slow and plain reading of the same rules: histories of any kind, in any order.

Dates are found by looking at the clock, a quarter of an hour at a time; nothing here is taken from the code
that works them out.
"""

import calendar
import datetime as dt
import random
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import pytest

from calcs.recurrence import Deadline, Deferred, Event, EventKind, Happened, Interval, Section, Tested, due

QUARTER = dt.timedelta(minutes=15)
HOUR = dt.timedelta(hours=1)
ZONES = [ZoneInfo(name) for name in ("America/Chicago", "Europe/Oslo", "Australia/Sydney", "America/Sao_Paulo")]
BEGINNINGS = [
    dt.datetime(2026, 3, 1, tzinfo=dt.UTC),  # clocks go forward in Chicago and Oslo
    dt.datetime(2026, 10, 18, tzinfo=dt.UTC),  # and back; forward in Sydney before
    dt.datetime(2018, 10, 25, tzinfo=dt.UTC),  # a midnight São Paulo never had
    dt.datetime(2024, 1, 28, tzinfo=dt.UTC),  # a leap day, and month ends before it
]
INTERVALS = [
    ("14 d", Deadline.MIDNIGHT),
    ("14 d", Deadline.MIDNIGHT),
    ("21 d", Deadline.EXACT),
    ("336 h", Deadline.EXACT),
    ("1 month", Deadline.MIDNIGHT),
    ("1 month", Deadline.EXACT),
    ("5 years", Deadline.MIDNIGHT),
]
CALLS = {EventKind.INSTALLED, EventKind.REPAIRED, EventKind.BACK_IN_SERVICE}


def by_calendar(day: dt.date, interval: str) -> dt.date:
    count, unit = int(interval.split()[0]), interval.split()[1]
    if unit == "d":
        return day + dt.timedelta(days=count)
    for _ in range(count * (12 if unit.startswith("year") else 1)):
        year, month = (day.year + 1, 1) if day.month == 12 else (day.year, day.month + 1)
        day = dt.date(year, month, 1)
    return day


def clipped(day: dt.date, interval: str) -> dt.date:
    later = by_calendar(day, interval)
    if interval.endswith("d"):
        return later
    return later.replace(day=min(day.day, calendar.monthrange(later.year, later.month)[1]))


def limit_after(concluded: dt.datetime, interval: str, deadline: Deadline, zone: ZoneInfo) -> dt.datetime:
    """Return the first quarter of an hour at which it is too late to begin."""
    local = concluded.astimezone(zone)
    count, unit = interval.split()
    if deadline is Deadline.EXACT and unit in {"d", "h"}:
        return concluded + int(count) * (24 * HOUR if unit == "d" else HOUR)
    last = clipped(local.date(), interval)
    moment = dt.datetime(last.year, last.month, last.day, tzinfo=dt.UTC) - 16 * HOUR
    wanted = dt.datetime.combine(last, local.time())
    while True:
        shown = moment.astimezone(zone).replace(tzinfo=None)
        if (shown.date() > last) if deadline is Deadline.MIDNIGHT else (shown >= wanted):
            return moment
        moment += QUARTER


@dataclass
class History:
    """A history being made up; no two things happen at the same moment."""

    chance: random.Random
    begins: dt.datetime
    taken: set[dt.datetime] = field(default_factory=set)

    def moment(self) -> dt.datetime:
        while True:
            found = self.begins + self.chance.randint(0, 24 * 60 * 4) * QUARTER
            if found not in self.taken:
                self.taken.add(found)
                return found

    def test(self) -> Tested:
        started = self.moment()
        if self.chance.random() < 0.15:
            return Tested(started)
        concluded = started + self.chance.randint(1, 200) * QUARTER
        while concluded in self.taken:
            concluded += QUARTER
        self.taken.add(concluded)
        return Tested(started, concluded, self.chance.random() < 0.75, self.chance.choice([None, 35e6, 55e6]))

    def event(self) -> Event:
        what = self.chance.choice([*["tested"] * 4, "section", "deferred", *[*CALLS, EventKind.OUT_OF_SERVICE]])
        if what == "tested":
            return self.test()
        at = self.moment()
        if what == "section":
            return Section(at, self.chance.choice([None, None, 48e6]))
        if what == "deferred":
            return Deferred(at, at + self.chance.randint(1, 400) * HOUR)
        return Happened(EventKind(what), at)


@dataclass
class Reading:
    """What a history says at a moment, read the plain way."""

    history: list[Event]
    at: dt.datetime

    def happened(self, kinds: set[EventKind]) -> list[Happened]:
        found = [e for e in self.history if isinstance(e, Happened) and e.kind in kinds and e.at <= self.at]
        return sorted(found, key=lambda event: event.at)

    @property
    def section(self) -> Section | None:
        begun = [e for e in self.history if isinstance(e, Section) and e.at <= self.at]
        return max(begun, key=lambda event: event.at, default=None)

    def concluded(self, *, enough: bool) -> list[dt.datetime]:
        """Return when passing tests were concluded whose pressure was (or was not) that of the present section."""
        required = self.section.required_gauge if self.section else None
        found = []
        for test in self.history:
            if isinstance(test, Tested) and test.passed and test.concluded and test.concluded <= self.at:
                reached = required is None or (test.pressure_gauge or 0) >= required
                found += [test.concluded] if reached is enough else []
        return found

    def running(self, since: dt.datetime | None) -> list[dt.datetime]:
        begun = [e for e in self.history if isinstance(e, Tested) and e.started <= self.at]
        unfinished = [e.started for e in begun if e.concluded is None or e.concluded > self.at]
        return [started for started in unfinished if since is None or started >= since]

    def state(
        self, interval: str, deadline: Deadline, zone: ZoneInfo
    ) -> tuple[str, dt.datetime | None, dt.datetime | None]:
        """Return state, due date, and what it counts from."""
        moved = self.happened({EventKind.OUT_OF_SERVICE, EventKind.BACK_IN_SERVICE})
        if moved and moved[-1].kind is EventKind.OUT_OF_SERVICE:
            return "out-of-service", None, moved[-1].at
        passed = max(self.concluded(enough=True), default=None)
        called = [event.at for event in self.happened(CALLS) if passed is None or event.at > passed]
        if passed is None and self.section and self.concluded(enough=False):
            called.append(self.section.at)
        since = max(called, default=passed)
        granted = [e for e in self.history if isinstance(e, Deferred) and e.at <= self.at and e.at >= (since or e.at)]
        running = self.running(since)
        if granted:
            limit = max(granted, key=lambda event: event.at).until
        elif called or passed is None:
            return ("in-progress" if running else "due-now"), since or self.at, since
        else:
            limit = limit_after(passed, interval, deadline, zone)
        if any(started < limit for started in running):
            return "in-progress", limit, since
        if self.at >= limit:
            return "overdue", limit, since
        return ("due-soon" if limit - self.at <= 72 * HOUR else "in-date"), limit, since


def in_utc(moment: dt.datetime | None) -> dt.datetime | None:
    """Return a moment in UTC: Python holds a local time shown twice to equal no time of another zone."""
    return None if moment is None else moment.astimezone(dt.UTC)


def asked_at(made: History, history: list[Event], interval: str, deadline: Deadline, zone: ZoneInfo) -> dt.datetime:
    """Return a moment to ask for: mostly one at which something changes, or the minutes beside it."""
    passed = [e.concluded for e in history if isinstance(e, Tested) and e.passed and e.concluded]
    if passed and made.chance.random() < 0.6:
        limit = limit_after(max(passed), interval, deadline, zone)
        return limit + made.chance.choice([0, 0, -1, 1, -72 * 60, -72 * 60 - 1]) * dt.timedelta(minutes=1)
    return made.begins + made.chance.randint(0, 24 * 70 * 4) * QUARTER + dt.timedelta(minutes=1)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("zone", ZONES, ids=str)
def test_any_history_falls_due_as_one_would_find_by_hand(zone: ZoneInfo, seed: int) -> None:
    chance, seen = random.Random(seed), set()
    for _ in range(625):
        made = History(chance, chance.choice(BEGINNINGS))
        interval, deadline = chance.choice(INTERVALS)
        history = [made.event() for _ in range(chance.randint(0, 7))]
        at = asked_at(made, history, interval, deadline, zone)
        clock = chance.choice([dt.UTC, zone])  # whoever asks may do so in the rig's own time
        found = due(Interval.parse(interval), deadline, history, at=at.astimezone(clock), zone=zone)
        expected = Reading(history, at).state(interval, deadline, zone)
        told = f"{history} at {at}, {interval} {deadline}"
        assert (found.state.value, in_utc(found.due_at), in_utc(found.counts_from)) == expected, told
        assert found.due_at is None or found.due_at.utcoffset() == found.due_at.astimezone(zone).utcoffset(), told
        assert found.reason, told
        seen.add(found.state)
    assert len(seen) == 6, "some state never came about: these histories show too little"
