"""Nitrogen, the gas of accumulator bottles, by the reference equation of its Helmholtz energy.

Everything is SI and absolute: Pa over vacuum, K, kg/m³, J/(kg·K). Source: Span, Lemmon, Jacobsen, Wagner,
Yokozeki, "A Reference Equation of State for the Thermodynamic Properties of Nitrogen", J. Phys. Chem. Ref.
Data 29 (2000), as implemented by the open library CoolProp. Its density is stated to be good to 0.02 % from 240
to 523 K under 30 MPa (NIST Chemistry WebBook, notes on nitrogen); beyond that it is less certain, not invalid.
"""

import importlib
import threading
from functools import cache
from typing import Any, Final

from calcs.errors import InputError
from calcs.units import AbsolutePressure

MIN_TEMPERATURE: Final = 200.0
"""Coldest gas accepted as settled, K (−100 °F): no bottle stands colder."""
MAX_TEMPERATURE: Final = 400.0
"""Hottest gas accepted as settled, K (260 °F)."""
MAX_PRESSURE: Final = AbsolutePressure(70e6)
"""Highest pressure accepted, Pa over vacuum (10,150 psi)."""


GAS_CONSTANT: Final = 8.31451 / 0.02801348
"""Specific gas constant of nitrogen as the equation has it, J/(kg·K)."""


class _Equation(threading.local):
    """The equation, with one state for each thread: making one costs far more than a sum, and none may be shared.

    The library takes two seconds to load, which is not to be paid by every command that never asks about gas:
    hence it is loaded at the first question and not with this module.
    """

    def __init__(self) -> None:
        self.library: Any = importlib.import_module("CoolProp")
        self.state: Any = self.library.AbstractState("HEOS", "Nitrogen")


@cache
def _equation() -> _Equation:
    return _Equation()


def _at(pair: str, first: float, second: float) -> Any:
    """Return the thread's state set to two of its properties, given by the library's name for the pair."""
    equation = _equation()
    equation.state.update(getattr(equation.library, pair), first, second)
    return equation.state


def density(pressure: AbsolutePressure, temperature: float) -> float:
    """Return the density in kg/m³ of settled gas at `pressure`, Pa absolute, and `temperature`, K.

    Raises InputError outside 200 to 400 K and over zero to 70 MPa.

    >>> round(density(AbsolutePressure(3000 * 6894.757293168361), 288.15), 2)
    229.7
    """
    checked(pressure, temperature)
    return float(_at("PT_INPUTS", pressure, temperature).rhomass())


def pressure(density: float, temperature: float) -> AbsolutePressure:
    """Return the pressure, Pa absolute, of settled gas of `density`, kg/m³, at `temperature`, K.

    >>> round(pressure(229.70, 288.15) / 6894.757293168361)
    3000
    """
    checked_temperature(temperature)
    return AbsolutePressure(_at("DmassT_INPUTS", density, temperature).p())


def entropy(pressure: AbsolutePressure, temperature: float) -> float:
    """Return the specific entropy, J/(kg·K), of settled gas; it is kept while the gas expands fast."""
    checked(pressure, temperature)
    return float(_at("PT_INPUTS", pressure, temperature).smass())


def at_density(density: float, temperature: float) -> tuple[AbsolutePressure, float, float]:
    """Return pressure, Pa absolute, entropy and isochoric heat capacity, J/(kg·K), of gas at ρ, kg/m³, and T, K.

    The equation's own variables, so by far its cheapest question: what curves are made of.
    """
    state = _at("DmassT_INPUTS", density, temperature)
    return AbsolutePressure(state.p()), float(state.smass()), float(state.cvmass())


def state_entropy(pressure: AbsolutePressure, temperature: float) -> float:
    """Return the specific entropy, J/(kg·K), of gas at rest or expanding, at any temperature the equation knows."""
    return float(_at("PT_INPUTS", pressure, temperature).smass())


def isentropic_density(pressure: AbsolutePressure, entropy: float, *, field: str = "minimum") -> float:
    """Return the density, kg/m³, of gas that expanded to `pressure`, Pa absolute, at the same `entropy`.

    Raises InputError naming `field` where the expanding gas would begin to turn liquid.
    """
    return float(_gaseous("PSmass_INPUTS", pressure, entropy, field).rhomass())


def isentropic_pressure(density: float, entropy: float, *, field: str = "withdrawn") -> tuple[AbsolutePressure, float]:
    """Return pressure, Pa absolute, and temperature, K, of gas that expanded to `density` at the same `entropy`.

    Raises InputError naming `field` where the expanding gas would begin to turn liquid.
    """
    state = _gaseous("DmassSmass_INPUTS", density, entropy, field)
    return AbsolutePressure(state.p()), float(state.T())


def checked(pressure: AbsolutePressure, temperature: float, *, field: str = "pressure") -> None:
    """Refuse pressures, Pa absolute, and temperatures, K, the equation is not asked for; raises InputError."""
    checked_temperature(temperature)
    # Written so that not-a-number fails too.
    if not 0 < pressure <= MAX_PRESSURE:
        raise InputError(
            field, "The pressure is under vacuum or over 70 MPa (10,150 psi).", "Check the value, its unit and depth."
        )


def checked_temperature(temperature: float, *, field: str = "temperature") -> None:
    """Refuse settled temperatures, K, outside 200 to 400 K; raises InputError naming `field`."""
    if not MIN_TEMPERATURE <= temperature <= MAX_TEMPERATURE:
        raise InputError(
            field,
            "The gas temperature is outside 200 to 400 K (−100 to 260 °F).",
            "Give the temperature of the settled gas, for instance 60 °F.",
        )


def _gaseous(pair: str, first: float, second: float, field: str) -> Any:
    """Return the state of expanding gas; raises InputError where part of the nitrogen would be liquid."""
    try:
        state = _at(pair, first, second)
    except ValueError as error:  # the library's own, where it finds no such state
        raise InputError(
            field, "The gas can't expand so far.", "Give a higher pressure or a smaller volume."
        ) from error
    if state.phase() == _equation().library.iphase_twophase:
        raise InputError(
            field,
            "Discharged that far at once, the nitrogen would grow so cold that it begins to turn liquid.",
            "Give a higher pressure or a smaller volume, or judge it with the settled model nitrogen-isothermal.",
        )
    return state
