"""Planning ahead: on which days to test, so that nothing runs out and as few tests as can be are made.

A *window* is one day on which things that can be tested together are tested: the stack while drilling stands still.
Days are those of the rig's clock, counted from today, which is day 0. A plan must not hang on the hour, so a day
is good for an item only when all of it lies before the item's limit, and a test is taken to conclude at the first
moment of its day: what is then still in date stays so whenever on that day the test is made.

**Why the plan is the best there is.** Let ``now(i)`` be the last day good for item *i* as things stand, and
``after(i, d)`` the last day good for the test after one on day *d*.

1. A later conclusion never runs out earlier: ``d <= e`` gives ``after(i, d) <= after(i, e)``, whatever the interval.
2. A window may test an item or leave it. After windows on ``d1 < … < dk``, each in time for all, the farthest an item
   can have got is ``max(now(i), after(i, dk))``: left alone it has ``now(i)``, and of its tests the last decides,
   which by 1 is best made in the last window. (``now(i)`` can be the later of the two where a deferral moved it.)
3. So what lies ahead of a window depends on its day alone. With ``first`` the least ``now(i)``, and ``reach(d)`` the
   least ``max(now(i), after(i, d))``, the days that will do are exactly the paths ``d1 < d2 < … < dk`` with
   ``d1 <= first``, each ``d(n+1) <= reach(dn)`` and ``reach(dk)`` at or past the last day of the horizon.
4. The best path is found by going through the days once in order (`_cheapest`): a path's cost is the sum over its
   windows of (1, 0 on a day that offers itself anyway or 1, days given away), compared in that order. So no plan has
   fewer windows; of those, none uses more of the days that offer themselves; of those, none tests later. (Always
   taking the latest day that will do gives the same number of windows: by induction its n-th window is at least as
   late as that of any plan. It does not heed the days that offer themselves, so it serves as a check.)
5. With the days chosen, each item is tested in the latest window that is still in time for it. By 1 its n-th test is
   at least as late as in any other choice, so no item is tested oftener than those days require. No window is left
   empty: the others would then do, and there are no fewer.
6. A test can renew another item of its group besides (a pressure test counts for what it closed). Such an item is
   renewed on each day of those tests that takes it farther than it has got, and tested by itself only where none of
   them is in time, in the latest window that is. By 1 a renewal that reaches farther never makes a later test needed,
   so no item is tested by itself oftener than those days require. The windows stay as they are: they would have
   tested it anyway, so there are no fewer of them with the credit than without.

Source: covering intervals by the fewest points, a standard result on greedy algorithms (interval stabbing); the
proof above is for items that come due again. That a plan counts whole days is common practice.
"""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from calcs.errors import InputError
from calcs.recurrence import Deadline, Interval, deadline_after, localise

