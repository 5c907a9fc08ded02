"""Tests of which no low test is asked, and low holds of a time of their own."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.hold_matching import find_holds
from calcs.holds import HoldRule, judge
from calcs.recordings import Recording
from calcs.surface import calculate
from tests.recordings_made import MINUTE, Curve, psi, rule, step


def high_alone(target: float = 5_000, **facts: float) -> HoldRule:
    return replace(rule(target=target, **facts), low_min=None, low_max=None, restart_above=None)


def pumped(high: float, minutes: float = 6) -> Curve:
    """Pumped up from zero without a low hold, held, and bled off."""
    return Curve.through([(0, 0), (1, high), (1 + minutes, high), (2 + minutes, 0), (3 + minutes, 0)])


def test_a_high_hold_alone_passes_where_no_low_test_is_asked():
    recording = pumped(5_060).recording()
    assert judge(recording, rule()).passes is False
    verdict = judge(recording, high_alone())
    assert verdict.passes
    assert verdict.low is None


def test_a_high_hold_alone_still_has_to_last_and_to_reach():
    assert not judge(pumped(5_060, minutes=4).recording(), high_alone()).passes
    assert not judge(pumped(4_990).recording(), high_alone()).passes


def test_an_over_pressure_is_seen_where_no_low_test_is_asked():
    curve = Curve.through([(0, 0), (1, 6_000), (2, 5_060), (8, 5_060), (9, 0)])
    assert not judge(curve.recording(), replace(high_alone(), rating=psi(5_000))).passes


@settings(max_examples=60)
@given(st.lists(st.integers(0, 6_000), min_size=20, max_size=80), st.integers(1, 6))
def test_against_a_plain_search_for_any_run_long_enough(pressures: list[int], samples: int):
    """A second, plain implementation: some run of samples at the target lasts the hold."""
    recording = Recording.from_samples(list(range(0, 10 * len(pressures), 10)), pressures, "psi")
    longest = run = 0
    for pressure in pressures:
        run = run + 1 if pressure >= 3_000 else 0
        longest = max(longest, run)
    asked = high_alone(target=3_000, hold=10.0 * samples)
    assert judge(recording, asked).passes == (longest > samples)


def test_a_low_hold_has_its_own_time():
    short_low = Curve.through([(0, 0), (0.5, 300), (5.6, 300), (6.5, 5_060), (17, 5_060), (18, 0)])
    asked = rule(hold=10 * MINUTE)
    assert not judge(short_low.recording(), asked).passes
    verdict = judge(short_low.recording(), replace(asked, low_hold_s=5 * MINUTE))
    assert verdict.passes
    assert verdict.low is not None
    assert verdict.low.duration == pytest.approx(5 * MINUTE)
    assert verdict.high.duration == pytest.approx(10 * MINUTE)
    assert not judge(short_low.recording(), replace(asked, low_hold_s=6 * MINUTE)).passes


def test_a_whole_file_of_high_holds_only_is_cut_where_it_was_bled_off():
    whole = pumped(3_560).then(pumped(4_900)).then(pumped(5_050))
    found = find_holds(whole.recording(), [high_alone(target=3_500), high_alone()])
    assert [hold.step for hold in found.holds] == [0, None, 1]
    assert all(hold.passes for hold in found.holds if hold.step is not None)


def test_a_file_may_hold_steps_with_and_without_a_low_test():
    whole = step(high=5_050).then(pumped(3_560))
    found = find_holds(whole.recording(), [rule(), high_alone(target=3_500)])
    assert [hold.step for hold in found.holds] == [0, 1]
    assert all(hold.passes for hold in found.holds)


def test_half_a_low_test_is_refused():
    with pytest.raises(InputError) as refused:
        replace(rule(), low_max=None)
    assert refused.value.field == "low"


def document(**rule_given: object) -> dict[str, object]:
    curve = pumped(5_060)
    samples = {"t": np.round(curve.t, 3).tolist(), "p": np.round(curve.p, 3).tolist(), "pressure_unit": "psi"}
    return {"samples": samples, "rule": {"high": {"target": "5000 psi"}, "hold": "5 min", **rule_given}}


def test_the_surface_takes_no_low_test_only_where_that_is_said_outright():
    with pytest.raises(InputError) as refused:
        calculate("hold-check", document())
    assert refused.value.field == "rule.low"
    answer = calculate("hold-check", document(low=None))
    assert (answer["passes"], answer["low"]) == (True, None)
