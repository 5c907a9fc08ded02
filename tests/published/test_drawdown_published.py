"""Drawdown against published worked examples, and against figures worked out from the equations they cite.

Read: "Formulas and Calculations for Drilling, Production and Workover", 2nd edition, chapter 2. Figures marked
`derived` were worked out apart from this program, by the equations of state named, when the trade notes were made:
they hold this program to an independent sum, not to a book.
"""

import pytest

from calcs.surface import calculate

FIFTEEN = "15 degC"
NAMEPLATE = {"bottle_volume": "10 gal", "count": 12, "precharge": "1000 psi"}
HEALTHY_SLOW = {0: 3000, 20: 1955, 30: 1672, 40: 1462, 50: 1300, 60: 1170}
HEALTHY_FAST = {0: 3000, 20: 1467, 30: 1139, 40: 921}


def precharge(model: str | None = None, **changes: str) -> float:
    asked = {"total_volume": "180 gal", "start": "3000 psi", "end": "2200 psi", "withdrawn": "20 gal", **changes}
    if model:
        asked["model"] = model
    return calculate("precharge-from-drawdown", asked)["precharge"]["value"]


def fitted(readings: dict[float, float], model: str) -> dict:
    points = [{"withdrawn": f"{volume} gal", "pressure": f"{psi} psi"} for volume, psi in readings.items()]
    return calculate("drawdown-fit", {"points": points, "nameplate": NAMEPLATE, "model": model, "temperature": FIFTEEN})


def test_twenty_of_180_gallons_from_3000_to_2200_psi_is_917_psi():
    # Read: (20/180) · 2,200 · 3,000 / (3,000 − 2,200) = 917 psi, on gauge figures.
    assert precharge() == pytest.approx(917, abs=0.5)


def test_the_same_in_absolute_pressures():
    # Derived by hand: (20/180) · 2,214.696 · 3,014.696 / 800 − 14.696 = 912.6 psi.
    assert precharge("boyle") == pytest.approx(912.6, abs=0.05)


@pytest.mark.parametrize(
    ("model", "drawn_gal", "reads"),
    [("nitrogen-isothermal", 1.125, 928), ("nitrogen-isentropic", 0.617, 509)],
)
def test_the_hand_sum_reads_low_on_a_healthy_bank(model: str, drawn_gal: float, reads: float):
    # Derived: at a true 1,000 psi, 3,000 to 2,200 psi, 15 °C, a 10 gal bottle gives 1.125 gal settled and 0.617 gal
    # at once; the hand sum makes 928 and 509 psi of them, and each model finds its own bank right.
    asked = {"total_volume": "10 gal", "withdrawn": f"{drawn_gal} gal", "temperature": FIFTEEN}
    assert precharge(**asked) == pytest.approx(reads, abs=1)
    assert precharge(model, **asked) == pytest.approx(1000, abs=1)


@pytest.mark.parametrize(
    ("count", "curve"),
    [
        (12, {20: 2001.6, 30: 1715.1, 40: 1500.0, 50: 1332.4, 60: 1198.2}),
        (11, {20: 1942.7, 30: 1650.6, 40: 1434.4, 50: 1267.9, 60: 1135.7}),
        (10, {20: 1876.3, 30: 1579.3, 40: 1362.9, 50: 1198.2, 60: 1068.7}),
    ],
)
def test_the_ideal_curves_of_twelve_eleven_and_ten_bottles(count: int, curve: dict[float, float]):
    # Derived: 10 gal bottles, 1,000 psi precharge, 3,000 psi start, absolute ideal gas.
    found = fitted({0: 3000, **curve}, "boyle")
    assert found["bottles_if_precharge_right"]["value"] == pytest.approx(count, abs=0.005)
    nameplate = {**NAMEPLATE, "count": count}
    points = [{"withdrawn": f"{volume} gal", "pressure": f"{psi} psi"} for volume, psi in {0: 3000, **curve}.items()]
    promised = calculate("drawdown-fit", {"points": points, "nameplate": nameplate, "model": "boyle"})
    assert [each["value"] for each in promised["nameplate_pressures"][1:]] == pytest.approx(
        list(curve.values()), abs=0.05
    )


