"""The four models of a bottle's gas: their laws, where they meet, and where they stop."""

import math
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calcs import nitrogen
from calcs.errors import InputError
from calcs.fleets import usable_volumes
from calcs.gas import ChargedGas, Model, absolute, at_temperature, charged_gas, discharge, gauge, packing, unpacked
from calcs.units import AbsolutePressure, Dimension, GaugePressure, to_si

ROOT = Path(__file__).resolve().parents[2]
PSI = to_si(1, "psi", Dimension.PRESSURE)
KELVIN_15C = 288.15
MODELS = pytest.mark.parametrize("model", list(Model))
REAL = [Model.NITROGEN_ISOTHERMAL, Model.NITROGEN_ISENTROPIC]
SETTLED = [model for model in Model if model is not Model.NITROGEN_ISENTROPIC]

TEMPERATURES = st.floats(min_value=250, max_value=350)
CHARGED = st.floats(min_value=1500 * PSI, max_value=7500 * PSI)
SHARES = st.floats(min_value=0.3, max_value=0.95)
MODEL = st.sampled_from(list(Model))


def psi(value: float) -> GaugePressure:
    return GaugePressure(value * PSI)


def gas_of(model: Model, precharge: float = 1000, charged: float = 3000, kelvin: float = KELVIN_15C) -> ChargedGas:
    return charged_gas(model, psi(precharge), psi(charged), kelvin)


# Each gas is charged to a pressure, precharged to a share of it, and asked at shares of its volume or its pressure.


@given(MODEL, CHARGED, SHARES, TEMPERATURES, st.floats(min_value=0, max_value=1))
@settings(max_examples=60, deadline=None)
def test_pressure_and_volume_are_each_others_way_back(
    model: Model, charged: float, share: float, kelvin: float, way: float
):
    gas = charged_gas(model, GaugePressure(charged * share), GaugePressure(charged), kelvin)
    ratio = gas.charged_ratio + way * gas.stored_ratio
    assert gas.volume_ratio(gas.pressure_at(ratio)) == pytest.approx(ratio, rel=1e-7)


@given(CHARGED, SHARES, TEMPERATURES, st.floats(min_value=0, max_value=1), st.sampled_from(REAL))
@settings(max_examples=60, deadline=None)
def test_no_nitrogen_is_made_or_lost(charged: float, share: float, kelvin: float, way: float, model: Model):
    gas = charged_gas(model, GaugePressure(charged * share), GaugePressure(charged), kelvin)
    mass = nitrogen.density(absolute(gas.precharge), kelvin)
    ratio = gas.charged_ratio + way * gas.stored_ratio
    pressure, warmth = gas.pressure_at(ratio), gas.temperature_at(ratio)
    assume(warmth >= nitrogen.MIN_TEMPERATURE)
    assert nitrogen.density(absolute(pressure), warmth) * ratio == pytest.approx(mass, rel=1e-7)


@given(CHARGED, SHARES, TEMPERATURES, st.floats(min_value=0.01, max_value=1))
@settings(max_examples=40, deadline=None)
def test_gas_let_out_at_once_keeps_its_entropy(charged: float, share: float, kelvin: float, way: float):
    gas = charged_gas(Model.NITROGEN_ISENTROPIC, GaugePressure(charged * share), GaugePressure(charged), kelvin)
    ratio = gas.charged_ratio + way * gas.stored_ratio
    warmth = gas.temperature_at(ratio)
    assume(warmth >= nitrogen.MIN_TEMPERATURE)
    after = nitrogen.entropy(absolute(gas.pressure_at(ratio)), warmth)
    assert after == pytest.approx(nitrogen.entropy(absolute(gas.charged), kelvin), rel=1e-7)
    assert warmth < kelvin


@given(MODEL, CHARGED, SHARES, TEMPERATURES, st.floats(min_value=0, max_value=1), st.floats(min_value=0, max_value=1))
@settings(max_examples=60, deadline=None)
def test_more_room_means_less_pressure(
    model: Model, charged: float, share: float, kelvin: float, one: float, other: float
):
    assume(abs(one - other) > 1e-6)
    gas = charged_gas(model, GaugePressure(charged * share), GaugePressure(charged), kelvin)
    small, large = (gas.charged_ratio + way * gas.stored_ratio for way in sorted((one, other)))
    assert gas.pressure_at(small) > gas.pressure_at(large)


@given(CHARGED, SHARES, TEMPERATURES, st.floats(min_value=0, max_value=1))
@settings(max_examples=60, deadline=None)
def test_cold_gas_never_fills_more_than_settled_gas(charged: float, share: float, kelvin: float, way: float):
    settled, cold = (
        charged_gas(model, GaugePressure(charged * share), GaugePressure(charged), kelvin) for model in REAL
    )
    pressure = GaugePressure(charged * (share + way * (1 - share)))
    assert cold.volume_ratio(pressure) <= settled.volume_ratio(pressure) * (1 + 1e-9)


