"""Holds judged from two readings each."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.holds import HoldRule, judge
from calcs.readings import Reading, faults_of_high, faults_of_low
from calcs.recordings import Recording
from calcs.verdicts import Wording
from tests.recordings_made import psi, rule

START = datetime(2026, 3, 2, 12, tzinfo=UTC)
CHICAGO = ZoneInfo("America/Chicago")
PSI = Wording("psi")


def low(start: float = 300, end: float = 298, *, minutes: float = 5, before: float | None = 310) -> Reading:
    return Reading(
        START, START + timedelta(minutes=minutes), psi(start), psi(end), None if before is None else psi(before)
    )


def high(start: float = 5_050, end: float = 5_020, *, minutes: float = 5, after: float = 6) -> Reading:
    begun = START + timedelta(minutes=after)
    return Reading(begun, begun + timedelta(minutes=minutes), psi(start), psi(end))


def test_a_good_pair_of_holds_has_no_fault():
    assert faults_of_low(low(), rule(), PSI) == ()
    assert faults_of_high(high(), low(), rule(), PSI) == ()


@pytest.mark.parametrize(
    ("reading", "fault"),
    [
        (low(360, 340), "the start reading, 360 psi, lies outside 250 psi to 350 psi"),
        (low(300, 249.96), "the end reading, 249.96 psi, lies outside 250 psi to 350 psi"),
        (low(minutes=4.99), "it was held for 4 min 59.4 s of the 5 min needed"),
        (
            low(before=501),
            "501 psi was seen before the low hold: over 500 psi the pressure must be bled to zero and the low hold "
            "begun again",
        ),
    ],
)
def test_a_low_hold_says_what_it_lacks(reading: Reading, fault: str):
    assert faults_of_low(reading, rule(), PSI) == (fault,)


@pytest.mark.parametrize(
    "begun",
    [
        datetime(2026, 3, 8, 1, 58, tzinfo=CHICAGO),  # the clock then shows 03:03
        datetime(2026, 11, 1, 1, 58, tzinfo=CHICAGO),  # and here 01:03
    ],
)
def test_a_hold_lasts_as_long_as_it_lasts_though_the_clocks_change_within_it(begun: datetime):
    over = (begun.astimezone(UTC) + timedelta(minutes=5)).astimezone(CHICAGO)
    reading = Reading(begun, over, psi(300), psi(298), psi(310))
    assert reading.duration == 300
    assert faults_of_low(reading, rule(), PSI) == ()
    later = (begun.astimezone(UTC) + timedelta(minutes=12)).astimezone(CHICAGO)
    assert faults_of_high(Reading(over, later, psi(5_050), psi(5_020)), reading, rule(), PSI) == ()


def test_exactly_the_restart_limit_is_not_over_it():
    assert faults_of_low(low(before=500), rule(), PSI) == ()


@pytest.mark.parametrize(
    ("reading", "fault"),
    [
        (high(5_050, 4_999.9), "the end reading, 4,999.9 psi, is under the 5,000 psi required"),
        (high(5_590, 5_495), "the start reading, 5,590 psi, is over the 5,500 psi allowed"),
        (high(5_400, 5_100), "it fell 300 psi, more than the 100 psi allowed"),
        (high(minutes=3), "it was held for 3 min of the 5 min needed"),
        (high(after=4), "it began before the low hold was over: the low hold comes first"),
    ],
)
def test_a_high_hold_says_what_it_lacks(reading: Reading, fault: str):
    assert faults_of_high(reading, low(), rule(most=5_500, max_decay=100), PSI) == (fault,)


def test_a_hold_ends_after_it_began():
    with pytest.raises(InputError, match="ends before it began"):
        low(minutes=0)


@pytest.mark.parametrize("before", [-1.0])
def test_a_pressure_is_not_under_zero(before: float):
    with pytest.raises(InputError, match="under zero"):
        low(before=before)


pressures = st.floats(200, 400).map(lambda value: round(value, 1))
highs = st.floats(4_900, 5_100).map(lambda value: round(value, 1))


@given(pressures, pressures, highs, highs)
def test_readings_pass_just_where_the_same_samples_pass(a: float, b: float, c: float, d: float):
    """Two straight holds, once as two samples each and once as readings of the same."""
    the_rule = rule()
    readings_pass = not faults_of_low(low(a, b), the_rule, PSI) and not faults_of_high(high(c, d), low(), the_rule, PSI)
    assert readings_pass == _sampled(a, b, c, d, the_rule)


def _sampled(a: float, b: float, c: float, d: float, the_rule: HoldRule) -> bool:
    times = [0.0, 300.0, 360.0, 660.0]
    recording = Recording.from_samples(times, [a, b, c, d], "psi")
    return judge(recording, replace(the_rule, max_gap_s=400)).passes
