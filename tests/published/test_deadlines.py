"""Deadlines against day counts worked by hand, and against dateutil with its own time zones.

Rule: 30 CFR 250.737(a)(2), read: a test must begin before midnight of the 14th day following the
conclusion of the previous test (the 30th for blind shears). That midnight is the rig's is common practice.
"""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from calcs.recurrence import Deadline, Interval, deadline_after

ZONES = ["America/Chicago", "Europe/Oslo", "Australia/Sydney", "America/Sao_Paulo", "Asia/Singapore", "Africa/Cairo"]
MOMENTS = st.integers(0, 25 * 365 * 24 * 60).map(
    lambda minutes: dt.datetime(2003, 1, 1, tzinfo=dt.UTC) + dt.timedelta(minutes=minutes)
)


@pytest.mark.parametrize(
    ("zone", "concluded", "days", "deadline_utc"),
    [
        # Clocks forward on 8 March 2026: 1 + 14 = 15 March, its end at 00:00 CDT (UTC−5) of the 16th.
        ("America/Chicago", "2026-03-01T02:10-06:00", 14, "2026-03-16T05:00"),
        # Blind shears: 1 March + 30 = 31 March, its end at 00:00 CDT of 1 April.
        ("America/Chicago", "2026-03-01T02:10-06:00", 30, "2026-04-01T05:00"),
        # Clocks back on 1 November 2026: 25 October + 14 = 8 November, its end at 00:00 CST (UTC−6).
        ("America/Chicago", "2026-10-25T10:00-05:00", 14, "2026-11-09T06:00"),
        # Concluded in the repeated hour of 1 November: still 1 November, so the end of the 15th.
        ("America/Chicago", "2026-11-01T01:30-06:00", 14, "2026-11-16T06:00"),
        # Clocks forward on 29 March 2026: 20 March + 14 = 3 April, its end at 00:00 CEST (UTC+2).
        ("Europe/Oslo", "2026-03-20T14:00+01:00", 14, "2026-04-03T22:00"),
        # Clocks back on 25 October 2026: 20 October + 14 = 3 November, its end at 00:00 CET (UTC+1).
        ("Europe/Oslo", "2026-10-20T23:30+02:00", 14, "2026-11-03T23:00"),
        # The day is the rig's: 21:30 UTC of 20 October is 00:30 of the 21st; + 14 = 4 November, its end at UTC+2.
        ("Europe/Helsinki", "2026-10-20T21:30+00:00", 14, "2026-11-04T22:00"),
        # Southern clocks back on 5 April 2026: 30 March + 14 = 13 April, its end at 00:00 AEST (UTC+10).
        ("Australia/Sydney", "2026-03-30T06:00+11:00", 14, "2026-04-13T14:00"),
        # Southern clocks forward on 4 October 2026: 1 October + 14 = 15 October, its end AEDT (UTC+11).
        ("Australia/Sydney", "2026-10-01T18:00+10:00", 14, "2026-10-15T13:00"),
    ],
)
def test_day_counts_worked_by_hand_across_daylight_saving(zone: str, concluded: str, days: int, deadline_utc: str):
    interval = Interval.parse(f"{days} d")
    found = deadline_after(dt.datetime.fromisoformat(concluded), interval, Deadline.MIDNIGHT, ZoneInfo(zone))
    assert found.astimezone(dt.UTC) == dt.datetime.fromisoformat(deadline_utc).replace(tzinfo=dt.UTC)


def test_fourteen_days_are_not_336_hours():
    concluded = dt.datetime.fromisoformat("2026-03-01T02:10-06:00")
    found = deadline_after(concluded, Interval.parse("14 d"), Deadline.MIDNIGHT, ZoneInfo("America/Chicago"))
    assert found - concluded == dt.timedelta(days=14, hours=20, minutes=50)


@given(MOMENTS, st.integers(1, 800), st.sampled_from(ZONES))
def test_midnights_agree_with_dateutil(concluded: dt.datetime, days: int, zone: str):
    theirs = tz.gettz(zone)
    day = concluded.astimezone(theirs).date() + relativedelta(days=days + 1)
    expected = tz.resolve_imaginary(dt.datetime.combine(day, dt.time(), tzinfo=theirs))
    found = deadline_after(concluded, Interval.parse(f"{days} d"), Deadline.MIDNIGHT, ZoneInfo(zone))
    assert found.astimezone(dt.UTC) == expected.astimezone(dt.UTC)


@given(MOMENTS, st.integers(1, 60), st.sampled_from(["months", "years"]), st.sampled_from(ZONES))
def test_months_and_years_agree_with_dateutil(concluded: dt.datetime, count: int, unit: str, zone: str):
    count = count if unit == "months" else count % 5 + 1
    theirs = tz.gettz(zone)
    local = concluded.astimezone(theirs).replace(tzinfo=None) + relativedelta(**{unit: count})
    expected = tz.resolve_imaginary(local.replace(tzinfo=theirs))
    found = deadline_after(concluded, Interval.parse(f"{count} {unit}"), Deadline.EXACT, ZoneInfo(zone))
    assert found.astimezone(dt.UTC) == expected.astimezone(dt.UTC)


@given(MOMENTS, st.integers(1, 2000), st.sampled_from(ZONES))
def test_exact_days_are_24_hours_whatever_the_clocks_do(concluded: dt.datetime, days: int, zone: str):
    found = deadline_after(concluded, Interval.parse(f"{days} d"), Deadline.EXACT, ZoneInfo(zone))
    assert found.astimezone(dt.UTC) == concluded + dt.timedelta(hours=24 * days)
