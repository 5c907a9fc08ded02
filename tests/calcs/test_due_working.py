"""The working of a due date: what it counts on, what it leaves out, and the sum a reader can follow by hand."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.due_working import clock_changes, length_words, sum_of, weighed
from calcs.recurrence import Deadline, Deferred, Event, EventKind, Happened, Interval, Section, Tested, deadline_after

CHICAGO = ZoneInfo("America/Chicago")
FORTNIGHT = Interval.parse("14 d")


def on(day: int, hour: int = 0, month: int = 3) -> dt.datetime:
    return dt.datetime(2026, month, day, hour, tzinfo=CHICAGO)


def done(day: int, *, passed: bool = True, pressure: float | None = None, short: str = "") -> Tested:
    return Tested(on(day, 8), on(day, 10), passed, pressure, short)


def parts(*history: Event, at: dt.datetime) -> list[tuple[str, str]]:
    return [(one.part.value, one.why) for one in weighed(history, at=at, zone=CHICAGO)]


def lines(
    *history: Event,
    at: dt.datetime,
    interval: Interval | None = FORTNIGHT,
    deadline: Deadline | None = Deadline.MIDNIGHT,
) -> dict[str, str]:
    return {line.label: line.value for line in sum_of(interval, deadline, history, at=at, zone=CHICAGO)}


def test_only_the_last_passing_test_counts_and_the_rest_say_why_they_do_not():
    history = [Happened(EventKind.INSTALLED, on(1)), done(2), done(5), done(9, passed=False)]
    assert parts(*history, at=on(10)) == [
        ("left-out", "Answered by the test of 5 Mar 2026, 10:00 UTC−6."),
        ("left-out", "Passed; superseded by the one of 5 Mar 2026, 10:00 UTC−6."),
        ("counts", "Passed: the clock counts from its conclusion."),
        ("left-out", "Failed: it renews nothing."),
    ]


def test_a_repair_after_the_last_test_counts_and_the_test_no_longer_does():
    assert parts(done(2), Happened(EventKind.REPAIRED, on(5)), at=on(6)) == [
        ("left-out", "Passed, before what calls for another on 5 Mar 2026, 00:00 UTC−6."),
        ("counts", "Repaired: calls for a test at once."),
    ]


def test_a_test_too_low_for_the_section_is_left_out_and_the_section_counts():
    assert parts(done(2, pressure=35e6), Section(on(4)), Section(on(5), 48e6), at=on(6)) == [
        ("left-out", "Passed, but at a pressure too low for the section being drilled."),
        ("left-out", "A later section is being drilled."),
        ("counts", "Section begun: no test under its pressure counts."),
    ]


def test_a_test_that_falls_short_today_says_of_what():
    [(part, why)] = parts(done(2, short="held at 3,000 psi, 5,000 psi is needed now"), at=on(6))
    assert (part, why) == ("left-out", "Passed, but counts no more: held at 3,000 psi, 5,000 psi is needed now.")


def test_a_deferral_counts_until_something_after_it_ends_it():
    assert parts(done(2), Deferred(on(3), on(20)), at=on(4))[1] == (
        "counts",
        "Deferred until midnight at the end of 19 Mar 2026, UTC−5.",
    )
    assert parts(done(2), Deferred(on(3), on(20)), done(5), at=on(6))[1][0] == "left-out"


def test_out_of_service_counts_alone():
    found = parts(done(2), Happened(EventKind.OUT_OF_SERVICE, on(3)), at=on(4))
    assert found[1] == ("counts", "Out of service: nothing is asked until it is back.")


def test_a_test_that_runs_counts_and_one_broken_off_does_not():
    assert parts(Tested(on(2)), Tested(on(3), None, False), at=on(4)) == [
        ("counts", "Running: begun and not concluded."),
        ("left-out", "Broken off without a result."),
    ]


def test_what_was_not_known_yet_is_not_told():
    assert parts(done(2), done(5), at=on(3)) == [("counts", "Passed: the clock counts from its conclusion.")]


def test_a_sum_of_months_names_the_day_and_the_clock_time():
    concluded = dt.datetime(2026, 1, 31, 9, 30, tzinfo=CHICAGO)
    history = [Tested(concluded, concluded, True)]
    found = lines(*history, at=on(1), interval=Interval.parse("1 month"), deadline=Deadline.EXACT)
    assert found["Plus 1 month on the calendar"] == "28 Feb 2026"
    assert found["To the same clock time"] == "28 Feb 2026, 09:30 UTC−6, exclusive"


def test_a_sum_of_hours_is_hours_whatever_the_clocks_do():
    found = lines(done(1), at=on(2), interval=Interval.parse("336 h"), deadline=Deadline.EXACT)
    assert found["Plus 336 hours"] == "336 hours that pass, whatever the clocks do"
    assert found["Due"] == "15 Mar 2026, 11:00 UTC−5, exclusive"
    assert found["Time that passes"] == "14 d"


def test_what_is_due_at_once_or_never_tested_says_so():
    assert lines(Happened(EventKind.INSTALLED, on(3)), at=on(4)) == {
        "Counts from": "3 Mar 2026, 00:00 UTC−6 (installed)",
        "Due": "at once, from that moment",
    }
    assert lines(at=on(4)) == {"Counts from": "nothing: never tested, so it is due at once"}


def test_a_deferral_is_the_last_line():
    assert list(lines(done(2), Deferred(on(3), on(20)), at=on(4)).items())[-1] == (
        "Moved by a deferral to",
        "midnight at the end of 19 Mar 2026, UTC−5",
    )


def test_without_an_interval_the_sum_says_that_only_events_call():
    assert lines(done(2), at=on(4), interval=None, deadline=None)["Interval"] == "none: only events call for it again"


@pytest.mark.parametrize(
    ("zone", "expected"),
    [
        ("Asia/Singapore", []),
        ("Australia/Sydney", ["2026-04-05T02:00:00+10:00", "2026-10-04T03:00:00+11:00"]),
        ("Australia/Lord_Howe", ["2026-04-05T01:30:00+10:30", "2026-10-04T02:30:00+11:00"]),
    ],
)
def test_changes_of_the_clocks_are_found_to_the_second(zone: str, expected: list[str]):
    begin, end = (dt.datetime(year, 1, 1, 0, 0, 7, 123, tzinfo=dt.UTC) for year in (2026, 2027))
    assert [one.isoformat() for one in clock_changes(begin, end, ZoneInfo(zone))] == expected


@given(
    st.integers(0, 25 * 365 * 24 * 3600),
    st.sampled_from(["14 d", "30 d", "6 months", "1 years"]),
    st.sampled_from(["America/Chicago", "Europe/Oslo", "Australia/Sydney"]),
)
def test_the_sum_ends_at_the_date_that_counts(seconds: int, words: str, name: str):
    zone, interval = ZoneInfo(name), Interval.parse(words)
    concluded = dt.datetime(2005, 1, 1, tzinfo=dt.UTC) + dt.timedelta(seconds=seconds)
    history = [Tested(concluded, concluded, True)]
    found = sum_of(interval, Deadline.MIDNIGHT, history, at=concluded, zone=zone)
    limit = deadline_after(concluded, interval, Deadline.MIDNIGHT, zone)
    written = {line.label: line.value for line in found}
    assert written["End of that day"].startswith(f"{limit.day} {limit:%b} {limit.year}, {limit:%H:%M}")
    changed = limit.utcoffset() != concluded.astimezone(zone).utcoffset()
    told = [line for line in found if line.label == "Clocks change between"]
    assert len(told) % 2 == int(changed)


def test_lengths_are_told_in_days_hours_and_minutes():
    lengths = [dt.timedelta(days=2, minutes=5), dt.timedelta(hours=25), dt.timedelta()]
    assert [length_words(one) for one in lengths] == ["2 d 5 min", "1 d 1 h", "under 1 min"]
