"""Holds against published rules. Each check names its source; what could not be read again is marked from memory."""

import pytest

from calcs.exposure import BLED_OFF
from calcs.holds import judge
from tests.recordings_made import MINUTE, Curve, psi, rule, step

# 30 CFR 250.737(b)(1), from memory; the same logic with a band of 200 to 300 psi was in the superseded 250.448(a).
LOW_BAND = (250, 350)
RESTART_ABOVE = 500
# 30 CFR 250.737(c), from memory: five minutes; three where recorded on an eligible chart or digital recorder.
FIVE_MINUTES, THREE_MINUTES = 5 * MINUTE, 3 * MINUTE


@pytest.mark.parametrize(("low", "passes"), [(249, False), (250, True), (300, True), (350, True), (351, False)])
def test_low_pressure_lies_between_250_and_350_psi(low: float, passes: bool) -> None:
    """30 CFR 250.737(b)(1), from memory."""
    assert judge(step(low=low).recording(), rule(low=LOW_BAND, restart_above=RESTART_ABOVE)).low.passes is passes


@pytest.mark.parametrize(("low", "passes"), [(199, False), (200, True), (300, True), (301, False)])
def test_low_pressure_lay_between_200_and_300_psi_before_2016(low: float, passes: bool) -> None:
    """30 CFR 250.448(a), superseded in 2016."""
    assert judge(step(low=low).recording(), rule(low=(200, 300), restart_above=RESTART_ABOVE)).low.passes is passes


@pytest.mark.parametrize(("peak", "bled_to", "passes"), [(500, 300, True), (501, 300, False), (501, 0, True)])
def test_over_500_psi_bleed_to_zero_and_begin_again(peak: float, bled_to: float, passes: bool) -> None:
    """30 CFR 250.737(b)(1), from memory; read in the superseded 250.448(a)."""
    begun = Curve.through([(0, 0), (0.5, peak), (1, bled_to), (1.5, 300), (7, 300), (8, 5_060), (14, 5_060)])
    assert judge(begun.recording(), rule(low=LOW_BAND, restart_above=RESTART_ABOVE)).low.passes is passes


@pytest.mark.parametrize("hold", [FIVE_MINUTES, THREE_MINUTES])
def test_the_required_pressure_is_held_for_the_whole_time(hold: float) -> None:
    """30 CFR 250.737(c), from memory; read in the superseded 250.448(d)."""
    start = (300, hold / MINUTE)
    whole = Curve.through([(0, start[0]), (start[1], 300), (start[1] + 0.5, 5_000), (2 * start[1] + 0.5, 5_000)])
    assert judge(whole.recording(), rule(hold=hold)).passes
    dipped = Curve(whole.t, whole.p.copy())
    dipped.p[-1] = 4_999
    assert not judge(dipped.recording(), rule(hold=hold)).passes


@pytest.mark.parametrize(("end", "passes"), [(4_500, True), (4_490, False)])
def test_a_casing_test_may_fall_by_ten_percent_in_thirty_minutes(end: float, passes: bool) -> None:
    """30 CFR 250.721(f): a decline of more than 10 percent in 30 minutes fails; no such allowance for BOP tests."""
    fall = Curve.through([(0, 300), (30, 300), (31, 5_000), (61, end)])
    asked = rule(target=4_400, hold=30 * MINUTE, max_decay=500)
    assert judge(fall.recording(), asked).high.passes is passes


def test_alberta_low_test_at_1400_kpa() -> None:
    """Alberta Directive 036, from memory: low pressure test at 1 400 kPa for 10 minutes."""
    kilopascal = 1 / 6.894757  # psi, from published tables of conversion factors
    low = 1_400 * kilopascal
    asked = rule(low=(1_390 * kilopascal, 1_750 * kilopascal), target=21_000 * kilopascal, hold=10 * MINUTE)
    assert judge(step(low=low * 1.01, high=3_100, hold=11).recording(), asked).passes


def test_zero_on_a_gauge_is_below_50_psi() -> None:
    """Common practice: a gauge of the range used shows no true zero."""
    assert pytest.approx(psi(50)) == BLED_OFF
