"""How long the sums of accumulators take, as ratios to bare questions to the equation of state in the same run.

Bare means CoolProp asked directly for the states the answer consists of, with nothing around it.
"""

import time

import CoolProp
import numpy as np
from CoolProp.CoolProp import PropsSI

from bench.contest import Contest
from calcs.accumulators import Bank
from calcs.closing import Function, closing_sequence
from calcs.drawdown import DrawdownTest, Nameplate, Reading, fit_drawdown, nominal_pressures
from calcs.fleets import usable_volumes
from calcs.gas import Model, absolute
from calcs.units import STANDARD_ATMOSPHERE, Dimension, GaugePressure, to_si

PSI = to_si(1, "psi", Dimension.PRESSURE)
GALLON = to_si(1, "gal", Dimension.VOLUME)
FIFTEEN = to_si(15, "degC", Dimension.TEMPERATURE)
START, PRECHARGE = GaugePressure(3000 * PSI), GaugePressure(1000 * PSI)
REAL = (Model.NITROGEN_ISOTHERMAL, Model.NITROGEN_ISENTROPIC)

TIMES_BARE, EXTRA_S = 12, 0.001
FIT_LIMIT = 19
BANKS, SPEED_UP, AGREEMENT = 10_000, 50, 1e-6
STATE = CoolProp.AbstractState("HEOS", "Nitrogen")


def contests() -> list[Contest]:
    """Ask for one sequence, one fit and one fleet by each model of real nitrogen."""
    return [ask(model) for ask in (sequence, fit, fleet) for model in REAL]


def sequence(model: Model) -> Contest:
    """Twelve functions against twelve times the bare densities of the same states and a millisecond."""
    bank = Bank(10 * GALLON, PRECHARGE, model, count=24, temperature=FIFTEEN)
    functions = [Function(f"function {number}", 4 * GALLON) for number in range(1, 13)]
    steps = closing_sequence(bank, START, functions).steps
    states = [(float(absolute(START)), FIFTEEN)]
    states += [(float(absolute(step.pressure)), step.gas_temperature or FIFTEEN) for step in steps if step.pressure]

    def floor() -> None:
        ends = time.perf_counter() + EXTRA_S
        while time.perf_counter() < ends:
            pass
        for _ in range(TIMES_BARE):
            densities(states)

    return Contest(
        question=f"12 functions in sequence, {model.value}",
        ours=lambda: closing_sequence(bank, START, functions),
        floor=floor,
        floor_is=f"{TIMES_BARE} × the bare densities of its {len(states)} states, and 1 ms",
        limit=1.0,
        rounds=60,
    )


def fit(model: Model) -> Contest:
    """A drawdown of eight readings, with what all four models make of it, against its states asked for directly.

    The limit stands for the 20 ms a person typing readings may wait, on a machine where the floor takes 1.05 ms.
    """
    volumes = [5.0 * step * GALLON for step in range(8)]
    plate = Nameplate(10 * GALLON, 12, PRECHARGE)
    blank = tuple(Reading(volume, GaugePressure(START - volume)) for volume in volumes)
    noise = np.random.default_rng(7).normal(0, 5 * PSI, len(volumes)).tolist()
    pressures = nominal_pressures(DrawdownTest(blank, plate, model, FIFTEEN))
    points = tuple(
        Reading(volume, GaugePressure((pressure or 0.0) + off))
        for volume, pressure, off in zip(volumes, pressures, noise, strict=True)
    )
    test = DrawdownTest(points, plate, model, FIFTEEN)
    readings = [float(absolute(point.pressure)) for point in points]
    STATE.update(CoolProp.PT_INPUTS, readings[0], FIFTEEN)
    entropy = STATE.smass()

    def floor() -> None:
        densities([(reading, FIFTEEN) for reading in readings])
        for reading in readings:
            STATE.update(CoolProp.PSmass_INPUTS, reading, entropy)
            STATE.rhomass()

    return Contest(
        question=f"fit of 8 readings, {model.value}",
        ours=lambda: fit_drawdown(test),
        floor=floor,
        floor_is="its 8 states asked for once, settled and at once",
        limit=FIT_LIMIT,
        rounds=60,
    )


def fleet(model: Model) -> Contest:
    """Usable fluid of many banks by array against a loop over CoolProp's high-level function; answers compared."""
    chance = np.random.default_rng(7)
    precharge, charged = chance.uniform(900, 1500, BANKS) * PSI, chance.uniform(2800, 5000, BANKS) * PSI
    minimum, temperature = chance.uniform(1600, 2200, BANKS) * PSI, chance.uniform(270, 320, BANKS)
    given = (precharge, charged, minimum, temperature)

    def ours() -> np.ndarray:
        return usable_volumes(model, 10 * GALLON, *given)

    ours()  # the first call draws the equation; later ones only read it

    def floor() -> None:
        looped = np.array([one_bank(model, *bank) for bank in zip(*(each.tolist() for each in given), strict=True)])
        off = float(np.max(np.abs(ours() / looped - 1)))
        if not off <= AGREEMENT:
            raise AssertionError(f"The array and the loop differ by {off:.1e}.")

    return Contest(
        question=f"usable fluid of {BANKS:,} banks, {model.value}",
        ours=ours,
        floor=floor,
        floor_is=f"a loop over PropsSI, same answers within {AGREEMENT:.0e}",
        limit=1 / SPEED_UP,
        rounds=2,
    )


def densities(states: list[tuple[float, float]]) -> None:
    """Ask for the density of each state, pressure Pa absolute and temperature K, and for nothing else."""
    for pressure, temperature in states:
        STATE.update(CoolProp.PT_INPUTS, pressure, temperature)
        STATE.rhomass()


def one_bank(model: Model, precharge: float, charged: float, minimum: float, temperature: float) -> float:
    """Usable fluid of one bank in m³ as anybody would write it with the high-level function."""
    start, full, least = (each + STANDARD_ATMOSPHERE for each in (precharge, charged, minimum))
    held = PropsSI("D", "P", start, "T", temperature, "Nitrogen")
    squeezed = PropsSI("D", "P", full, "T", temperature, "Nitrogen")
    if model is Model.NITROGEN_ISENTROPIC:
        entropy = PropsSI("S", "P", full, "T", temperature, "Nitrogen")
        left = PropsSI("D", "P", least, "S", entropy, "Nitrogen")
    else:
        left = PropsSI("D", "P", least, "T", temperature, "Nitrogen")
    return 10 * GALLON * float(min(held / left, 1.0) - held / squeezed)
