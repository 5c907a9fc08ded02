"""When somebody is told: stages before and after a due date, quiet hours, the digest's hour, waits between tries."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from dateutil import rrule, tz
from hypothesis import given
from hypothesis import strategies as st

from calcs.alert_stages import (
    MOST_TRIES,
    QuietHours,
    Stage,
    StagePlan,
    digest_day,
    digest_moment,
    is_urgent,
    latest_stage,
    next_stage_at,
    passed_over,
    sending_moment,
    stage_words,
    wait_after,
)
from calcs.errors import InputError

HOUR = dt.timedelta(hours=1)
MINUTE = dt.timedelta(minutes=1)
ZONES = [ZoneInfo(name) for name in ("America/Chicago", "Europe/Oslo", "Australia/Lord_Howe", "Africa/Cairo", "UTC")]
CHICAGO = ZONES[0]
zones = st.sampled_from(ZONES)
moments = st.datetimes(
    dt.datetime(2024, 1, 1),  # noqa: DTZ001 - hypothesis adds the zone
    dt.datetime(2028, 1, 1),  # noqa: DTZ001
    timezones=st.just(dt.UTC),
)
plans = st.builds(StagePlan, st.lists(st.integers(1, 400), max_size=5, unique=True).map(tuple), st.booleans())
clock_times = st.times().map(lambda at: at.replace(second=0, microsecond=0))


def key_at(due_at: dt.datetime, at: dt.datetime, plan: StagePlan, zone: ZoneInfo) -> str:
    stage = latest_stage(due_at, at=at, plan=plan, zone=zone)
    return stage.key if stage else ""


@given(moments, st.integers(-500, 900), plans, zones)
def test_a_stage_holds_from_its_moment_until_the_next(due_at: dt.datetime, hours: int, plan: StagePlan, zone: ZoneInfo):
    at = due_at + hours * HOUR
    stage = latest_stage(due_at, at=at, plan=plan, zone=zone)
    following = next_stage_at(due_at, at=at, plan=plan, zone=zone)
    if stage is not None:
        assert stage.at <= at
        assert key_at(due_at, stage.at, plan, zone) == stage.key
        assert key_at(due_at, stage.at - MINUTE, plan, zone) != stage.key
    if following is not None:
        assert following > at
        assert key_at(due_at, following - MINUTE, plan, zone) == (stage.key if stage else "")
        assert key_at(due_at, following, plan, zone) != (stage.key if stage else "")


@given(moments, plans, zones)
def test_stages_only_ever_grow_more_pressing(due_at: dt.datetime, plan: StagePlan, zone: ZoneInfo):
    found = [latest_stage(due_at, at=due_at + hours * HOUR, plan=plan, zone=zone) for hours in range(-410, 200, 7)]
    pressing = [stage.hours_past for stage in found if stage is not None]
    assert pressing == sorted(pressing)


@pytest.mark.parametrize("zone", ["America/Chicago", "Europe/Oslo", "Australia/Sydney"])
def test_each_day_overdue_begins_at_the_due_date_s_own_clock_time_as_dateutil_reckons_it(zone: str):
    """Against dateutil's daily recurrence on the clock face, over a year with both changes of clocks."""
    local = ZoneInfo(zone)
    due_at = dt.datetime(2026, 1, 15, 14, 30, tzinfo=local)
    days = rrule.rrule(rrule.DAILY, dtstart=due_at.replace(tzinfo=None), count=360)
    for number, wall in enumerate(days):
        begins = tz.resolve_imaginary(wall.replace(tzinfo=tz.gettz(zone))).astimezone(dt.UTC)
        expected = f"overdue-day-{number}" if number else "overdue"
        assert key_at(due_at, begins, StagePlan(), local) == expected
        assert key_at(due_at, begins - MINUTE, StagePlan(), local) != expected


def test_hours_before_are_hours_that_pass_across_the_change_of_clocks():
    due_at = dt.datetime(2026, 3, 9, 0, 0, tzinfo=CHICAGO)
    reached = latest_stage(due_at, at=due_at, plan=StagePlan((24,)), zone=CHICAGO)
    before = latest_stage(due_at, at=due_at.astimezone(dt.UTC) - HOUR, plan=StagePlan((24,)), zone=CHICAGO)
    assert reached is not None
    assert before is not None
    assert (reached.key, before.key) == ("overdue", "before-24h")
    # 8 March 2026 has 23 hours in Chicago: 24 hours before its end is 23:00 of the day before.
    assert before.at.astimezone(CHICAGO) == dt.datetime(2026, 3, 7, 23, 0, tzinfo=CHICAGO)


