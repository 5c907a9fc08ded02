"""Pressures held on casing and diverters, against what their rules ask."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.held import Hold, required_gauge, shortfalls
from calcs.rules import Approved, Confidence, Fixed, Fraction, High, Occasion, Rating, Source
from calcs.rules import Hold as HoldAsked
from calcs.schedule_rules import Decline, ScheduledRule, Task, TimedTrigger
from calcs.units import GaugePressure

PSI = 6_894.757293168
SOURCE = Source("30 CFR 250.721(a), (f)", Confidence.READ)
CASING = ScheduledRule(
    id="casing",
    clause="30 CFR 250.721(a), (f)",
    title="Casing tested after cementing",
    confidence=Confidence.READ,
    task=Task.CASING,
    things=("casing",),
    high=High(Fraction(0.7, Rating.CASING_BURST), SOURCE),
    hold=HoldAsked(30 * 60, SOURCE),
    decline=Decline(0.10, 30 * 60),
    events=(TimedTrigger(Occasion.CEMENTED, SOURCE),),
)
BURST = {Rating.CASING_BURST: 8_000 * PSI}


def held(reached: float, left: float, minutes: float) -> Hold:
    return Hold(reached * PSI, left * PSI, minutes * 60)


def fields(hold: Hold, ratings=BURST) -> list[str]:
    return [one.field for one in shortfalls(CASING, hold, ratings)]


def test_casing_is_held_at_seven_tenths_of_its_burst_rating_for_thirty_minutes_and_falls_by_a_tenth_at_most():
    """30 CFR 250.721(a) and (f): 70 % of 8,000 psi is 5,600 psi; a tenth of it 560 psi."""
    assert fields(held(5_600, 5_040, 30)) == []
    assert fields(held(5_599, 5_599, 30)) == ["pressure_reached"]
    assert fields(held(5_600, 5_600, 29.9)) == ["held_minutes"]
    assert fields(held(5_600, 5_039, 30)) == ["pressure_left"]
    assert fields(held(5_000, 4_000, 10)) == ["pressure_reached", "held_minutes", "pressure_left"]


def test_a_longer_hold_that_falls_no_more_shows_it_too():
    assert fields(held(5_600, 5_040, 45)) == []


def test_what_hangs_on_a_rating_not_given_is_not_judged():
    assert required_gauge(CASING.high.formula, {}) is None
    assert required_gauge(Approved(), BURST) is None
    assert fields(held(100, 100, 30), {}) == []
    assert required_gauge(Fixed(GaugePressure(250 * PSI)), {}) == pytest.approx(250 * PSI)


@pytest.mark.parametrize(("reached", "left", "minutes"), [(0, 0, 30), (100, -1, 30), (100, 100, 0)])
def test_figures_no_gauge_shows_are_refused(reached, left, minutes):
    with pytest.raises(InputError):
        held(reached, left, minutes)


@given(st.floats(1, 20_000), st.floats(0, 1), st.floats(1, 600))
def test_a_higher_pressure_a_longer_hold_and_a_smaller_fall_never_fall_shorter(reached, kept, minutes):
    short = set(fields(held(reached, reached * kept, minutes)))
    assert set(fields(held(reached + 1, (reached + 1) * kept, minutes))) <= short
    assert set(fields(held(reached, reached * kept, minutes + 1))) <= short
    assert set(fields(held(reached, reached, minutes))) <= short
