"""What a low and a high hold must show to pass, and what is said when they don't."""

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.hold_windows import TIME_TOLERANCE_S, runs_where, windows_in
from calcs.holds import HoldRule, judge
from calcs.recordings import Recording
from calcs.verdicts import (
    Ended,
    FellTooMuch,
    HighBeforeLow,
    HoldResult,
    NeverWithin,
    NotBledOff,
    NothingAfterLow,
    TooShort,
    Wording,
    in_words,
)
from tests.recordings_made import MINUTE, PSI, Curve, psi, rule, step


def words(result: HoldResult, started_at: datetime | None = None) -> str:
    return "; ".join(in_words(reason, Wording("psi", started_at)) for reason in result.reasons)


# --- a good step -------------------------------------------------------------------------------------------


def test_a_low_hold_then_a_high_hold_pass_with_their_windows_and_figures() -> None:
    verdict = judge(step().recording(), rule())
    assert verdict.passes
    assert verdict.low.duration == pytest.approx(5 * MINUTE)
    assert verdict.low.max_pressure == pytest.approx(psi(300))
    assert verdict.high.min_pressure is not None
    assert verdict.high.min_pressure >= psi(5_000)
    assert verdict.high.decay == pytest.approx(0.0)
    assert verdict.high.samples == 301
    assert verdict.low.end < verdict.high.start  # type: ignore[operator]
    assert verdict.low.reasons == verdict.high.reasons == ()


def test_a_hold_of_just_the_time_needed_passes_and_one_sample_less_fails() -> None:
    flat = [(0, 0), (0.1, 300), (5.1, 300), (5.2, 5_000), (10.2, 5_000), (10.3, 0)]
    assert judge(Curve.through(flat).recording(), rule(low=(299, 301))).passes
    short = judge(Curve.through(flat).recording(), rule(low=(299, 301), hold=5 * MINUTE + 1))
    assert not short.low.passes
    assert not short.high.passes


def test_times_with_rounding_of_the_last_bit_still_make_a_whole_hold() -> None:
    t = np.cumsum(np.full(6_003, 0.1))
    p = np.where(np.arange(6_003) < 3_001, 300.0, 5_000.0)
    assert judge(Recording.from_samples(t, p, "psi"), rule()).passes


def test_a_high_hold_that_begins_in_the_second_the_low_hold_ends_is_found() -> None:
    seconds = np.floor(np.arange(6_002) / 10)
    p = np.where(np.arange(6_002) < 3_001, 300.0, 5_000.0)
    verdict = judge(Recording.from_samples(seconds, p, "psi"), rule())
    assert verdict.passes
    assert verdict.low.end == verdict.high.start == 300


def test_decay_rate_is_the_fall_over_the_time_of_the_window() -> None:
    falling = Curve.through([(0, 300), (5, 300), (5.5, 5_100), (10.5, 5_050)])
    high = judge(falling.recording(), rule()).high
    assert high.decay == pytest.approx(psi(50), rel=1e-6)
    assert high.decay_rate == pytest.approx(psi(10) / MINUTE, rel=1e-6)


# --- trap t-order: low before high -------------------------------------------------------------------------


def test_a_high_hold_before_the_low_is_no_high_hold() -> None:
    reversed_pair = Curve.through(
        [(0, 0), (0.5, 5_060), (6.5, 5_060), (7, 0), (8, 0), (8.5, 300), (14.5, 300), (15, 0)]
    )
    verdict = judge(reversed_pair.recording(), rule())
    assert verdict.low.passes
    assert not verdict.passes
    assert any(isinstance(reason, HighBeforeLow) for reason in verdict.high.reasons)
    assert "the low hold comes first" in words(verdict.high)


def test_a_recording_that_ends_with_the_low_hold_says_so() -> None:
    verdict = judge(Curve.through([(0, 300), (5, 300)]).recording(), rule())
    assert verdict.low.passes
    assert isinstance(verdict.high.reasons[0], NothingAfterLow)


# --- trap t-500: what came before the low hold ---------------------------------------------------------------


def ramp_over(peak: float, *, bled_to: float) -> Curve:
    low = [(0, 0), (0.5, peak), (1, bled_to), (1.5, 300), (7.5, 300), (8.5, 5_060), (14.5, 5_060), (15, 0)]
    return Curve.through(low)


