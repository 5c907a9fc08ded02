"""Cutting the recording of a whole test into attempts and proposing their steps."""

from functools import reduce

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.hold_matching import FoundHolds, find_holds
from calcs.holds import HoldRule, judge
from tests.recordings_made import MINUTE, Curve, rule, step


def joined(*curves: Curve) -> Curve:
    return reduce(lambda whole, part: whole.then(part), curves)


def found(curve: Curve, *rules: HoldRule) -> FoundHolds:
    return find_holds(curve.recording(), rules)


def steps(result: FoundHolds) -> list[int | None]:
    return [hold.step for hold in result.holds]


ANNULAR, RAM, SHEAR = rule(target=3_500), rule(target=5_000), rule(target=10_000)


def test_each_step_gets_its_pair_in_order() -> None:
    whole = joined(step(high=3_560), step(high=5_050), step(high=10_100))
    result = found(whole, ANNULAR, RAM, SHEAR)
    assert steps(result) == [0, 1, 2]
    assert all(hold.passes for hold in result.holds)
    assert result.unmatched == result.not_passing == ()


def test_every_proposal_is_judged_alike_from_its_marks() -> None:
    recording = joined(step(high=3_560), step(high=4_900), step(high=5_050)).recording()
    for hold in find_holds(recording, [ANNULAR, RAM]).holds:
        again = judge(recording, [ANNULAR, RAM][hold.judged_by], start=hold.start, end=hold.end)
        assert (again.low, again.high) == (hold.low, hold.high)


def test_a_failed_attempt_and_its_retest_leave_the_failure_in_the_list_without_step() -> None:
    leaking = Curve.through([(0, 0), (0.5, 300), (6.5, 300), (7.5, 5_060), (10, 4_500), (11, 0), (12, 0)])
    result = found(joined(leaking, step()), RAM)
    assert steps(result) == [None, 0]
    assert not result.holds[0].verdict.passes
    assert not result.holds[0].passes
    assert "fails step 1" in result.holds[0].why


def test_the_nearest_over_the_target_is_proposed_where_several_would_pass() -> None:
    whole = joined(step(high=10_100), step(high=5_050))
    assert steps(found(whole, RAM)) == [None, 0]


def test_as_many_steps_as_possible_pass_even_at_the_cost_of_overshoot() -> None:
    whole = joined(step(high=10_100), step(high=5_050))
    assert steps(found(whole, RAM, RAM)) == [0, 1]


def test_equal_attempts_go_to_the_earliest() -> None:
    assert steps(found(joined(step(), step(), step()), RAM, RAM)) == [0, 1, None]


def test_a_step_with_no_passing_attempt_is_proposed_its_best_failing_one() -> None:
    whole = joined(step(high=3_560), step(high=4_900), step(high=10_100))
    result = found(whole, ANNULAR, RAM, SHEAR)
    assert steps(result) == [0, 1, 2]
    assert result.not_passing == (1,)
    assert not result.holds[1].passes
    assert "does not pass" in result.holds[1].why


def test_a_step_never_attempted_is_left_unmatched() -> None:
    result = found(joined(step(high=3_560), step(high=10_100)), ANNULAR, RAM, SHEAR)
    assert steps(result) == [0, 2]
    assert result.unmatched == (1,)


def test_a_low_hold_bled_off_joins_the_high_hold_that_follows() -> None:
    low_alone = Curve.through([(0, 0), (0.5, 300), (6.5, 300), (7, 0), (9, 0)])
    high_alone = Curve.through([(0, 0), (0.2, 5_060), (6.5, 5_060), (7, 0), (9, 0)])
    result = found(joined(low_alone, high_alone), RAM)
    assert steps(result) == [0]
    assert result.holds[0].passes


def test_two_low_dwells_are_two_attempts() -> None:
    failed_low = Curve.through([(0, 0), (0.5, 300), (2, 230), (2.5, 0), (3, 0)])
    result = found(joined(failed_low, step()), RAM)
    assert steps(result) == [None, 0]
    assert result.holds[0].high.start is None


def test_a_pressure_over_the_restart_limit_before_the_low_stays_in_sight() -> None:
    kept_up = Curve.through(
        [(0, 0), (0.5, 300), (6.5, 300), (7, 5_060), (13, 5_060), (14, 300), (20, 300), (21, 5_060)]
    )
    whole = kept_up.then(Curve.through([(0, 5_060), (6, 5_060), (7, 0)]))
    result = found(whole, RAM, RAM)
    assert result.holds[0].passes
    assert not result.holds[1].verdict.low.passes


def test_an_overshoot_spike_is_no_attempt_of_its_own() -> None:
    spike = Curve.through([(0, 0), (0.3, 520), (0.6, 0), (1, 0)])
    result = found(joined(spike, step()), RAM)
    assert steps(result) == [0]


def test_noise_does_not_multiply_the_attempts() -> None:
    whole = joined(step(high=3_560, interval=0.5), step(high=5_060, interval=0.5)).with_noise(5)
    assert steps(found(whole, ANNULAR, RAM)) == [0, 1]


def test_a_gap_in_a_hold_is_left_to_the_verdict() -> None:
    result = found(step().without(9.5, 10.5), RAM)
    assert steps(result) == [0]
    assert not result.holds[0].passes


def test_a_flat_recording_holds_no_attempt() -> None:
    result = found(Curve.through([(0, 0), (10, 0)]), RAM)
    assert result.holds == ()
    assert result.unmatched == (0,)


def test_no_rules_and_too_many_rules_are_refused() -> None:
    for rules in ([], [RAM] * 201):
        with pytest.raises(InputError) as refused:
            find_holds(step().recording(), rules)
        assert refused.value.field == "rules"


def test_a_pressure_that_swings_all_the_time_is_refused() -> None:
    swing = Curve.through([(minute / 10, 10_000 * (minute % 2)) for minute in range(3_000)])
    with pytest.raises(InputError) as refused:
        find_holds(swing.recording(), [RAM])
    assert refused.value.field == "recording"


@settings(max_examples=25, deadline=None)
@given(
    highs=st.lists(st.sampled_from([3_560, 4_800, 5_060, 10_100]), min_size=1, max_size=5),
    targets=st.lists(st.sampled_from([3_500, 5_000, 10_000]), min_size=1, max_size=4),
)
def test_proposals_keep_the_order_and_pass_as_many_steps_as_any_could(highs: list[int], targets: list[int]) -> None:
    whole = joined(*(step(high=high, interval=5) for high in highs))
    result = found(whole, *(rule(target=target) for target in targets))
    assert len(result.holds) == len(highs)
    order = [number for number in steps(result) if number is not None]
    assert order == sorted(set(order))
    assert sum(hold.passes for hold in result.holds) == most_passing(highs, targets)
    assert all(hold.end - hold.start > 10 * MINUTE for hold in result.holds)


def most_passing(highs: list[int], targets: list[int]) -> int:
    """Length of the longest matching that keeps the order, by the plain recurrence."""
    if not highs or not targets:
        return 0
    best = max(most_passing(highs[1:], targets), most_passing(highs, targets[1:]))
    return max(best, 1 + most_passing(highs[1:], targets[1:])) if highs[0] >= targets[0] else best
