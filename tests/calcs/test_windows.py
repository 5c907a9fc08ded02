"""Planning ahead against brute force: every set of days tried, and the fewest that keep everything in date."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from itertools import chain, combinations
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.recurrence import Deadline, EventKind, Happened, Interval, State, Tested, due, localise
from calcs.windows import Group, Item, Opportunity, Plan, propose

OSLO = ZoneInfo("Europe/Oslo")
TODAY = dt.date(2026, 3, 24)  # clocks go forward on the 29th: exact days end an hour later by the clock
AT = dt.datetime(2026, 3, 24, 9, tzinfo=OSLO)
STACK = Group("stack", 120.0)


def midnight(ahead: int) -> dt.datetime:
    """Return the midnight at the end of the day so many days from today."""
    return localise(dt.datetime.combine(TODAY + dt.timedelta(days=ahead + 1), dt.time()), OSLO)


def an_item(key: str, last_day: int, interval: str = "14 d", deadline: Deadline = Deadline.MIDNIGHT) -> Item:
    return Item(key, "stack", midnight(last_day), Interval.parse(interval), deadline, minutes=30.0)


def planned(items: list[Item], days: int, on: dict[int, str] | None = None, groups: list[Group] | None = None) -> Plan:
    offered = [Opportunity(TODAY + dt.timedelta(days=day), words) for day, words in (on or {}).items()]
    return propose(items, groups or [STACK], at=AT, days=days, zone=OSLO, opportunities=offered)


def days_of(plan: Plan) -> list[int]:
    return [window.ahead for window in plan.windows]


ITEMS = st.lists(
    st.builds(
        an_item,
        st.uuids().map(str),
        st.integers(-2, 9),
        st.sampled_from(["2 d", "3 d", "5 d", "8 d", "72 h", "1 month"]),
        st.sampled_from([Deadline.EXACT, Deadline.MIDNIGHT]),
    ).filter(lambda item: not (item.interval.unit == "h" and item.deadline is Deadline.MIDNIGHT)),
    min_size=1,
    max_size=5,
)


def in_date_throughout(item: Item, tested_on: tuple[int, ...], days: int) -> bool:
    """Tell by `due` alone, asked at the last moment of each day, whether tests on these days keep an item in date.

    The first limit is the item's own; a test runs on all its day and is known as over at the day's first moment,
    the worst for each of the two.
    """
    limit = item.due_at
    for day in range(days):
        last_moment = midnight(day) - dt.timedelta(seconds=1)
        if day in tested_on:
            if limit < midnight(day) and day > 0:
                return False  # not all of the day lies before the limit
            over = midnight(day - 1)
            limit = due(item.interval, item.deadline, [Tested(over, over, True)], at=over, zone=OSLO).due_at
        if last_moment >= limit:
            return False
    return True


def last_day_after(item: Item, tested_on: int) -> int:
    over = midnight(tested_on - 1)
    limit = due(item.interval, item.deadline, [Tested(over, over, True)], at=over, zone=OSLO).due_at
    return (limit.astimezone(OSLO).date() - TODAY).days - 1


def subsets(days: Sequence[int]) -> list[tuple[int, ...]]:
    return list(chain.from_iterable(combinations(days, size) for size in range(len(days) + 1)))


def can_be_kept(item: Item, windows: tuple[int, ...], days: int) -> bool:
    """Tell whether an item tested in some of the windows stays in date: a window need not test it."""
    return any(in_date_throughout(item, tests, days) for tests in subsets(windows))


@settings(max_examples=60, deadline=None)
@given(ITEMS, st.integers(2, 8), st.sets(st.integers(0, 7), max_size=3))
def test_no_choice_of_days_has_fewer_windows_or_uses_more_opportunities(items: list[Item], days: int, on: set[int]):
    plan = planned(items, days, dict.fromkeys(on, "casing run"))
    good = [choice for choice in subsets(range(days)) if all(can_be_kept(one, choice, days) for one in items)]
    fewest = min(len(choice) for choice in good)
    least_extra = min(sum(day not in on for day in choice) for choice in good if len(choice) == fewest)
    assert len(plan.windows) == fewest
    assert sum(window.ahead not in on for window in plan.windows) == least_extra


@settings(max_examples=60, deadline=None)
@given(ITEMS, st.integers(2, 10))
def test_each_item_stays_in_date_and_is_tested_no_oftener_than_the_days_require(items: list[Item], days: int):
    plan = planned(items, days)
    for item in items:
        tests = tuple(w.ahead for w in plan.windows if item.key in {renewal.key for renewal in w.renewals})
        assert in_date_throughout(item, tests, days)
        assert len(tests) == min(len(one) for one in subsets(days_of(plan)) if in_date_throughout(item, one, days))


@settings(max_examples=60, deadline=None)
@given(ITEMS, st.integers(2, 60))
def test_always_taking_the_latest_day_gives_as_many_windows(items: list[Item], days: int):
    now = {item.key: max(0, (item.due_at.astimezone(OSLO).date() - TODAY).days - 1) for item in items}
    lasts, taken = now, []
    late = any(item.due_at <= midnight(-1) for item in items)
    while min(lasts.values()) < days - 1 or (late and not taken):
        taken.append(min(lasts.values()))
        lasts = {item.key: max(now[item.key], last_day_after(item, taken[-1])) for item in items}
    plan = planned(items, days)
    assert len(plan.windows) == len(taken)
    assert days_of(plan) == taken  # without opportunities the latest days are also the days given back


@settings(max_examples=60, deadline=None)
@given(ITEMS, st.integers(2, 30))
def test_no_window_is_empty_and_minutes_add_up(items: list[Item], days: int):
    for window in planned(items, days).windows:
        assert window.renewals
        assert window.minutes == 120 + 30 * len(window.renewals)


@st.composite
def with_credit(draw: st.DrawFn) -> list[Item]:
    """Items, some of them renewed by the tests of others."""
    plain = draw(ITEMS)
    renewed = draw(ITEMS)
    others = st.lists(st.sampled_from([item.key for item in plain]), min_size=1, max_size=2, unique=True)
    return [*plain, *(replace(item, renewed_by=tuple(draw(others))) for item in renewed)]


@settings(max_examples=60, deadline=None)
@given(with_credit(), st.integers(2, 8))
def test_a_test_that_renews_another_item_is_credited_and_saves_as_many_tests_as_can_be(items: list[Item], days: int):
    plan = planned(items, days)
    made = {item.key: {w.ahead: r for w in plan.windows for r in w.renewals if r.key == item.key} for item in items}
    assert days_of(plan) == days_of(planned([replace(item, renewed_by=()) for item in items], days))
    for item in items:
        tests = made[item.key]
        free = {day for key in item.renewed_by for day in made[key]}
        assert in_date_throughout(item, tuple(tests), days)
        assert all(made[renewal.by].get(day) for day, renewal in tests.items() if renewal.by)
        own = sum(not renewal.by for renewal in tests.values())
        fewest = min(
            len(choice)
            for choice in subsets(days_of(plan))
            for given in subsets(sorted(free))
            if in_date_throughout(item, tuple({*choice, *given}), days)
        )
        assert own == fewest
    own_tests = [r for window in plan.windows for r in window.renewals if not r.by]
    assert plan.minutes == 120 * len(plan.windows) + 30 * len(own_tests)


def test_a_pressure_test_spares_the_function_test_of_the_same_ram():
    """Tested every 7 days, by the pressure test every 14: 30 CFR 250.737(a)(2) and (d)(9)."""
    pressure, function = an_item("pressure", 6), replace(an_item("function", 6, "7 d"), renewed_by=("pressure",))
    plan = planned([function, pressure], 28)
    found = {window.ahead: {renewal.key: renewal.by for renewal in window.renewals} for window in plan.windows}
    assert found == {
        6: {"pressure": "", "function": "pressure"},
        13: {"function": ""},
        20: {"pressure": "", "function": "pressure"},
    }
    assert [window.minutes for window in plan.windows] == [150, 150, 150]


def test_an_item_renewed_within_the_horizon_comes_due_again():
    plan = planned([an_item("ram", 5)], 30)
    assert days_of(plan) == [5, 19]
    assert [window.renewals[0].renewed_until for window in plan.windows] == [
        TODAY + dt.timedelta(days=19),
        TODAY + dt.timedelta(days=33),
    ]


def test_a_casing_run_in_time_is_taken_though_a_later_day_would_do():
    items = [an_item("ram", 13), an_item("annular", 16)]
    plan = planned(items, 26, on={12: "casing run"})
    assert [(window.ahead, window.with_words) for window in plan.windows] == [(12, ("casing run",))]
    assert {renewal.key for renewal in plan.windows[0].renewals} == {"ram", "annular"}


def test_an_opportunity_that_would_cost_one_more_window_is_left():
    assert days_of(planned([an_item("ram", 13)], 27, on={3: "bit trip"})) == [13]


def test_what_is_overdue_or_owed_at_once_is_for_today_even_on_the_last_day():
    items = [an_item("late", -3), Item("new", "stack", None, Interval.parse("14 d"))]
    plan = planned(items, 1)
    assert days_of(plan) == [0]
    assert [renewal.good_until for renewal in plan.windows[0].renewals] == [None, None]


def test_what_runs_out_at_an_hour_of_today_is_for_today():
    item = Item("ram", "stack", AT + dt.timedelta(hours=8), Interval.parse("14 d"))
    assert days_of(planned([item], 14)) == [0]


def test_a_limit_at_an_hour_leaves_the_day_before_as_the_last_whole_day():
    item = Item("ram", "stack", midnight(9) + dt.timedelta(hours=14), Interval.parse("14 d"), Deadline.EXACT)
    assert days_of(planned([item], 20)) == [9]


def test_nothing_is_planned_where_nothing_runs_out():
    assert planned([an_item("ram", 29)], 30).windows == ()


def test_what_a_single_test_settles_is_tested_once():
    item = Item("paper", "stack", midnight(3))
    plan = planned([item], 200)
    assert days_of(plan) == [3]
    assert plan.windows[0].renewals[0].renewed_until is None


def test_a_test_that_does_not_last_to_the_next_day_cannot_be_planned_by_days():
    plan = planned([an_item("watch", 2, "12 h", Deadline.EXACT), an_item("ram", 2)], 10)
    assert plan.too_short == ("watch",)
    assert [renewal.key for window in plan.windows for renewal in window.renewals] == ["ram"]


def test_groups_are_windows_of_their_own_and_meet_on_one_day_where_that_costs_none():
    bank = Item("bank", "accumulators", midnight(14), Interval.parse("6 months"), minutes=90)
    plan = planned([an_item("ram", 12), bank], 20, groups=[STACK, Group("accumulators", 30)])
    assert [(window.group, window.ahead, window.minutes) for window in plan.windows] == [
        ("stack", 12, 150),
        ("accumulators", 12, 120),
    ]
    assert plan.minutes == 270


def test_the_plan_holds_in_the_deadlines_of_the_trade():
    """Fourteen days by 30 CFR 250.737(a)(2): tested on the plan's days, an item is never overdue at any hour."""
    plan = planned([an_item("ram", 6)], 60)
    history = [Happened(EventKind.INSTALLED, AT - dt.timedelta(days=90))]
    history += [Tested(over, over, True) for over in (midnight(-8) - dt.timedelta(hours=1),)]
    for window in plan.windows:
        begun = midnight(window.ahead) - dt.timedelta(minutes=1)  # begun at the last minute, over after midnight
        before = due(Interval.parse("14 d"), Deadline.MIDNIGHT, history, at=begun, zone=OSLO)
        assert before.state is not State.OVERDUE
        history.append(Tested(begun, begun + dt.timedelta(hours=5), True))


@pytest.mark.parametrize("days", [0, -3, 367])
def test_a_horizon_of_no_day_or_beyond_a_year_is_refused(days: int):
    with pytest.raises(InputError, match="1 to 366"):
        planned([an_item("ram", 3)], days)


def test_an_item_of_an_unknown_group_is_refused():
    with pytest.raises(InputError, match="names the group"):
        planned([an_item("ram", 3)], 10, groups=[Group("accumulators")])