def test_over_500_before_the_low_hold_without_bleeding_to_zero_is_invalid() -> None:
    verdict = judge(ramp_over(520, bled_to=300).recording(), rule())
    assert not verdict.low.passes
    (reason,) = verdict.low.reasons
    assert isinstance(reason, NotBledOff)
    assert reason.peak == pytest.approx(psi(520))
    assert "520 psi was seen" in words(verdict.low)
    assert "bled to zero" in words(verdict.low)
    assert not verdict.passes


def test_over_500_and_bled_to_zero_counts_as_begun_again() -> None:
    assert judge(ramp_over(520, bled_to=0).recording(), rule()).passes


def test_bled_to_60_psi_is_not_bled_to_zero() -> None:
    assert not judge(ramp_over(520, bled_to=60).recording(), rule()).passes


@pytest.mark.parametrize("peak", [360, 450, 500])
def test_between_the_band_and_500_only_bleeding_back_is_needed(peak: float) -> None:
    verdict = judge(ramp_over(peak, bled_to=300).recording(), rule())
    assert verdict.passes
    assert verdict.low.peak_before == pytest.approx(psi(peak))


def test_what_was_over_500_is_not_trimmed_away_by_a_mark_set_after_it() -> None:
    curve = ramp_over(520, bled_to=300)
    verdict = judge(curve.recording(), rule(), start=1 * MINUTE)
    assert not verdict.passes
    assert verdict.low.peak_before == pytest.approx(psi(520))
    assert "bled to zero" in words(verdict.low)


def test_what_was_bled_to_zero_before_the_marks_does_not_count() -> None:
    curve = ramp_over(520, bled_to=0)
    assert judge(curve.recording(), rule(), start=1.2 * MINUTE).passes


def test_a_low_hold_bled_down_from_the_high_is_invalid_even_long_after() -> None:
    curve = Curve.through([(0, 5_060), (1, 5_060), (2, 300), (30, 300), (31, 5_060), (37, 5_060)])
    assert not judge(curve.recording(), rule()).passes


# --- traps t-units and t-band-ed: the band itself ------------------------------------------------------------


def test_350_4_psi_is_out_of_a_band_to_350() -> None:
    verdict = judge(step(low=350.4).recording(), rule())
    assert not verdict.low.passes
    assert "rose to 350.4 psi" in words(verdict.low)


def test_a_reading_just_over_the_limit_is_never_shown_as_the_limit() -> None:
    verdict = judge(Curve.through([(0, 350.02), (6, 350.02)]).recording(), rule())
    assert "350.02 psi" in words(verdict.low)


def test_350_psi_is_in_the_band_whatever_unit_it_was_recorded_in() -> None:
    for unit, per_psi in (("psi", 1.0), ("bar", PSI / 1e5), ("kPa", PSI / 1e3), ("MPa", PSI / 1e6)):
        curve = step(low=350)
        recording = Recording.from_samples(curve.t, curve.p * per_psi, unit)
        assert judge(recording, rule()).passes, unit


def test_the_band_is_that_of_the_rule_not_a_fixed_one() -> None:
    recording = step(low=240).recording()
    assert not judge(recording, rule()).passes
    assert judge(recording, rule(low=(200, 300))).passes


def test_a_band_never_touched_names_the_nearest_reading() -> None:
    verdict = judge(Curve.through([(0, 100), (6, 200)]).recording(), rule())
    assert isinstance(verdict.low.reasons[0], NeverWithin)
    assert "the nearest was 200 psi" in words(verdict.low)
    assert verdict.low.start is None


# --- traps t-sample and gaps: every sample, nothing interpolated -----------------------------------------------


def test_one_sample_below_the_target_ends_the_hold() -> None:
    curve = step(hold=8)
    curve.p[round(13 * MINUTE)] = 4_999.9
    verdict = judge(curve.recording(), rule())
    assert not verdict.high.passes
    (reason,) = verdict.high.reasons
    assert isinstance(reason, TooShort)
    assert reason.held < 5 * MINUTE
    assert "of the 5 min needed" in words(verdict.high)


def test_a_gap_over_30_seconds_breaks_a_hold() -> None:
    curve = step().without(10, 10.7)
    verdict = judge(curve.recording(), rule())
    assert verdict.low.passes
    assert not verdict.high.passes
    (reason,) = verdict.high.reasons
    assert isinstance(reason, TooShort)
    assert reason.after_gap == pytest.approx(44)
    assert "counted anew after 44 s without a sample" in words(verdict.high)


