"""Exact Poisson limits of failure rates, against published examples and tables."""

import pytest

from calcs.failure_rates import failure_rate


def test_two_failures_in_800_hours():
    """NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1 (as remembered, and recomputed from its formula).

    A system in use for 800 hours had 2 failures: the mean time between failures is 400 hours, and its 90 % limits are
    400 × 0.3177 = 127 and 400 × 5.6281 = 2,251 hours.
    """
    seen = failure_rate(2, 800.0, confidence=0.90)
    assert seen.between == 400
    assert seen.between_low / 400 == pytest.approx(0.3177, abs=5e-5)
    assert seen.between_high == pytest.approx(400 * 5.6281, rel=1e-4)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [
        # F. Garwood, Fiducial Limits for the Poisson Distribution, Biometrika 28 (1936): 95 % limits of a Poisson mean,
        # as later tables repeat them (from memory, to the digits shown).
        (0, 0.0, 3.69),
        (1, 0.0253, 5.57),
        (2, 0.242, 7.22),
        (3, 0.619, 8.77),
        (5, 1.62, 11.67),
        (10, 4.80, 18.39),
        (20, 12.22, 30.89),
        (50, 37.11, 65.92),
    ],
)
def test_limits_of_a_count(count: int, low: float, high: float):
    seen = failure_rate(count, 1.0)
    assert seen.low == pytest.approx(low, rel=3e-3)
    assert seen.high == pytest.approx(high, rel=3e-3)
