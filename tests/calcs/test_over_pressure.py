"""A hold over the lowest rating exposed is over-pressure, whatever else it shows."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.holds import judge
from calcs.verdicts import OverPressured, Wording, in_words
from tests.recordings_made import Curve, psi, rule, step

ANNULAR = replace(rule(target=3_500, most=5_250), rating=psi(5_000))


def test_an_annular_rated_5000_psi_held_at_10105_psi_fails_in_words():
    verdict = judge(step(low=300, high=10_105).recording(), ANNULAR)
    assert not verdict.passes
    assert in_words(verdict.high.reasons[0], Wording()).startswith("10,105 psi was seen")
    assert "the lowest rating exposed is 5,000 psi: over-pressured, inspect before it is relied on" in in_words(
        verdict.high.reasons[0], Wording()
    )


def test_one_peak_between_good_holds_fails_the_step():
    corners = [(0, 0), (0.5, 300), (6.5, 300), (7, 5_400), (7.2, 3_600), (13, 3_590), (14, 0)]
    verdict = judge(Curve.through(corners).recording(), ANNULAR)
    assert verdict.low.passes
    assert not verdict.high.passes
    assert isinstance(verdict.high.reasons[0], OverPressured)
    assert verdict.high.min_pressure is not None


@given(st.floats(min_value=3_550, max_value=5_240))
def test_up_to_five_percent_over_the_rating_holds(pressure: float):
    assert judge(step(low=300, high=pressure).recording(), ANNULAR).passes


@given(st.floats(min_value=5_260, max_value=20_000))
def test_more_than_five_percent_over_the_rating_never_holds(pressure: float):
    assert not judge(step(low=300, high=pressure).recording(), ANNULAR).passes


def test_without_a_rating_the_rule_judges_as_before():
    assert judge(step(low=300, high=10_105).recording(), rule(target=3_500)).passes


def test_a_rating_of_zero_is_refused():
    with pytest.raises(InputError) as refusal:
        replace(rule(), rating=0.0)
    assert refusal.value.field == "high.rating"
