"""The least squares behind a drawdown: its curves, its answer, and above all that its intervals are honest."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from calcs.drawdown_fit import fit, interval, predict
from calcs.gas import Model, absolute, discharge, packing
from calcs.gas_curves import Curve, curve
from calcs.units import GaugePressure

PSI, GALLON, FIFTEEN = 6894.757293168361, 0.003785411784, 288.15
START, PRECHARGE = GaugePressure(3000 * PSI), GaugePressure(1000 * PSI)
ROOM = 120 * GALLON
REAL = (Model.NITROGEN_ISOTHERMAL, Model.NITROGEN_ISENTROPIC)
TESTS = 4000


@cache
def law(model: Model) -> Curve:
    return curve(model, START, GaugePressure(300 * PSI), FIFTEEN)


def figures(model: Model, gauge: float) -> float:
    return gauge if model is Model.BOYLE_GAUGE else absolute(GaugePressure(gauge))


def gas(model: Model) -> float:
    return packing(model, PRECHARGE, FIFTEEN) * ROOM


def exact(model: Model, volumes: np.ndarray) -> np.ndarray:
    """Pressures after `volumes` by the gas models themselves, which know nothing of the curves."""
    expanding, begun = discharge(model, START, FIFTEEN), packing(model, START, FIFTEEN)
    stretches = 1 + volumes * begun / gas(model)
    return np.array([figures(model, expanding.pressure_at(float(stretch))) for stretch in stretches])


@pytest.mark.parametrize("model", REAL)
@pytest.mark.parametrize("temperature", [253.15, 288.15, 333.15])
@pytest.mark.parametrize("start_psi", [1500, 3000, 7500])
def test_a_curve_agrees_with_the_equation_it_was_drawn_from(model: Model, temperature: float, start_psi: float):
    drawn = curve(model, GaugePressure(start_psi * PSI), GaugePressure(0.15 * start_psi * PSI), temperature)
    for share in (0.85, 1.0, 1.15):
        charged = GaugePressure(share * start_psi * PSI)
        expanding = discharge(model, charged, temperature)
        start = np.full(5, -np.log(packing(model, charged, temperature)))
        stretch = np.log(np.linspace(1, expanding.stretch_at(GaugePressure(0.3 * start_psi * PSI)), 5))
        expected = [absolute(expanding.pressure_at(float(each))) for each in np.exp(stretch)]
        assert np.exp(drawn.read(start, start + stretch)[0]) == pytest.approx(expected, rel=2e-6)


@pytest.mark.parametrize("model", Model)
def test_the_slopes_of_a_curve_are_its_slopes(model: Model):
    start = law(model).settled_at(np.log(np.full(4, figures(model, START))))
    volume, step = start + np.array([0.05, 0.2, 0.5, 0.9]), 1e-5
    _, by_start, by_volume = law(model).read(start, volume)
    along = [
        (law(model).read(start + step, volume)[0] - law(model).read(start - step, volume)[0]) / (2 * step),
        (law(model).read(start, volume + step)[0] - law(model).read(start, volume - step)[0]) / (2 * step),
    ]
    assert along == pytest.approx(np.array([by_start, by_volume]), abs=1e-6)


@pytest.mark.parametrize("model", Model)
def test_readings_on_the_curve_give_the_bank_back(model: Model):
    volumes = np.linspace(0, 36, 7) * GALLON
    found = fit(law(model), volumes[None], exact(model, volumes)[None])
    assert found.gas[0] == pytest.approx(gas(model), rel=1e-5)
    assert float(found.scatter[0]) < 0.02 * PSI


@pytest.mark.parametrize("model", Model)
def test_the_answer_is_the_one_a_general_solver_finds(model: Model):
    volumes = np.linspace(0, 36, 7) * GALLON
    readings = exact(model, volumes) + np.random.default_rng(3).normal(0, 15 * PSI, 7)
    found = fit(law(model), volumes[None], readings[None])

    def off(logs: np.ndarray) -> np.ndarray:
        start = np.full(7, logs[0])
        level = law(model).read(start, np.log(np.exp(logs[0]) + np.exp(logs[1]) * volumes))[0]
        return (np.exp(level) - readings) / PSI

    first = [float(found.start[0]) + 0.01, -np.log(gas(model)) + 0.02]
    solved = least_squares(off, first, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    assert -solved.x[1] == pytest.approx(float(np.log(found.gas[0])), abs=1e-6)
    # And its covariance, from slopes it took by differences.
    covariance = np.linalg.inv(solved.jac.T @ solved.jac)
    assert np.sqrt(covariance[1, 1]) / PSI == pytest.approx(float(found.spread[0]), rel=1e-3)


@pytest.mark.parametrize("model", Model)
@pytest.mark.parametrize(
    ("points", "noise_psi", "accuracy_known"),
    [(3, 8, False), (4, 25, False), (8, 8, False), (8, 25, True), (12, 15, False), (3, 15, True)],
)
def test_a_95_percent_interval_holds_the_truth_95_times_in_a_hundred(
    model: Model, points: int, noise_psi: float, accuracy_known: bool
):
    volumes = np.linspace(0, 36, points) * GALLON
    noise = np.random.default_rng(points * 1000 + noise_psi).normal(0, noise_psi * PSI, (TESTS, points))
    found = fit(law(model), np.broadcast_to(volumes, noise.shape), exact(model, volumes) + noise)
    low, high = interval(found, noise_psi * PSI if accuracy_known else None)
    held = np.mean((low <= gas(model)) & (gas(model) <= high))
    assert 0.93 <= held <= 0.97
    # And misses as often on one side as on the other: it leans neither way.
    assert abs(np.mean(gas(model) < low) - np.mean(gas(model) > high)) < 0.015


def test_a_start_pressure_taken_as_exact_would_promise_too_much():
    # What this fit does not do: one parameter, the start reading trusted. Its interval misses far more often.
    model, volumes = Model.BOYLE, np.linspace(0, 36, 6) * GALLON
    readings = exact(model, volumes) + np.random.default_rng(11).normal(0, 15 * PSI, (TESTS, 6))
    per_gas = np.log(gas(model)) + np.zeros((TESTS, 1))
    for _ in range(20):
        unit = 1 / readings[:, :1] + volumes / np.exp(per_gas)
        slope = (volumes / np.exp(per_gas)) / unit**2
        off = readings - 1 / unit
        per_gas = per_gas + (slope * off).sum(axis=1, keepdims=True) / (slope**2).sum(axis=1, keepdims=True)
    error = np.sqrt((off[:, 1:] ** 2).sum(axis=1) / 4 / (slope**2).sum(axis=1))
    held = np.mean(np.abs(per_gas[:, 0] - np.log(gas(model))) < 2.776 * error)
    assert held < 0.92


def test_readings_lost_in_their_scatter_set_no_upper_limit():
    volumes = np.array([[0.0, 0.1, 0.2]]) * GALLON
    found = fit(law(Model.BOYLE), volumes, np.array([[3000.0, 2999.0, 2990.0]]) * PSI)
    low, high = interval(found)
    assert 0 < low[0] < found.gas[0]
    assert high[0] == np.inf


@settings(deadline=None)
@given(
    share=st.floats(0.3, 3),
    start_psi=st.floats(2500, 3500),
    drawn=st.floats(0.1, 0.6),
    points=st.integers(3, 12),
    model=st.sampled_from((Model.BOYLE, Model.NITROGEN_ISOTHERMAL)),
)
def test_any_bank_is_found_from_clean_readings(share: float, start_psi: float, drawn: float, points: int, model: Model):
    start = np.full(points, -np.log(packing(model, GaugePressure(start_psi * PSI), FIFTEEN)))
    bank = gas(model) * share
    volumes = np.linspace(0, drawn * share, points) * ROOM
    pressures = np.exp(law(model).read(start, np.log(np.exp(start) + volumes / bank))[0])
    found = fit(law(model), volumes[None], pressures[None])
    assert found.gas[0] == pytest.approx(bank, rel=1e-7)


def test_a_prediction_is_surest_among_the_readings():
    volumes = np.linspace(0, 36, 7) * GALLON
    found = fit(law(Model.BOYLE), volumes[None], exact(Model.BOYLE, volumes)[None])
    _, within = predict(law(Model.BOYLE), found, np.array([[18 * GALLON]]))
    expected, beyond = predict(law(Model.BOYLE), found, np.array([[60 * GALLON]]))
    assert within[0, 0] < beyond[0, 0]
    assert expected[0, 0] == pytest.approx(exact(Model.BOYLE, np.array([60 * GALLON]))[0])
