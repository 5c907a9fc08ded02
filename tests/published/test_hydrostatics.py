"""Columns of mud against outside figures."""

import pytest

from calcs.surface import calculate

TEN_POUND = {"mud_weight": "10 lb/gal", "depth": "7000 ft"}


def psi(document: dict[str, str]) -> float:
    return calculate("hydrostatic", document)["pressure"]["value"]


def test_ten_pound_mud_at_7000_ft_lies_between_the_rounded_and_the_exact_figure():
    # Common practice: 0.515 psi/ft, the gradient rounded down, gives 3,605 psi.
    # Exact: 1 lb/gal is 12/231 psi/ft, since 231 in³ are a US gallon and 12 in a foot (NIST Handbook 44,
    # Appendix C): 10 · 12/231 · 7000 = 3,636.36 psi.
    found = psi(TEN_POUND)
    assert 3605 < found < 3637
    assert found == pytest.approx(10 * 12 / 231 * 7000, rel=1e-9)


def test_the_rounded_constant_is_the_texts_0_052():
    # "Formulas and Calculations for Drilling, Production and Workover", 2nd ed., chapter 1:
    # hydrostatic pressure, psi = mud weight, ppg x 0.052 x true vertical depth, ft.
    assert psi({**TEN_POUND, "constant": "0.052"}) == pytest.approx(10 * 0.052 * 7000, rel=1e-9)


def test_sea_water_weighs_what_the_trade_says_it_does():
    # Common practice: 8.55 to 8.6 lb/gal of seawater are 0.445 psi/ft.
    assert psi({"mud_weight": "8.556 lb/gal", "depth": "1000 ft"}) == pytest.approx(445, abs=1)
