"""MASP against worked examples.

Source, where no other is named: "Formulas and Calculations for Drilling, Production and Workover", 2nd
edition, chapter 2, with its rounded 0.052. The inputs were read in texts that cite it; results marked
"worked by hand" were computed from those inputs with pencil and paper.
"""

from typing import Any

import pytest

from calcs.surface import calculate

PORE = {
    "method": "pore-gas",
    "mud_weight": "12.0 lb/gal",
    "margin": "4.0 lb/gal",
    "depth": "12000 ft",
    "gas_gradient": "0.12 psi/ft",
    "constant": "0.052",
}
SHOE = {
    "method": "fracture-gas",
    "fracture_gradient": "14.2 lb/gal",
    "margin": "1.0 lb/gal",
    "shoe_depth": "4000 ft",
    "gas_gradient": "0.12 psi/ft",
    "constant": "0.052",
}


def masp(document: dict[str, Any]) -> dict[str, Any]:
    return calculate("masp", document)


def test_formation_pressure_less_a_full_column_of_gas():
    # (12.0 + 4.0) · 0.052 · 12,000 = 9,984 psi; less 0.12 · 12,000 = 1,440: 8,544 psi (read).
    found = masp(PORE)
    assert found["pressure"]["value"] == pytest.approx(8544, abs=0.5)
    assert any("9,984 psi" in line for line in found["working"])


def test_seventy_percent_of_the_mud_blown_out():
    # 9,984 − (0.12 · 8,400 + 12.0 · 0.052 · 3,600) = 9,984 − (1,008 + 2,246.4) = 6,729.6 (worked by hand;
    # gas on top and mud below is our arrangement, common practice).
    assert masp({**PORE, "gas_fraction": 0.7})["pressure"]["value"] == pytest.approx(6729.6, abs=0.05)


def test_fracture_pressure_at_the_shoe_less_gas():
    # (14.2 + 1.0) · 0.052 · 4,000 = 3,161.6; less 0.12 · 4,000 = 480: 2,681.6 psi (worked by hand).
    assert masp(SHOE)["pressure"]["value"] == pytest.approx(2681.6, abs=0.05)


def test_the_lesser_of_the_two_governs():
    # From memory: the lesser governs where the shoe would break first.
    both = {**PORE, **SHOE, "method": "lesser", "pore_margin": "4.0 lb/gal", "fracture_margin": "1.0 lb/gal"}
    del both["margin"]
    found = masp(both)
    assert found["governs"] == "fracture-gas"
    assert found["pressure"]["value"] == pytest.approx(2681.6, abs=0.05)


def test_exact_units_lie_a_tenth_of_a_percent_below_the_rounded_ones():
    # 12/231 = 0.0519481 against 0.052; the gas column is the same in both.
    exact = masp({key: value for key, value in PORE.items() if key != "constant"})["pressure"]["value"]
    assert exact == pytest.approx(16 * 12 / 231 * 12000 - 1440, rel=1e-9)


def test_subsea_wellhead_pressure_and_differential():
    # 11,500 psi at 16,000 ft, mudline at 5,000 ft, gas 0.1 psi/ft: 11,500 − 1,100 = 10,400 at the
    # wellhead; less 0.445 · 5,000 = 2,225 of seawater (common practice): 8,175 (worked by hand).
    document = {"method": "pore-gas", "pore_pressure": "11500 psi", "depth": "16000 ft"}
    found = masp({**document, "gas_gradient": "0.1 psi/ft", "mudline_depth": "5000 ft"})
    assert found["pressure"]["value"] == pytest.approx(10400, abs=0.5)
    assert found["differential"]["value"] == pytest.approx(8175, abs=0.5)
