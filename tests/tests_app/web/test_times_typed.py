"""Times as people type them on a rig."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from tests_app.web.due_words import deadline_text, distance_text
from tests_app.web.times import RigTimeField, SpanField, after, lasts, span_text

CHICAGO = ZoneInfo("America/Chicago")


def test_a_time_is_read_on_the_rigs_clock():
    moment = RigTimeField(CHICAGO).clean("2026-03-31T14:00")
    assert moment.astimezone(UTC) == datetime(2026, 3, 31, 19, tzinfo=UTC)


def test_a_time_with_its_offset_is_taken_at_its_word():
    assert RigTimeField(CHICAGO).clean("2026-03-31T14:00+00:00").astimezone(UTC).hour == 14


def test_a_clock_time_that_never_came_is_refused():
    with pytest.raises(ValidationError, match="never came"):
        RigTimeField(CHICAGO).clean("2026-03-08T02:30")


def test_a_clock_time_that_came_twice_is_the_earlier_one():
    assert RigTimeField(CHICAGO).clean("2026-11-01T01:30").utcoffset().total_seconds() == -5 * 3600


def test_a_conclusion_in_the_hour_that_came_twice_lies_after_its_start():
    field = RigTimeField(CHICAGO)
    began, concluded = field.clean("2026-11-01T01:40"), field.clean("2026-11-01T01:20")
    assert after(concluded, began).astimezone(UTC) == datetime(2026, 11, 1, 7, 20, tzinfo=UTC)


def test_seconds_are_shown_where_holds_are_timed():
    moment = datetime(2026, 3, 2, 12, 0, 30, tzinfo=UTC)
    assert RigTimeField(CHICAGO, seconds=True).prepare_value(moment) == "2026-03-02T06:00:30"
    assert RigTimeField(CHICAGO).prepare_value(moment) == "2026-03-02T06:00"


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [("0:12:30", 750), ("12:30", 750), ("750", 750), ("1:02:05,5", 3725.5), ("90:00", 5400), (" 7 ", 7)],
)
def test_a_time_into_a_recording_is_read(typed: str, seconds: float):
    assert SpanField().clean(typed) == seconds


@pytest.mark.parametrize("typed", ["-5", "1:2:3:4", "soon", "1e5", "١", "12:", "∞", "9" * 30])
def test_what_is_no_time_into_a_recording_is_refused(typed: str):
    with pytest.raises(ValidationError, match="not a time into the recording"):
        SpanField().clean(typed)


@given(st.integers(min_value=0, max_value=3_599_999))
def test_a_time_written_is_read_as_the_same(tenths: int):
    assert SpanField().clean(span_text(tenths / 10)) == pytest.approx(tenths / 10)


@pytest.mark.parametrize(
    ("seconds", "words"), [(300, "5 min"), (192, "3 min 12 s"), (12_360, "3 h 26 min"), (0, "0 s")]
)
def test_how_long_it_lasts_is_said_in_words(seconds: float, words: str):
    assert lasts(seconds) == words


def test_a_midnight_deadline_is_the_end_of_the_last_day():
    assert deadline_text(datetime(2026, 3, 16, tzinfo=CHICAGO), CHICAGO) == "midnight at the end of 15 Mar 2026, UTC−5"
    assert deadline_text(datetime(2026, 3, 15, 2, 10, tzinfo=CHICAGO), CHICAGO) == "15 Mar 2026, 02:10 UTC−5"


@pytest.mark.parametrize(
    ("hours", "words"),
    [(1, "in 1 hour"), (47, "in 47 hours"), (50, "in 2 days"), (-1, "1 hour ago"), (-240, "10 days ago")],
)
def test_how_far_away_a_deadline_is(hours: int, words: str):
    at = datetime(2026, 3, 2, tzinfo=UTC)
    assert distance_text(datetime.fromtimestamp(at.timestamp() + hours * 3600, UTC), at) == words