def test_a_gap_that_ends_the_longest_stretch_is_named() -> None:
    verdict = judge(step().without(11, 11.8).recording(), rule())
    (reason,) = verdict.high.reasons
    assert isinstance(reason, TooShort)
    assert reason.ended is Ended.GAP
    assert "50 s without a sample follow" in words(verdict.high)


def test_a_gap_of_30_seconds_does_not_break_a_hold() -> None:
    curve = step().without(10.01, 10.49)
    assert judge(curve.recording(), rule()).passes


def test_a_slow_recorder_gets_five_intervals() -> None:
    slow = step(hold=10, interval=10)
    assert judge(slow.without(15.1, 15.9).recording(), rule()).passes
    assert not judge(slow.without(15.1, 15.95).recording(), rule(hold=7 * MINUTE)).high.passes


def test_the_rule_may_set_the_gap_itself() -> None:
    curve = step().without(10.01, 10.15)
    assert judge(curve.recording(), rule()).passes
    assert not judge(curve.recording(), rule(max_gap=5)).passes


def test_the_end_of_the_recording_ends_the_hold_and_is_named() -> None:
    verdict = judge(Curve.through([(0, 300), (5, 300), (5.5, 5_060), (8.7, 5_060)]).recording(), rule())
    (reason,) = verdict.high.reasons
    assert isinstance(reason, TooShort)
    assert reason.ended is Ended.RECORDING


# --- decay -------------------------------------------------------------------------------------------------


def test_a_window_begun_on_the_rising_ramp_hides_no_leak() -> None:
    # From 5,000 up to 5,100 and back to 5,001: start and end differ by 1 psi, the fall is 99 psi.
    peaked = Curve.through([(0, 300), (5, 300), (5.5, 5_000), (6.5, 5_100), (10.5, 5_001), (10.6, 0)])
    verdict = judge(peaked.recording(), rule(max_decay=50))
    assert not verdict.high.passes
    assert verdict.high.decay == pytest.approx(psi(99), rel=0.01)
    (reason,) = verdict.high.reasons
    assert isinstance(reason, FellTooMuch)
    assert "more than the 50 psi allowed" in words(verdict.high)


def test_the_judged_window_is_the_steadiest_one() -> None:
    settling = Curve.through([(0, 300), (5, 300), (5.5, 5_200), (10, 5_060), (20, 5_060), (20.5, 0)])
    high = judge(settling.recording(), rule(max_decay=5)).high
    assert high.passes
    assert high.start == pytest.approx(10 * MINUTE, abs=15)


def test_of_windows_that_fall_equally_little_the_one_off_the_ramp_is_judged() -> None:
    verdict = judge(Curve.through([(0, 0), (1, 300), (7, 300), (8, 5_400), (14, 5_400), (14.5, 0)]).recording(), rule())
    assert verdict.low.start_pressure == pytest.approx(psi(300))
    assert verdict.high.start_pressure == pytest.approx(psi(5_400))
    assert verdict.low.start == pytest.approx(1 * MINUTE, abs=1)


def test_no_fall_at_all_allowed_is_a_rule_that_can_be_met() -> None:
    assert judge(step().recording(), rule(max_decay=0)).passes
    assert not judge(step().with_noise(0.5).recording(), rule(max_decay=0)).passes


def test_the_maximum_of_the_high_hold_counts_where_given() -> None:
    assert not judge(step(high=5_600).recording(), rule(most=5_500)).high.passes
    assert judge(step(high=5_400).recording(), rule(most=5_500)).high.passes


# --- several holds in the part judged ------------------------------------------------------------------------


def test_a_failed_low_followed_by_a_good_one_finds_the_good_pair() -> None:
    leaking = Curve.through([(0, 0), (0.5, 300), (3, 240), (3.5, 0), (4.5, 0)])
    assert judge(leaking.then(step()).recording(), rule()).passes


def test_a_low_that_fell_too_much_is_passed_over_for_a_later_good_one() -> None:
    falling = Curve.through([(0, 0), (0.5, 345), (6.5, 255), (7, 0), (8, 0)])
    verdict = judge(falling.then(step()).recording(), rule(max_decay=20))
    assert verdict.passes
    assert verdict.low.start > 8 * MINUTE  # type: ignore[operator]


def test_a_steadier_low_after_the_high_is_not_taken_for_the_one_before_it() -> None:
    wavy = Curve.through([(0, 0), (0.5, 300), (3, 310), (6.5, 300), (7, 5_060), (13, 5_060), (14, 0), (15, 0)])
    after = Curve.through([(0, 300), (8, 300)])
    verdict = judge(wavy.then(after).recording(), rule())
    assert verdict.passes
    assert verdict.low.end < verdict.high.start  # type: ignore[operator]