def test_real_nitrogen_becomes_an_ideal_gas_as_the_pressure_goes_to_zero():
    apart = []
    for scale in (1000, 100, 10, 1):
        ideal, real = (gas_of(model, scale, 3 * scale) for model in (Model.BOYLE, Model.NITROGEN_ISOTHERMAL))
        minimum = psi(1.5 * scale)
        apart.append(abs(real.volume_ratio(minimum) - ideal.volume_ratio(minimum)))
    assert apart == sorted(apart, reverse=True)
    assert apart[-1] < 1e-5


@MODELS
@given(st.floats(min_value=100 * PSI, max_value=7500 * PSI), TEMPERATURES)
@settings(max_examples=20, deadline=None)
def test_unpacking_gives_back_the_pressure(model: Model, pressure: float, kelvin: float):
    amount = packing(model, GaugePressure(pressure), kelvin)
    assert unpacked(model, amount, kelvin) == pytest.approx(pressure, rel=1e-9)


@MODELS
@given(st.floats(min_value=100 * PSI, max_value=5000 * PSI), TEMPERATURES, TEMPERATURES)
@settings(max_examples=20, deadline=None)
def test_gas_warmed_and_cooled_again_is_as_it_was(model: Model, pressure: float, one: float, other: float):
    there = at_temperature(model, GaugePressure(pressure), one, other)
    assert at_temperature(model, there, other, one) == pytest.approx(pressure, rel=1e-9)
    assert (there > pressure) == (other > one) or math.isclose(there, pressure, rel_tol=1e-12)


# The traps of the trade, each by name.


@pytest.mark.parametrize("model", SETTLED)
def test_trap_settled_gas_gives_nothing_more_under_its_precharge(model: Model):
    gas = gas_of(model)
    assert gas.volume_ratio(psi(999)) == gas.volume_ratio(psi(1)) == gas.volume_ratio(psi(0)) == 1.0
    assert gas.volume_ratio(psi(1001)) < 1.0
    assert gas.empties_at() == psi(1000)


def test_trap_cold_gas_is_under_its_precharge_with_fluid_still_left():
    gas = gas_of(Model.NITROGEN_ISENTROPIC)
    # 12 bottles of 10 gal: the precharge is passed after 36 gal, while 77 gal are stored.
    at_precharge = gas.volume_ratio(psi(1000))
    assert 120 * (at_precharge - gas.charged_ratio) == pytest.approx(36, abs=0.5)
    assert 120 * gas.stored_ratio == pytest.approx(77, abs=0.5)
    assert gas.empties_at() < psi(600)
    assert gas.volume_ratio(psi(800)) > at_precharge


def test_trap_the_isentrope_begins_at_the_charged_state_not_at_the_precharge():
    gas = gas_of(Model.NITROGEN_ISENTROPIC)
    started_wrong = nitrogen.entropy(absolute(psi(1000)), KELVIN_15C)
    wrong = nitrogen.density(absolute(psi(1000)), KELVIN_15C) / nitrogen.isentropic_density(
        absolute(psi(1200)), started_wrong
    )
    assert gas.volume_ratio(psi(1200)) < 0.7 < wrong


def test_trap_an_exponent_of_1_4_is_not_conservative():
    gas = gas_of(Model.NITROGEN_ISENTROPIC)
    stretch = discharge(Model.NITROGEN_ISENTROPIC, psi(3000), KELVIN_15C).stretch_at(psi(1200))
    exponent = math.log(absolute(psi(3000)) / absolute(psi(1200))) / math.log(stretch)
    assert exponent == pytest.approx(1.82, abs=0.005)
    start, full, least = (absolute(psi(one)) for one in (1000, 3000, 1200))
    by_exponent = 10 * start / full * ((full / least) ** (1 / 1.4) - 1)
    real = 10 * (gas.volume_ratio(psi(1200)) - gas.charged_ratio)
    assert by_exponent == pytest.approx(3.077, abs=0.001)
    assert by_exponent / real == pytest.approx(1.33, abs=0.005)


def test_trap_gauge_and_absolute_ratios_differ_either_way():
    def usable(model: Model, minimum: float) -> float:
        gas = gas_of(model)
        return 10 * (gas.volume_ratio(psi(minimum)) - gas.charged_ratio)

    assert usable(Model.BOYLE_GAUGE, 1200) / usable(Model.BOYLE, 1200) == pytest.approx(1.0025, abs=0.0002)
    assert usable(Model.BOYLE_GAUGE, 2200) / usable(Model.BOYLE, 2200) == pytest.approx(0.997, abs=0.0005)


def test_trap_no_pressure_is_told_for_more_than_the_bottle_holds():
    gas = gas_of(Model.BOYLE)
    with pytest.raises(InputError) as caught:
        gas.pressure_at(1.001)
    assert caught.value.field == "withdrawn"
    with pytest.raises(InputError):
        gas.pressure_at(gas.charged_ratio * 0.99)