LONGEST_DAYS: Final = 366
"""The farthest a plan looks ahead."""
_DAY: Final = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Group:
    """What can be tested together in one window.

    Attributes:
        key: names the group.
        set_up_minutes: what a window of it takes beside the tests themselves: rigging up, lining up, rigging down.
    """

    key: str
    set_up_minutes: float = 0.0


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to be tested, as a plan sees it.

    Attributes:
        key: names the item.
        group: key of the group it is tested with.
        due_at: the moment before which its next test must have begun; None for what is owed at once.
        interval: how long a test of it lasts; None where one test settles it for as long as a plan looks ahead.
        deadline: where its interval ends.
        minutes: how long its test takes.
        renewed_by: keys of items of its group whose test renews it too; of such as are renewed by none themselves.
    """

    key: str
    group: str
    due_at: dt.datetime | None
    interval: Interval | None = None
    deadline: Deadline = Deadline.MIDNIGHT
    minutes: float = 0.0
    renewed_by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Opportunity:
    """A day on which testing costs least, since drilling stands still for something else: a casing run."""

    day: dt.date
    words: str


@dataclass(frozen=True, slots=True)
class Renewal:
    """One item tested in a window.

    Attributes:
        key: of the item.
        good_until: the last day on which it could have been tested in time; None for what was late already.
        renewed_until: the last day good for the test after this one; None where the plan asks for no other.
        by: key of the item whose test renews it; empty where it is tested by itself.
    """

    key: str
    good_until: dt.date | None
    renewed_until: dt.date | None
    by: str = ""


@dataclass(frozen=True, slots=True)
class Window:
    """One day of testing.

    Attributes:
        group: key of what is tested together.
        day: on the rig's calendar.
        ahead: the same counted from today, which is 0.
        with_words: what else happens on that day, as the opportunities say.
        renewals: what is tested.
        minutes: set-up and tests together.
    """

    group: str
    day: dt.date
    ahead: int
    with_words: tuple[str, ...]
    renewals: tuple[Renewal, ...]
    minutes: float


@dataclass(frozen=True, slots=True)
class Plan:
    """The windows of a horizon, by day, and the keys of items no plan by days can keep in date."""

    windows: tuple[Window, ...]
    too_short: tuple[str, ...]

    @property
    def minutes(self) -> float:
        """Return the minutes of all windows."""
        return sum(window.minutes for window in self.windows)


def propose(
    items: Sequence[Item],
    groups: Sequence[Group],
    *,
    at: dt.datetime,
    days: int,
    zone: ZoneInfo,
    opportunities: Iterable[Opportunity] = (),
) -> Plan:
    """Return the plan for today and the days after it, `days` in all, so that nothing runs out before they are over.

    The groups are planned in the order given. A day on which an earlier group is tested offers itself to the later
    ones, as an opportunity does. Raises InputError for a horizon of no day or of more than `LONGEST_DAYS`, and for
    an item whose group is not among them.

    >>> oslo = ZoneInfo("Europe/Oslo")
    >>> day = lambda n: dt.datetime(2026, 6, n, tzinfo=oslo)
    >>> items = [Item("ram", "stack", day(15), Interval.parse("14 d"), minutes=30),
    ...          Item("annular", "stack", day(18), Interval.parse("14 d"), minutes=30)]
    >>> casing = Opportunity(dt.date(2026, 6, 12), "casing run")
    >>> plan = propose(items, [Group("stack", 120)], at=day(1), days=24, zone=oslo, opportunities=[casing])
    >>> [(w.ahead, w.with_words, len(w.renewals), w.minutes) for w in plan.windows]
    [(11, ('casing run',), 2, 180)]
    """
    calendar = _Calendar.starting(at, days, zone)
    known = {group.key for group in groups}
    for item in items:
        if item.group not in known:
            raise InputError("group", f"{item.key} names the group {item.group}, which is not given.", "Give it too.")
    words = _by_day(opportunities)
    offered = {(day - calendar.today).days for day in words}
    windows: list[Window] = []
    for group in groups:
        own = [item for item in items if item.group == group.key and not calendar.is_too_short(item)]
        chosen = _days_for(own, calendar, offered)
        offered |= set(chosen)
        windows += _windows(group, own, chosen, calendar, words)
    order = {group.key: place for place, group in enumerate(groups)}
    windows.sort(key=lambda window: (window.ahead, order[window.group]))
    return Plan(tuple(windows), tuple(item.key for item in items if calendar.is_too_short(item)))


def last_day_before(limit: dt.datetime, zone: ZoneInfo) -> dt.date:
    """Return the last local day all of which lies before `limit`.

    >>> last_day_before(dt.datetime(2026, 6, 15, tzinfo=dt.UTC), ZoneInfo("UTC")).isoformat()
    '2026-06-14'
    >>> last_day_before(dt.datetime(2026, 6, 15, 18, 30, tzinfo=dt.UTC), ZoneInfo("UTC")).isoformat()
    '2026-06-14'
    """
    return limit.astimezone(zone).date() - _DAY


def end_of(at: dt.datetime, days: int, zone: ZoneInfo) -> dt.datetime:
    """Return the moment at which today and the days after it, `days` in all, are over.

    >>> end_of(dt.datetime(2026, 6, 1, 9, tzinfo=dt.UTC), 14, ZoneInfo("UTC")).isoformat()
    '2026-06-15T00:00:00+00:00'
    """
    return localise(dt.datetime.combine(at.astimezone(zone).date() + dt.timedelta(days=days), dt.time()), zone)


def _by_day(opportunities: Iterable[Opportunity]) -> dict[dt.date, tuple[str, ...]]:
    found: dict[dt.date, tuple[str, ...]] = {}
    for one in opportunities:
        found[one.day] = (*found.get(one.day, ()), one.words)
    return found


class _Calendar:
    """The days of a plan, and how far a test on one of them reaches; days are counted from today."""

    def __init__(self, today: dt.date, days: int, zone: ZoneInfo) -> None:
        self.today = today
        self.days = days
        self.zone = zone
        self._reached: dict[tuple[Interval, Deadline, int], int] = {}

    @classmethod
    def starting(cls, at: dt.datetime, days: int, zone: ZoneInfo) -> "_Calendar":
        if not 1 <= days <= LONGEST_DAYS:
            raise InputError("days", f"A plan looks 1 to {LONGEST_DAYS} days ahead.", "Give for instance 30.")
        return cls(at.astimezone(zone).date(), days, zone)

    @property
    def end(self) -> int:
        """The last day of the horizon."""
        return self.days - 1

    def date(self, ahead: int) -> dt.date:
        return self.today + dt.timedelta(days=ahead)

    def is_late(self, item: Item) -> bool:
        """Tell whether no whole day is left for the item: it is owed at once, overdue, or runs out today."""
        return item.due_at is None or last_day_before(item.due_at, self.zone) < self.today

    def as_it_stands(self, item: Item) -> int:
        """Return the last day good for the item as things stand; what is late is for today."""
        if item.due_at is None or self.is_late(item):
            return 0
        return (last_day_before(item.due_at, self.zone) - self.today).days

    def after(self, item: Item, tested: int) -> int:
        """Return the last day good for the item after a test on the day `tested`."""
        if item.interval is None:
            return self.end
        known = (item.interval, item.deadline, tested)
        if known not in self._reached:
            first_moment = localise(dt.datetime.combine(self.date(tested), dt.time()), self.zone)
            limit = deadline_after(first_moment, item.interval, item.deadline, self.zone)
            self._reached[known] = (last_day_before(limit, self.zone) - self.today).days
        return self._reached[known]

    def is_too_short(self, item: Item) -> bool:
        """Tell whether a test of the item doesn't last until the next day on every day of the horizon."""
        return item.interval is not None and any(self.after(item, day) <= day for day in range(self.days))