def test_the_best_attempt_is_shown_when_none_is_good() -> None:
    tries = Curve.through(
        [(0, 300), (5, 300), (6, 5_060), (8, 5_060), (8.2, 4_000), (8.4, 5_060), (11.6, 5_060), (12, 0)]
    )
    high = judge(tries.recording(), rule()).high
    assert not high.passes
    assert high.duration == pytest.approx(3.2 * MINUTE, abs=3)


def test_a_high_hold_never_reached_names_the_highest_pressure() -> None:
    verdict = judge(step(high=4_812).recording(), rule())
    assert words(verdict.high).startswith("never reached 5,000 psi after the low hold; the highest then was 4,812 psi")


def test_a_reason_gives_the_clock_where_the_recording_has_one() -> None:
    started = datetime(2026, 3, 31, 14, 20, tzinfo=UTC)
    cut_short = Curve.through([(0, 300), (5, 300), (5.5, 5_000), (8.7, 5_000), (9, 4_000)])
    verdict = judge(cut_short.recording(started_at=started), rule())
    assert words(verdict.high, started) == (
        "held 5,000 psi or more for 3 min 12 s of the 5 min needed; fell to 4,944.4 psi at 14:28:43"
    )


# --- the rule and the marks ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"hold": -300}, "hold"),
        ({"hold": 0}, "hold"),
        ({"hold": math.nan}, "hold"),
        ({"low": (350, 250)}, "low.max"),
        ({"low": (-10, 250)}, "low.min"),
        ({"restart_above": 300}, "low.restart_above"),
        ({"target": 350}, "high.target"),
        ({"most": 4_000}, "high.max"),
        ({"max_decay": -1}, "max_decay"),
        ({"max_gap": 0}, "max_gap"),
    ],
)
def test_a_rule_that_contradicts_itself_names_the_value(changed: dict[str, float], field: str) -> None:
    with pytest.raises(InputError) as refused:
        rule(**changed)  # type: ignore[arg-type]
    assert refused.value.field == field
    assert refused.value.remedy


def test_a_target_without_end_is_refused() -> None:
    with pytest.raises(InputError) as refused:
        replace(rule(), high_target=math.inf)
    assert refused.value.field == "high.target"


@pytest.mark.parametrize(
    ("start", "end", "field"), [(600, 300, "end"), (1e9, None, "start"), (math.nan, None, "start")]
)
def test_marks_that_hold_no_samples_are_refused(start: float, end: float | None, field: str) -> None:
    with pytest.raises(InputError) as refused:
        judge(step().recording(), rule(), start=start, end=end)
    assert refused.value.field == field


def test_only_what_lies_between_the_marks_is_judged() -> None:
    two = step().then(step(high=3_000))
    assert judge(two.recording(), rule(), end=15 * MINUTE).passes
    assert not judge(two.recording(), rule(), start=15 * MINUTE).passes


# --- properties ------------------------------------------------------------------------------------------------


def brute_force(times: np.ndarray, pressures: np.ndarray, meets: np.ndarray, hold: float, gap: float) -> dict:
    """Every window by trying: its end and its largest fall, the way one would by hand."""
    found = {}
    for first in range(len(times)):
        fall, peak = 0.0, -math.inf
        for last in range(first, len(times)):
            broken = last > first and times[last] - times[last - 1] > gap + TIME_TOLERANCE_S
            if broken or not meets[last]:
                break
            peak = max(peak, pressures[last])
            fall = max(fall, peak - pressures[last])
            if times[last] - times[first] >= hold - TIME_TOLERANCE_S:
                found[first] = (last, fall)
                break
    return found


