"""How long a test interval was exceeded, worked by hand across daylight saving in three zones, and against dateutil.

Rule: 30 CFR 250.737(a)(2), read: a test must begin before midnight of the 14th day following the conclusion of the
previous test (the 30th for blind shears). That midnight is the rig's is common practice.
"""

import datetime as dt
import itertools
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from calcs.conditions import Condition, spans
from calcs.exceeded import Exceedance, exceedances, was_met
from calcs.recurrence import Deadline, Interval, Tested

HOUR = dt.timedelta(hours=1)


def passed(started: str, concluded: str) -> Tested:
    return Tested(dt.datetime.fromisoformat(started), dt.datetime.fromisoformat(concluded), True)


def exceeded(history: list[Tested], zone: str, *, days: int = 14) -> tuple[Exceedance, ...]:
    first, last = history[0].concluded, history[-1].concluded
    assert first is not None
    assert last is not None
    return exceedances(
        Interval.parse(f"{days} d"),
        Deadline.MIDNIGHT,
        history,
        since=first,
        until=last + HOUR,
        zone=ZoneInfo(zone),
    )


@pytest.mark.parametrize(
    ("zone", "days", "before", "after", "begin_utc", "hours"),
    [
        # Chicago forward on 8 March 2026. 1 March + 14 = the 15th; late from 00:00 CDT (05:00 UTC) of the 16th until
        # 09:30 CDT (14:30 UTC) of the 18th: two days of 24 hours and nine and a half.
        ("America/Chicago", 14, "2026-03-01T02:10-06:00", "2026-03-18T09:30-05:00", "2026-03-16T05:00", 57.5),
        # The night itself: 21 February + 14 = 7 March; late from 00:00 CST (06:00 UTC) of the 8th until 12:00 CDT
        # (17:00 UTC): the clock shows twelve hours, eleven passed.
        ("America/Chicago", 14, "2026-02-21T10:00-06:00", "2026-03-08T12:00-05:00", "2026-03-08T06:00", 11),
        # And back on 1 November: 17 October + 14 = the 31st; late from 00:00 CDT (05:00 UTC) of the 1st until 12:00
        # CST (18:00 UTC): thirteen hours passed.
        ("America/Chicago", 14, "2026-10-17T10:00-05:00", "2026-11-01T12:00-06:00", "2026-11-01T05:00", 13),
        # Blind shears, Chicago: 10 February + 30 = 12 March; late from 00:00 CDT (05:00 UTC) of the 13th until 06:00
        # CDT (11:00 UTC) of the 14th.
        ("America/Chicago", 30, "2026-02-10T23:50-06:00", "2026-03-14T06:00-05:00", "2026-03-13T05:00", 30),
        # Oslo forward on 29 March 2026: 14 March + 14 = the 28th; late from 00:00 CET (23:00 UTC of the 28th) until
        # 08:00 CEST (06:00 UTC) of the 29th: the clock shows eight hours, seven passed.
        ("Europe/Oslo", 14, "2026-03-14T16:00+01:00", "2026-03-29T08:00+02:00", "2026-03-28T23:00", 7),
        # Oslo back on 25 October: 10 October + 14 = the 24th; late from 00:00 CEST (22:00 UTC of the 24th) until 03:30
        # CET (02:30 UTC) of the 25th: four and a half hours.
        ("Europe/Oslo", 14, "2026-10-10T16:00+02:00", "2026-10-25T03:30+01:00", "2026-10-24T22:00", 4.5),
        # Sydney back on 5 April 2026: 21 March + 14 = 4 April; late from 00:00 AEDT (13:00 UTC of the 4th) until 06:00
        # AEST (20:00 UTC of the 4th): the clock shows six hours, seven passed.
        ("Australia/Sydney", 14, "2026-03-21T09:00+11:00", "2026-04-05T06:00+10:00", "2026-04-04T13:00", 7),
        # Sydney forward on 4 October: 19 September + 14 = 3 October; late from 00:00 AEST (14:00 UTC of the 3rd) until
        # 06:00 AEDT (19:00 UTC of the 3rd): five hours.
        ("Australia/Sydney", 14, "2026-09-19T09:00+10:00", "2026-10-04T06:00+11:00", "2026-10-03T14:00", 5),
    ],
)
def test_how_long_an_interval_was_exceeded_across_daylight_saving(
    zone: str, days: int, before: str, after: str, begin_utc: str, hours: float
):
    # The later test began and was over at the same moment: the gap ends there.
    [one] = exceeded([passed(before, before), passed(after, after)], zone, days=days)
    assert one.condition is Condition.OVERDUE
    assert one.begin.astimezone(dt.UTC) == dt.datetime.fromisoformat(begin_utc).replace(tzinfo=dt.UTC)
    assert one.end is not None
    assert one.end.astimezone(dt.UTC) - one.begin.astimezone(dt.UTC) == hours * HOUR