def test_without_repeats_a_due_date_is_the_last_stage():
    plan = StagePlan((24,), each_day_overdue=False)
    due_at = dt.datetime(2026, 5, 20, tzinfo=dt.UTC)
    assert key_at(due_at, due_at + 900 * HOUR, plan, CHICAGO) == "overdue"
    assert next_stage_at(due_at, at=due_at, plan=plan, zone=CHICAGO) is None


@pytest.mark.parametrize(
    ("stage", "after", "said"),
    [
        (("before-24h", -24), None, ("3 days before",)),
        (("before-24h", -24), -72, ()),
        (("overdue", 0), -24, ()),
        (("overdue-day-1", 24), -24, ("due date",)),
        (("overdue-day-9", 216), None, ("3 days before", "24 hours before", "due date", "overdue for 1 to 8 days")),
        (("overdue-day-9", 216), 168, ("overdue for 8 days",)),
    ],
)
def test_what_was_passed_over_in_an_outage_is_told_in_few_words(
    stage: tuple[str, int], after: int | None, said: tuple[str, ...]
):
    found = Stage(*stage, dt.datetime(2026, 5, 20, tzinfo=dt.UTC))
    assert passed_over(found, after=after, plan=StagePlan()) == said


@pytest.mark.parametrize("hours", [(0,), (-3,), (90 * 24 + 1,), (1, 2, 3, 4, 5, 6, 7)])
def test_stages_nobody_could_want_are_refused(hours: tuple[int, ...]):
    with pytest.raises(InputError):
        StagePlan(hours)


def test_every_stage_has_words_and_only_those_ahead_can_wait():
    keys = ["before-72h", "before-36h", "before-1h", "overdue", "overdue-day-1", "due-now", "not-passed", "unknown"]
    assert [stage_words(key) for key in keys] == [
        "3 days before",
        "36 hours before",
        "1 hour before",
        "Overdue",
        "Overdue for 1 day",
        "Due now",
        "Last test not passed",
        "Cannot be worked out",
    ]
    assert [is_urgent(key) for key in keys] == [False] * 3 + [True] * 5


@given(moments, clock_times, clock_times, zones)
def test_what_waits_for_the_end_of_quiet_hours_waits_less_than_a_day_and_goes_after_them(
    at: dt.datetime, begins: dt.time, ends: dt.time, zone: ZoneInfo
):
    if begins == ends:
        return
    quiet = QuietHours(begins, ends)
    goes = sending_moment(at, quiet, zone)
    assert at <= goes <= at + 25 * HOUR
    assert sending_moment(goes, None, zone) == goes
    if not quiet.hold(at.astimezone(zone).time()):
        assert goes == at
    elif goes > at:
        # The end as the clock shows it, or the far side of the hour that daylight saving skips.
        shown = goes.astimezone(zone)
        assert shown.time() == ends or shown.utcoffset() != at.astimezone(zone).utcoffset()


def test_quiet_hours_over_midnight_end_by_the_clock_in_the_night_the_clocks_change():
    quiet = QuietHours(dt.time(22), dt.time(6))
    for day, hours in [(dt.date(2026, 3, 7), 7), (dt.date(2026, 5, 7), 8), (dt.date(2026, 10, 31), 9)]:
        begins = dt.datetime.combine(day, dt.time(22), CHICAGO).astimezone(dt.UTC)
        assert sending_moment(begins, quiet, CHICAGO) - begins == hours * HOUR


def test_quiet_hours_that_end_when_they_begin_are_refused():
    with pytest.raises(InputError):
        QuietHours(dt.time(6), dt.time(6))


@given(moments, clock_times, zones)
def test_a_digest_is_owed_for_one_local_day_and_only_once_its_hour_came(
    at: dt.datetime, digest_at: dt.time, zone: ZoneInfo
):
    day = digest_day(at, digest_at, zone)
    today = at.astimezone(zone).date()
    assert day in (None, today)
    assert (day == today) == (digest_moment(today, digest_at, zone) <= at)


def test_a_digest_at_an_hour_that_is_skipped_comes_right_after_it():
    moment = digest_moment(dt.date(2026, 3, 8), dt.time(2, 30), CHICAGO)
    assert moment.astimezone(CHICAGO).isoformat() == "2026-03-08T03:30:00-05:00"


def test_tries_take_about_a_day_and_then_end():
    waits = [wait_after(tries) for tries in range(1, MOST_TRIES)]
    assert all(wait is not None for wait in waits)
    assert 22 * HOUR < sum(filter(None, waits), dt.timedelta()) < 26 * HOUR
    assert wait_after(MOST_TRIES) is None