@pytest.mark.parametrize(
    ("model", "curve"), [("nitrogen-isothermal", HEALTHY_SLOW), ("nitrogen-isentropic", HEALTHY_FAST)]
)
def test_the_curves_of_real_nitrogen_slow_and_fast(model: str, curve: dict[float, float]):
    # Derived: the same bank at 15 °C by the reference equation of nitrogen, rounded to whole psi.
    found = fitted(curve, model)
    assert [each["value"] for each in found["nameplate_pressures"]] == pytest.approx(list(curve.values()), abs=0.55)
    assert found["bottles_if_precharge_right"]["value"] == pytest.approx(12, abs=0.02)
    assert found["verdict"] == "as-nameplate"


def test_a_bank_drawn_fast_is_below_its_precharge_with_fluid_left():
    # Derived: 921 psi after 40 gal, under the 1,000 psi of precharge, while 77 gal are stored.
    found = fitted(HEALTHY_FAST, "nitrogen-isentropic")
    assert found["nameplate_pressures"][-1]["value"] == pytest.approx(921, abs=0.55)
    assert not found["told_apart"]


# Where the trade notes' fits read: eight readings to 46 gal.
EIGHT = [46 * step / 7 for step in range(8)]


def healthy(model: str, volumes: list[float]) -> dict[float, float]:
    """Return what a healthy bank shows by `model`."""
    blank = {volume: 3000 - volume for volume in volumes}
    promised = fitted(blank, model)["nameplate_pressures"]
    return {volume: each["value"] for volume, each in zip(volumes, promised, strict=True)}


def test_an_ideal_fit_of_settled_real_nitrogen_calls_twelve_bottles_11_36():
    # Derived: 11.36 of 12 at 15 °C, with residuals of 5 to 7 psi that do not betray it.
    found = fitted(healthy("nitrogen-isothermal", EIGHT), "boyle")
    assert found["bottles_if_precharge_right"]["value"] == pytest.approx(11.36, abs=0.02)
    assert max(abs(each["value"]) for each in found["residuals"]) < 15
    assert 12 * found["by_model"]["nitrogen-isothermal"]["gas_charge_ratio"] == pytest.approx(12, abs=0.001)
    assert any(
        "As settled nitrogen the same readings mean 12.0 bottles of 12, not 11.4" in each for each in found["warnings"]
    )


def test_an_ideal_fit_of_fast_nitrogen_calls_twelve_bottles_5_7():
    # Derived: 5.7 of 12; 5.6 to 5.7 with where the readings lie.
    found = fitted(healthy("nitrogen-isentropic", [each for each in EIGHT if each < 42]), "boyle")
    assert found["bottles_if_precharge_right"]["value"] == pytest.approx(5.7, abs=0.15)
    assert 12 * found["by_model"]["nitrogen-isentropic"]["gas_charge_ratio"] == pytest.approx(12, abs=0.001)


def test_a_bottle_lost_and_a_precharge_a_twelfth_low_are_one_curve():
    # Derived: the precharges add as absolute pressures, so 11/12 of 1,014.7 less 14.7 psi is 915.4 psi in all twelve.
    found = fitted({0: 3000, 20: 1942.7, 30: 1650.6, 40: 1434.4, 50: 1267.9, 60: 1135.7}, "boyle")
    assert found["bottles_if_precharge_right"]["value"] == pytest.approx(11, abs=0.005)
    assert found["precharge_if_all_bottles"]["value"] == pytest.approx(11 / 12 * 1014.696 - 14.696, abs=0.2)
    assert found["told_apart"] is False
    assert "11.0 bottles of 12" in found["explanation"]
    assert "915 psi" in found["explanation"]