@pytest.mark.parametrize(
    ("zone", "concluded", "last_moment_in_date"),
    [
        ("America/Chicago", "2026-03-01T02:10-06:00", "2026-03-15T23:59:59-05:00"),
        ("Europe/Oslo", "2026-10-20T23:30+02:00", "2026-11-03T23:59:59+01:00"),
        ("Australia/Sydney", "2026-10-01T18:00+10:00", "2026-10-15T23:59:59+11:00"),
    ],
)
def test_the_last_second_of_the_fourteenth_day_is_in_date_and_the_next_is_not(
    zone: str, concluded: str, last_moment_in_date: str
):
    history, last = [passed(concluded, concluded)], dt.datetime.fromisoformat(last_moment_in_date)
    asked = (Interval.parse("14 d"), Deadline.MIDNIGHT, history)
    assert was_met(*asked, at=last, zone=ZoneInfo(zone))
    assert not was_met(*asked, at=last + dt.timedelta(seconds=1), zone=ZoneInfo(zone))


def test_a_test_begun_in_the_last_minute_and_concluded_the_next_day_is_in_time():
    history = [
        passed("2026-03-01T02:10-06:00", "2026-03-01T02:10-06:00"),
        passed("2026-03-15T23:59-05:00", "2026-03-16T07:00-05:00"),
    ]
    assert exceeded(history, "America/Chicago") == ()


def test_a_test_begun_at_that_midnight_is_late_until_it_is_over():
    history = [
        passed("2026-03-01T02:10-06:00", "2026-03-01T02:10-06:00"),
        passed("2026-03-16T00:00-05:00", "2026-03-16T07:00-05:00"),
    ]
    [one] = exceeded(history, "America/Chicago")
    assert one.length(one.begin, history[-1].concluded) == 7 * HOUR


@given(
    st.integers(0, 20 * 365 * 24 * 60),
    st.lists(st.integers(1, 40 * 24 * 60), min_size=1, max_size=12),
    st.sampled_from(["America/Chicago", "Europe/Oslo", "Australia/Sydney", "America/Sao_Paulo"]),
)
def test_a_run_of_tests_is_late_exactly_where_dateutil_says(begin: int, waits: list[int], zone: str):
    """Each test passes at a moment; between two of them it lapses at dateutil's midnight, or not at all."""
    theirs, at = tz.gettz(zone), dt.datetime(2005, 1, 1, tzinfo=dt.UTC) + dt.timedelta(minutes=begin)
    moments = [at]
    for wait in waits:
        moments.append(moments[-1] + dt.timedelta(minutes=wait))
    expected = []
    for one, following in itertools.pairwise(moments):
        day = one.astimezone(theirs).date() + relativedelta(days=15)
        lapses = tz.resolve_imaginary(dt.datetime.combine(day, dt.time(), tzinfo=theirs)).astimezone(dt.UTC)
        if lapses < following:
            expected.append((lapses, following))
    history = [Tested(one, one, True) for one in moments]
    found = spans(
        Interval.parse("14 d"),
        Deadline.MIDNIGHT,
        history,
        since=moments[0],
        until=moments[-1] + dt.timedelta(minutes=1),
        zone=ZoneInfo(zone),
    )
    late = [(s.begin.astimezone(dt.UTC), s.end and s.end.astimezone(dt.UTC)) for s in found if s.condition == "overdue"]
    assert late == expected
