"""When an item is due: from its history alone, in the rig's own time."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.recurrence import (
    SOON,
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
    due,
)

ZONES = [ZoneInfo(name) for name in ("Europe/Oslo", "America/Chicago", "Australia/Perth", "America/Sao_Paulo")]
OSLO = ZONES[0]
FORTNIGHT = Interval.parse("14 d")
HOUR = dt.timedelta(hours=1)


def utc(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC)


MOMENTS = st.integers(0, 15 * 365 * 24 * 60).map(
    lambda minutes: utc("2015-01-01T00:00") + dt.timedelta(minutes=minutes)
)


def ask(*history: Event, at: str, interval: str = "14 d", deadline: Deadline = Deadline.MIDNIGHT) -> Due:
    return due(Interval.parse(interval), deadline, history, at=utc(at), zone=OSLO)


def passing(started: str, concluded: str, pressure: float | None = None) -> Tested:
    return Tested(utc(started), utc(concluded), True, pressure)


TEST_IN_MAY = passing("2026-05-01T08:00", "2026-05-01T20:00")
# 1 May + 14 days = 15 May; its end in Oslo (UTC+2) is 16 May 00:00 local.
DEADLINE_IN_MAY = utc("2026-05-15T22:00")


@pytest.mark.parametrize(
    ("at", "state"),
    [
        ("2026-05-02T00:00", State.IN_DATE),
        ("2026-05-12T21:59", State.IN_DATE),
        ("2026-05-12T22:00", State.DUE_SOON),
        ("2026-05-15T21:59", State.DUE_SOON),
        ("2026-05-15T22:00", State.OVERDUE),
    ],
)
def test_the_state_follows_the_deadline_to_the_minute(at: str, state: State):
    found = ask(TEST_IN_MAY, at=at)
    assert found.state is state
    assert found.due_at == DEADLINE_IN_MAY
    assert found.counts_from == utc("2026-05-01T20:00")


def test_both_dates_of_the_clause_are_given():
    found = ask(TEST_IN_MAY, at="2026-05-02T00:00")
    assert found.amber_at == utc("2026-05-15T20:00")  # 14 days of 24 hours after the conclusion
    assert ask(TEST_IN_MAY, at="2026-05-02T00:00", deadline=Deadline.EXACT).amber_at is None


def test_the_clock_counts_from_the_conclusion_not_from_the_start():
    over_midnight = passing("2026-05-01T20:00", "2026-05-01T23:30")  # concluded 2 May 01:30 in Oslo
    assert ask(over_midnight, at="2026-05-02T12:00").due_at == DEADLINE_IN_MAY + dt.timedelta(days=1)


def test_a_conclusion_at_midnight_belongs_to_the_day_it_begins():
    at_midnight = passing("2026-05-01T12:00", "2026-05-01T22:00")
    assert ask(at_midnight, at="2026-05-02T12:00").due_at == DEADLINE_IN_MAY + dt.timedelta(days=1)


def test_a_test_begun_in_time_is_in_progress_even_past_the_deadline():
    begun = Tested(utc("2026-05-15T21:59"))
    assert ask(TEST_IN_MAY, begun, at="2026-05-16T04:00").state is State.IN_PROGRESS


def test_a_test_begun_at_the_deadline_is_too_late():
    begun = Tested(utc("2026-05-15T22:00"))
    assert ask(TEST_IN_MAY, begun, at="2026-05-16T04:00").state is State.OVERDUE


def test_a_test_begun_in_time_and_concluded_late_starts_the_next_clock():
    late = passing("2026-05-15T21:00", "2026-05-16T06:00")
    found = ask(TEST_IN_MAY, late, at="2026-05-16T07:00")
    assert (found.state, found.counts_from) == (State.IN_DATE, utc("2026-05-16T06:00"))


def test_a_failed_test_does_not_renew_and_is_named():
    failed = Tested(utc("2026-05-14T08:00"), utc("2026-05-14T12:00"), False)
    found = ask(TEST_IN_MAY, failed, at="2026-05-14T13:00")
    assert found.due_at == DEADLINE_IN_MAY
    assert "failed" in found.reason


def test_a_broken_off_test_is_not_in_progress():
    broken_off = Tested(utc("2026-05-14T08:00"), None, False)
    assert ask(TEST_IN_MAY, broken_off, at="2026-05-14T13:00").state is State.DUE_SOON


@pytest.mark.parametrize("kind", [EventKind.INSTALLED, EventKind.REPAIRED, EventKind.BACK_IN_SERVICE])
def test_what_breaks_into_a_passing_test_makes_the_item_due_at_once(kind: EventKind):
    found = ask(TEST_IN_MAY, Happened(kind, utc("2026-05-03T00:00")), at="2026-05-03T01:00")
    assert (found.state, found.due_at, found.counts_from_kind) == (State.DUE_NOW, utc("2026-05-03T00:00"), kind)


def test_a_repair_before_the_test_is_over_with_it():
    repaired = Happened(EventKind.REPAIRED, utc("2026-04-30T00:00"))
    assert ask(repaired, TEST_IN_MAY, at="2026-05-02T00:00").state is State.IN_DATE


def test_a_repair_while_the_passing_test_ran_is_pointed_out():
    during = Happened(EventKind.REPAIRED, utc("2026-05-01T12:00"))
    found = ask(during, TEST_IN_MAY, at="2026-05-02T00:00")
    assert (found.state, found.due_at) == (State.IN_DATE, DEADLINE_IN_MAY)
    assert "while that test ran" in found.reason


@pytest.mark.parametrize("history", [(), (Happened(EventKind.INSTALLED, utc("2026-05-01T00:00")),)])
def test_never_tested_is_due_at_once(history: tuple[Event, ...]):
    assert ask(*history, at="2026-05-02T00:00").state is State.DUE_NOW


def test_the_first_test_under_way_is_in_progress():
    installed = Happened(EventKind.INSTALLED, utc("2026-05-01T00:00"))
    assert ask(installed, Tested(utc("2026-05-01T06:00")), at="2026-05-01T07:00").state is State.IN_PROGRESS


def test_out_of_service_has_no_deadline_until_it_returns():
    out = Happened(EventKind.OUT_OF_SERVICE, utc("2026-05-05T00:00"))
    back = Happened(EventKind.BACK_IN_SERVICE, utc("2026-07-01T00:00"))
    idle = ask(TEST_IN_MAY, out, at="2026-06-30T00:00")
    assert (idle.state, idle.due_at) == (State.OUT_OF_SERVICE, None)
    assert ask(TEST_IN_MAY, out, back, at="2026-07-01T00:00").state is State.DUE_NOW


def test_a_deferral_moves_the_date_and_expires_by_itself():
    deferral = Deferred(utc("2026-05-15T10:00"), utc("2026-05-20T22:00"))
    found = ask(TEST_IN_MAY, deferral, at="2026-05-16T00:00")
    assert (found.state, found.due_at) == (State.IN_DATE, deferral.until)
    assert found.original_due_at == DEADLINE_IN_MAY
    assert "Deferred" in found.reason
    assert ask(TEST_IN_MAY, deferral, at="2026-05-20T22:00").state is State.OVERDUE


def test_a_deferral_does_not_outlive_the_test_it_put_off():
    deferral = Deferred(utc("2026-04-30T10:00"), utc("2026-09-01T00:00"))
    assert ask(deferral, TEST_IN_MAY, at="2026-05-02T00:00").due_at == DEADLINE_IN_MAY


def test_a_deferral_does_not_cover_a_later_repair():
    deferral = Deferred(utc("2026-05-15T10:00"), utc("2026-05-20T22:00"))
    repaired = Happened(EventKind.REPAIRED, utc("2026-05-17T00:00"))
    assert ask(TEST_IN_MAY, deferral, repaired, at="2026-05-18T00:00").state is State.DUE_NOW


def test_what_had_not_happened_yet_is_not_known():
    later = (passing("2026-05-10T08:00", "2026-05-10T12:00"), Happened(EventKind.REPAIRED, utc("2026-05-12T00:00")))
    assert ask(TEST_IN_MAY, *later, at="2026-05-09T00:00") == ask(TEST_IN_MAY, at="2026-05-09T00:00")


def test_a_test_below_the_present_sections_pressure_does_not_count():
    at_3000 = passing("2026-05-01T08:00", "2026-05-01T20:00", pressure=20e6)
    section = Section(utc("2026-05-04T00:00"), required_gauge=34e6)
    found = ask(at_3000, section, at="2026-05-05T00:00")
    assert (found.state, found.counts_from_kind) == (State.DUE_NOW, EventKind.SECTION)
    at_5000 = passing("2026-05-04T08:00", "2026-05-04T12:00", pressure=35e6)
    assert ask(at_3000, section, at_5000, at="2026-05-05T00:00").state is State.IN_DATE


def test_a_section_of_no_stated_pressure_changes_nothing():
    section = Section(utc("2026-05-04T00:00"))
    assert ask(TEST_IN_MAY, section, at="2026-05-05T00:00") == ask(TEST_IN_MAY, at="2026-05-05T00:00")


@pytest.mark.parametrize(
    ("text", "shown"),
    [("14 d", "14 d"), ("14 days", "14 d"), ("2 weeks", "14 d"), ("6 months", "6 months"), ("1 year", "1 year")],
)
def test_intervals_are_read(text: str, shown: str):
    assert str(Interval.parse(text)) == shown


@pytest.mark.parametrize("text", ["", "14", "d", "0 d", "-3 d", "1.5 d", "14 fortnights", "9999999 years", "14 d d"])
def test_other_intervals_are_refused(text: str):
    with pytest.raises(InputError) as refused:
        Interval.parse(text)
    assert refused.value.field == "interval"


def test_hours_have_no_midnight():
    with pytest.raises(InputError, match="midnight"):
        deadline_after(utc("2026-05-01T00:00"), Interval.parse("336 h"), Deadline.MIDNIGHT, OSLO)


@pytest.mark.parametrize(
    ("concluded", "interval", "last_day"),
    [
        ("2026-01-31", "1 months", "2026-02-28"),
        ("2024-02-29", "1 years", "2025-02-28"),
        ("2026-08-31", "6 months", "2027-02-28"),
        ("2026-12-15", "1 months", "2027-01-15"),
    ],
)
def test_months_and_years_are_clipped_to_the_months_end(concluded: str, interval: str, last_day: str):
    noon = dt.datetime.fromisoformat(f"{concluded}T12:00").replace(tzinfo=OSLO)
    found = deadline_after(noon, Interval.parse(interval), Deadline.MIDNIGHT, OSLO)
    assert found - dt.timedelta(days=1) == dt.datetime.fromisoformat(last_day).replace(tzinfo=OSLO)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Tested(utc("2026-05-02T00:00"), utc("2026-05-01T00:00"), True),
        lambda: Tested(utc("2026-05-02T00:00"), utc("2026-05-03T00:00")),
        lambda: Tested(utc("2026-05-02T00:00"), None, True),
    ],
)
def test_tests_that_cannot_be_are_refused(make):
    with pytest.raises(InputError):
        make()


def test_a_long_history_is_walked_once_whatever_its_length():
    """Each event is looked at a bounded number of times: recomputing must not grow with the square."""
    looks = 0

    class Counted(Tested):
        def __getattribute__(self, name: str) -> object:
            nonlocal looks
            looks += name == "started"
            return super().__getattribute__(name)

    tests = [Counted(utc("2020-01-01T00:00") + n * HOUR, utc("2020-01-01T00:30") + n * HOUR, True) for n in range(400)]
    looks = 0
    assert ask(*tests, at="2020-02-01T00:00").state is State.OVERDUE
    assert looks <= 3 * len(tests)


@given(MOMENTS, st.integers(1, 400), st.sampled_from(ZONES))
def test_a_midnight_deadline_is_the_first_moment_of_a_local_day(concluded: dt.datetime, days: int, zone: ZoneInfo):
    found = deadline_after(concluded, Interval.parse(f"{days} d"), Deadline.MIDNIGHT, zone)
    second_before = (found.astimezone(dt.UTC) - dt.timedelta(seconds=1)).astimezone(zone)
    assert second_before.date() == concluded.astimezone(zone).date() + dt.timedelta(days=days)
    assert found.date() == second_before.date() + dt.timedelta(days=1)


@given(MOMENTS, st.integers(1, 400), st.sampled_from(ZONES))
def test_the_amber_date_never_passes_the_red_one(concluded: dt.datetime, days: int, zone: ZoneInfo):
    history = [Tested(concluded - HOUR, concluded, True)]
    found = due(Interval.parse(f"{days} d"), Deadline.MIDNIGHT, history, at=concluded, zone=zone)
    assert found.due_at is not None
    assert found.amber_at is None or concluded < found.amber_at < found.due_at


@st.composite
def histories(draw: st.DrawFn) -> list[Event]:
    """Histories as they may come from years of mixed entries, in any order."""
    events: list[Event] = []
    for _ in range(draw(st.integers(0, 8))):
        at = utc("2026-01-01T00:00") + dt.timedelta(hours=draw(st.integers(0, 2000)))
        after = at + dt.timedelta(hours=draw(st.integers(0, 300)))
        plain = [EventKind.INSTALLED, EventKind.REPAIRED, EventKind.OUT_OF_SERVICE, EventKind.BACK_IN_SERVICE]
        options: Sequence[Event] = [
            Tested(at, after, draw(st.booleans())),
            Tested(at),
            Happened(draw(st.sampled_from(plain)), at),
            Deferred(at, after),
            Section(at),
        ]
        events.append(draw(st.sampled_from(options)))
    return events


@dataclass
class Walk:
    """What is known after walking through a history in the order it happened."""

    passed_at: dt.datetime | None = None
    trigger: dt.datetime | None = None
    out: bool = False


def walked(history: list[Event], at: dt.datetime) -> Walk:
    passes = [(e.concluded, "passed") for e in history if isinstance(e, Tested) and e.passed and e.concluded]
    happened = [(e.at, str(e.kind)) for e in history if isinstance(e, Happened)]
    walk = Walk()
    for moment, what in sorted(passes + happened):
        if moment > at:
            break
        if what == "passed":
            walk.passed_at, walk.trigger = moment, None
        elif what != "out-of-service":
            walk.trigger = moment
        walk.out = what == "out-of-service" or (walk.out and what != "back-in-service")
    return walk


def plainly(history: list[Event], at: dt.datetime, zone: ZoneInfo) -> tuple[State, dt.datetime | None]:
    """A second reading of the rules: the history walked through once, instead of asked."""
    walk = walked(history, at)
    if walk.out:
        return State.OUT_OF_SERVICE, None
    base = walk.trigger or walk.passed_at
    limit = base or at
    if base and not walk.trigger:
        local = base.astimezone(zone)
        limit = dt.datetime(local.year, local.month, local.day, tzinfo=zone) + dt.timedelta(days=15)
    since = base or utc("1900-01-01T00:00")
    granted = [e for e in history if isinstance(e, Deferred) and since <= e.at <= at]
    at_once = limit <= (base or at) and not granted
    limit = max(granted, key=lambda e: e.at).until if granted else limit
    tests = [e for e in history if isinstance(e, Tested) and since <= e.started <= at]
    running = [e.started for e in tests if e.concluded is None or e.concluded > at]
    if any(at_once or started < limit for started in running):
        return State.IN_PROGRESS, limit
    if at_once:
        return State.DUE_NOW, limit
    if at >= limit:
        return State.OVERDUE, limit
    return (State.DUE_SOON if limit - at <= SOON else State.IN_DATE), limit


@given(histories(), st.integers(0, 2400), st.sampled_from(ZONES))
def test_any_history_reads_the_same_when_walked_through_plainly(history: list[Event], hours: int, zone: ZoneInfo):
    at = utc("2026-01-01T00:00") + dt.timedelta(hours=hours)
    # Where a test was passed and something happened at the very same moment, the order is the recorder's.
    moments = [e.concluded if isinstance(e, Tested) else e.at for e in history]
    assume(len(set(moments)) == len(moments))
    found = due(FORTNIGHT, Deadline.MIDNIGHT, history, at=at, zone=zone)
    state, limit = plainly(history, at, zone)
    assert found.state is state
    assert found.due_at == limit
