"""A fall that does not slow down is told from one that settles."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.steady import Raised, raised_again, steady_fall

TIMES = np.arange(0.0, 301.0, 1.0)


@given(rate=st.floats(0.5, 1_000), level=st.floats(1e5, 1e8))
def test_a_straight_fall_is_steady_at_its_own_rate(rate: float, level: float):
    found = steady_fall(TIMES, level - rate * TIMES, over=rate * 100)
    assert found is not None
    assert found.rate == pytest.approx(rate, rel=1e-6)
    assert found.fall == pytest.approx(rate * 300, rel=1e-6)


@given(fall=st.floats(1e3, 1e6), constant=st.floats(10, 120))
def test_a_fall_that_settles_is_not_steady(fall: float, constant: float):
    assert steady_fall(TIMES, 7e7 + fall * np.exp(-TIMES / constant), over=0.0) is None


@given(rate=st.floats(0, 1_000))
def test_a_rise_is_never_a_steady_fall(rate: float):
    assert steady_fall(TIMES, 7e7 + rate * TIMES, over=0.0) is None


@given(rate=st.floats(0.5, 1_000), margin=st.floats(1.001, 10))
def test_a_fall_within_what_is_let_pass_is_not_told(rate: float, margin: float):
    assert steady_fall(TIMES, 7e7 - rate * TIMES, over=rate * 300 * margin) is None


@given(shift=st.floats(-1e7, 1e7), late=st.floats(0, 1e6))
def test_neither_the_level_nor_the_start_of_the_clock_decides(shift: float, late: float):
    falling = 7e7 - 500 * TIMES
    one, other = steady_fall(TIMES, falling, over=1e4), steady_fall(TIMES + late, falling + shift, over=1e4)
    assert one is not None
    assert other is not None
    assert other.rate == pytest.approx(one.rate, rel=1e-6)


@given(seed=st.integers(0, 1_000))
def test_noise_of_the_gauge_does_not_hide_a_leak_nor_make_one(seed: int):
    noise = np.random.default_rng(seed).normal(0, 7_000, len(TIMES))
    assert steady_fall(TIMES, 7e7 - 3_500 * TIMES + noise, over=7e5) is not None
    assert steady_fall(TIMES, 7e7 + noise, over=1e5) is None


def test_a_fall_that_grows_is_told_too():
    assert steady_fall(TIMES, 7e7 - 10 * TIMES**2, over=1e5) is not None


def test_a_few_samples_show_nothing():
    assert steady_fall(TIMES[:5], 7e7 - 1e5 * TIMES[:5], over=1.0) is None


def test_a_fall_that_begins_on_the_ramp_is_as_steady_as_it_is_after_it():
    pressures = np.where(TIMES < 75, 250 + 99 * TIMES / 75, 349 - 98 * (TIMES - 75) / 225)
    found = steady_fall(TIMES, pressures, over=10)
    assert found is not None
    assert found.rate * 60 == pytest.approx(98 / 225 * 60, rel=1e-3)


def test_a_pressure_pumped_back_every_half_minute_is_told_with_size_and_number():
    times = np.arange(0.0, 181.0)
    falling = 7_800 - 290 * (times % 30) / 29
    assert raised_again(times, falling, over=37.5) == Raised(times=6, most=290.0)


@given(rise=st.floats(1e3, 1e6), constant=st.floats(10, 120), seed=st.integers(0, 1_000))
def test_neither_a_slow_creep_nor_noise_nor_the_ramp_is_pumping_up(rise: float, constant: float, seed: int):
    noise = np.random.default_rng(seed).normal(0, 7_000, len(TIMES))
    creeping = 7e7 + rise * (1 - np.exp(-TIMES / constant))
    settling = 7e7 + rise * np.exp(-TIMES / constant)
    for pressures in (creeping + noise, settling + noise):
        assert raised_again(TIMES, pressures, over=0.005 * 7e7) is None


def test_no_sample_shows_no_rise():
    assert raised_again(TIMES[:0], TIMES[:0], over=1.0) is None