_Cost = tuple[int, int, int]
"""Windows, of these not on a day that offers itself, and days given away: a path's cost, compared in this order."""


def _days_for(items: Sequence[Item], calendar: _Calendar, offered: set[int]) -> list[int]:
    """Return the days of the best plan for the items of one group."""
    if not items:
        return []
    first = min(calendar.as_it_stands(item) for item in items)
    # Of items with one interval the one that runs out first reaches least: a stack's forty are asked once.
    by_limit = sorted(items, key=calendar.as_it_stands, reverse=True)
    least = list({(item.interval, item.deadline): item for item in by_limit}.values())
    reach = [
        min(max(calendar.as_it_stands(one), calendar.after(one, day)) for one in least) for day in range(calendar.days)
    ]
    # What is owed today is tested today even where the horizon ends with it.
    needed = first < calendar.end or any(calendar.is_late(item) for item in items)
    return _cheapest(first, reach, offered, calendar.end) if needed else []


def _cheapest(first: int, reach: Sequence[int], offered: set[int], end: int) -> list[int]:
    """Return the cheapest path over the days; see the proof above."""
    best: dict[int, tuple[_Cost, int | None]] = {}
    for day in range(end + 1):
        step: _Cost = (1, day not in offered, end - day)
        before: list[tuple[_Cost, int | None]] = [((0, 0, 0), None)] if day <= first else []
        before += [(best[d][0], d) for d in range(day) if d in best and reach[d] >= day]
        if before:
            cost, came_from = min(before, key=lambda one: one[0])
            best[day] = ((cost[0] + step[0], cost[1] + step[1], cost[2] + step[2]), came_from)
    day_or_none: int | None = min((d for d in best if reach[d] >= end), key=lambda d: best[d][0])
    path: list[int] = []
    while day_or_none is not None:
        path.append(day_or_none)
        day_or_none = best[day_or_none][1]
    return path[::-1]


def _windows(
    group: Group,
    items: Sequence[Item],
    chosen: Sequence[int],
    calendar: _Calendar,
    words: Mapping[dt.date, tuple[str, ...]],
) -> list[Window]:
    renewed: dict[int, list[Renewal]] = {day: [] for day in chosen}
    minutes = dict.fromkeys(chosen, group.set_up_minutes)
    made: dict[str, list[int]] = {}
    for item in sorted(items, key=lambda item: bool(item.renewed_by)):
        others = {day: key for key in item.renewed_by for day in made.get(key, ())}
        tests = _tests_of(item, chosen, calendar, others)
        for day, renewal in tests:
            renewed[day].append(renewal)
            minutes[day] += 0.0 if renewal.by else item.minutes
        if not item.renewed_by:
            made[item.key] = [day for day, _ in tests]
    return [
        Window(
            group.key,
            calendar.date(day),
            day,
            words.get(calendar.date(day), ()),
            tuple(renewed[day]),
            minutes[day],
        )
        for day in chosen
    ]


def _tests_of(
    item: Item, chosen: Sequence[int], calendar: _Calendar, others: Mapping[int, str]
) -> list[tuple[int, Renewal]]:
    """Return in which of the windows an item is tested: each time in the latest that is still in time.

    On the days of `others` the item named there is tested, which renews this one too.
    """
    found: list[tuple[int, Renewal]] = []
    good, late, last = calendar.as_it_stands(item), calendar.is_late(item), -1
    while True:
        owed = late and not found
        farther = (day for day in sorted(others) if last < day <= good and (owed or calendar.after(item, day) > good))
        day = next(farther, None)
        if day is None and good >= calendar.end and not owed:
            return found
        last = max(one for one in chosen if one <= good) if day is None else day
        until = calendar.after(item, last)
        good_until = None if owed else calendar.date(good)
        shown_until = calendar.date(until) if item.interval is not None else None
        found.append((last, Renewal(item.key, good_until, shown_until, others[last] if day is not None else "")))
        good = until