def test_a_discharge_that_would_turn_nitrogen_liquid_is_refused_by_name():
    gas = charged_gas(Model.NITROGEN_ISENTROPIC, psi(300), psi(7500), 250.0)
    with pytest.raises(InputError, match="liquid") as caught:
        gas.volume_ratio(psi(150), field="minimum")
    assert caught.value.field == "minimum"


# What is refused.


@MODELS
@pytest.mark.parametrize(
    ("precharge", "charged", "kelvin", "field"),
    [
        (3000, 3000, 288, "precharge"),
        (3500, 3000, 288, "precharge"),
        (0, 3000, 288, "precharge"),
        (-5, 3000, 288, "precharge"),
        (math.nan, 3000, 288, "precharge"),
        (1000, math.nan, 288, "precharge"),
        (1000, 20000, 288, "charged"),
        (1000, 3000, 150, "temperature"),
        (1000, 3000, 450, "temperature"),
        (1000, 3000, math.nan, "temperature"),
    ],
)
def test_gas_out_of_range_is_refused_by_name(model: Model, precharge: float, charged: float, kelvin: float, field: str):
    with pytest.raises(InputError) as caught:
        charged_gas(model, psi(precharge), psi(charged), kelvin)
    assert caught.value.field == field


def test_threads_do_not_share_a_state_of_the_equation():
    expected = [nitrogen.density(AbsolutePressure(step * 1e5), 290.0) for step in range(1, 200)]
    found: dict[int, list[float]] = {}

    def ask(thread: int) -> None:
        found[thread] = [nitrogen.density(AbsolutePressure(step * 1e5), 290.0) for step in range(1, 200)]

    threads = [threading.Thread(target=ask, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert list(found.values()) == [expected] * 4


def test_the_equation_is_loaded_at_the_first_question_only():
    script = "import sys, calcs.surface; print('CoolProp' in sys.modules)"
    ran = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "False"


def test_gauge_and_absolute_are_an_atmosphere_apart():
    assert absolute(GaugePressure(0.0)) == 101_325.0
    assert gauge(absolute(psi(1000))) == pytest.approx(psi(1000))


# Many banks at once.


@MODELS
def test_a_fleet_has_the_same_answers_as_its_banks_one_by_one(model: Model):
    random = np.random.default_rng(7)
    count = 300
    charged = random.uniform(1000, 9000, count) * PSI
    precharge = charged * random.uniform(0.25, 0.9, count)
    minimum = charged * random.uniform(0.15, 0.98, count)
    kelvin = random.uniform(240, 390, count)
    volume = random.uniform(0.01, 0.1, count)
    found = usable_volumes(model, volume, precharge, charged, minimum, kelvin)
    for index in range(count):
        gas = charged_gas(model, GaugePressure(precharge[index]), GaugePressure(charged[index]), float(kelvin[index]))
        one = volume[index] * (gas.volume_ratio(GaugePressure(minimum[index])) - gas.charged_ratio)
        assert found[index] == pytest.approx(one, rel=1e-6, abs=1e-12)


def test_single_figures_stand_for_the_whole_fleet():
    found = usable_volumes(Model.BOYLE_GAUGE, 0.04, 1000 * PSI, 3000 * PSI, np.array([1200, 500, 0]) * PSI, 288.15)
    assert found == pytest.approx([0.02, 0.04 * 2 / 3, 0.04 * 2 / 3])


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"precharge": [1000 * PSI, 4000 * PSI]}, "precharge.1"),
        ({"precharge": [1000 * PSI, math.nan]}, "precharge.1"),
        ({"minimum": [1200 * PSI, 4000 * PSI]}, "minimum.1"),
        ({"minimum": [-1.0, 0.0]}, "minimum.0"),
        ({"temperature": [288.15, 150.0]}, "temperature.1"),
        ({"bottle_volume": [0.0, 0.04]}, "bottle_volume.0"),
        ({"charged": [3000 * PSI, 90e6]}, "charged.1"),
        ({"charged": [3000 * PSI] * 3, "minimum": [1.0] * 2}, "banks"),
        ({"charged": []}, "banks"),
        ({"charged": "three thousand"}, "banks"),
    ],
)
def test_a_fleet_names_its_first_bank_at_fault(changes: dict[str, object], field: str):
    given = {
        "bottle_volume": 0.04,
        "precharge": 1000 * PSI,
        "charged": 3000 * PSI,
        "minimum": 1200 * PSI,
        "temperature": 288.15,
    }
    with pytest.raises(InputError) as caught:
        usable_volumes(Model.NITROGEN_ISOTHERMAL, **{**given, **changes})  # type: ignore[arg-type]
    assert caught.value.field == field