@settings(max_examples=300, deadline=None)
@given(
    steps=st.lists(
        st.tuples(st.sampled_from([0, 1, 1, 1, 2, 7]), st.integers(0, 12), st.booleans() | st.just(True)),
        min_size=2,
        max_size=120,
    ),
    hold=st.integers(1, 25),
    even=st.booleans(),
    thinned=st.booleans(),
)
def test_windows_and_their_falls_are_those_of_trying_each(
    steps: list[tuple[int, int, bool]], hold: int, even: bool, thinned: bool
) -> None:
    intervals, heights, meets = zip(*steps, strict=True)
    # A dense burst among slow samples makes blocks of very unequal length, which takes another method.
    dense = [
        1.0 if even else (0.001 if thinned and index > len(steps) // 2 else gap) for index, gap in enumerate(intervals)
    ]
    times = np.cumsum(np.array(dense, dtype=float))
    pressures, mask = np.array(heights, dtype=float), np.array(meets)
    windows = windows_in(runs_where(mask, times, 5.0), times, pressures, float(hold))
    expected = brute_force(times, pressures, mask, float(hold), 5.0)
    assert dict(zip(windows.start.tolist(), zip(windows.end, windows.decay, strict=True), strict=True)) == expected


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), dense=st.integers(3_000, 9_000))
def test_falls_are_right_where_samples_are_very_unevenly_spread(seed: int, dense: int) -> None:
    random = np.random.default_rng(seed)
    times = np.concatenate([np.arange(200.0), 200 + np.arange(dense) * 1e-4, 202 + np.arange(200.0)])
    pressures = random.normal(0, 1, len(times))
    windows = windows_in(runs_where(np.ones(len(times), bool), times, 5.0), times, pressures, 1.0)
    for place in random.integers(0, len(windows), 40):
        held = pressures[windows.start[place] : windows.end[place] + 1]
        assert windows.decay[place] == np.max(np.maximum.accumulate(held) - held)


@settings(max_examples=40, deadline=None)
@given(
    noise=st.floats(0, 40),
    low=st.floats(240, 360),
    high=st.floats(4_950, 5_200),
    hold=st.floats(4.5, 7),
    unit=st.sampled_from([("bar", PSI / 1e5), ("kPa", PSI / 1e3), ("MPa", PSI / 1e6)]),
)
def test_the_verdict_does_not_depend_on_the_unit_recorded_in(
    noise: float, low: float, high: float, hold: float, unit: tuple[str, float]
) -> None:
    curve = step(low=low, high=high, hold=hold, interval=2).with_noise(noise)
    name, per_psi = unit
    asked = rule(max_decay=60)
    in_psi = judge(curve.recording(), asked)
    other = judge(Recording.from_samples(curve.t, curve.p * per_psi, name), asked)
    assert (other.passes, other.low.passes, other.high.passes) == (in_psi.passes, in_psi.low.passes, in_psi.high.passes)
    assert other.high.start == in_psi.high.start


@settings(max_examples=40, deadline=None)
@given(at=st.floats(9, 11), pause=st.floats(31, 600))
def test_a_pause_of_the_recorder_in_every_window_of_a_hold_breaks_it(at: float, pause: float) -> None:
    curve = step()
    assert judge(curve.recording(), rule()).passes
    paused = Recording.from_samples(np.where(curve.t > at * MINUTE, curve.t + pause, curve.t), curve.p, "psi")
    assert not judge(paused, rule()).high.passes


@settings(max_examples=60, deadline=None)
@given(
    dwells=st.lists(
        st.tuples(st.sampled_from([0, 300, 340, 420, 520, 5_050, 5_300]), st.integers(1, 9)), min_size=2, max_size=9
    ),
    max_decay=st.sampled_from([None, 0, 30]),
)
def test_a_good_pair_is_found_whenever_there_is_one(dwells: list[tuple[int, int]], max_decay: float | None) -> None:
    p = np.concatenate([np.full(minutes * 6, float(level)) for level, minutes in dwells])
    recording = Recording.from_samples(np.arange(len(p)) * 10.0, p, "psi")
    asked = rule(max_decay=max_decay)
    assert judge(recording, asked).passes == pair_exists(recording, asked)


def pair_exists(recording: Recording, asked: HoldRule) -> bool:
    """Look for a pair by trying every low and every high window."""
    times, p = recording.elapsed, recording.pressures
    allowed = math.inf if asked.max_decay is None else asked.max_decay + 1e-3
    in_band = (p >= asked.low_min - 1e-3) & (p <= asked.low_max + 1e-3)
    at_target = p >= asked.high_target - 1e-3
    lows = brute_force(times, p, in_band, asked.hold_s, 50.0)
    highs = brute_force(times, p, at_target, asked.hold_s, 50.0)
    clean = []
    spoilt = False
    for pressure in p:
        spoilt = pressure > asked.restart_above + 1e-3 or (spoilt and pressure >= psi(50))
        clean.append(not spoilt)
    good_lows = [last for first, (last, fall) in lows.items() if fall <= allowed and clean[first]]
    good_highs = [first for first, (_, fall) in highs.items() if fall <= allowed]
    return any(high > low for low in good_lows for high in good_highs)
