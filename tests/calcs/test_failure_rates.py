"""Failure rates: their limits hold the true rate as often as they say, and hang on the count in the right way."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from scipy.stats import poisson

from calcs.errors import InputError
from calcs.failure_rates import failure_rate

EXPOSURES = some.floats(1e-3, 1e7)


@given(mean=some.floats(0.01, 60.0), confidence=some.sampled_from([0.6, 0.9, 0.95]))
@settings(max_examples=40, deadline=None)
def test_the_limits_hold_the_true_rate_at_least_as_often_as_they_say(mean: float, confidence: float):
    """Against the distribution itself: the chance of the counts whose limits leave the true mean out."""
    counts = range(int(mean + 10 * mean**0.5 + 20))
    limits = {count: failure_rate(count, 1.0, confidence=confidence) for count in counts}
    missed = sum(poisson.pmf(n, mean) for n, seen in limits.items() if not seen.low <= mean <= seen.high)
    assert missed <= 1 - confidence + 1e-9


@given(failures=some.integers(0, 200), exposure=EXPOSURES, times=some.floats(0.01, 100))
@settings(max_examples=50, deadline=None)
def test_limits_lie_about_the_rate_and_scale_with_the_exposure(failures: int, exposure: float, times: float):
    seen, longer = failure_rate(failures, exposure), failure_rate(failures, exposure * times)
    assert seen.low <= seen.rate < seen.high
    assert longer.high * times == pytest.approx(seen.high)
    assert longer.low * times == pytest.approx(seen.low)


@given(failures=some.integers(0, 200), exposure=EXPOSURES)
@settings(max_examples=50, deadline=None)
def test_more_failures_raise_both_limits_and_more_confidence_widens_them(failures: int, exposure: float):
    seen, more = failure_rate(failures, exposure), failure_rate(failures + 1, exposure)
    assert more.low > seen.low
    assert more.high > seen.high
    sure = failure_rate(failures, exposure, confidence=0.99)
    assert sure.low <= seen.low < seen.high < sure.high


def test_where_nothing_failed_the_time_between_is_only_known_to_be_longer():
    seen = failure_rate(0, 3_000.0)
    assert seen.between is None
    assert seen.between_high is None
    assert seen.between_low == pytest.approx(3_000 / 3.689, rel=1e-3)


@pytest.mark.parametrize(
    ("failures", "exposure", "confidence", "field"),
    [
        (-1, 10.0, 0.95, "failures"),
        (1, 0.0, 0.95, "exposure"),
        (1, float("nan"), 0.95, "exposure"),
        (1, 10.0, 1.0, "confidence"),
    ],
)
def test_what_makes_no_sense_is_refused_by_its_name(failures, exposure, confidence, field):
    with pytest.raises(InputError) as caught:
        failure_rate(failures, exposure, confidence=confidence)
    assert caught.value.field == field
