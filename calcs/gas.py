"""The gas of an accumulator by four models: what its charge is, and how it expands as fluid is let out.

Pressures in and out are gauge, Pa, at the bottle; volumes are ratios; temperatures are K. Charging is slow, so
charged gas has settled to its temperature. What differs is the law the gas follows:

``boyle``: ideal gas at constant temperature, p·V constant in absolute pressure.
``boyle-gauge``: the hand sum of the training books, the same on gauge figures ("Formulas and Calculations for
Drilling, Production and Workover", 2nd ed., chapter 2); wrong by about a quarter of a percent at 3,000 psi.
``nitrogen-isothermal``: real nitrogen that stays at its temperature, as after a long wait.
``nitrogen-isentropic``: real nitrogen let out at once: it keeps the entropy of its charged state and grows cold.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Protocol

from calcs import nitrogen
from calcs.errors import InputError
from calcs.units import STANDARD_ATMOSPHERE, AbsolutePressure, Dimension, GaugePressure, to_si

DEFAULT_TEMPERATURE: Final = to_si(60, "degF", Dimension.TEMPERATURE)
"""Gas temperature taken when none is given: 60 °F in K."""


class Model(StrEnum):
    """The law the gas is taken to follow."""

    BOYLE = "boyle"
    BOYLE_GAUGE = "boyle-gauge"
    NITROGEN_ISOTHERMAL = "nitrogen-isothermal"
    NITROGEN_ISENTROPIC = "nitrogen-isentropic"

    @property
    def is_real(self) -> bool:
        """Tell whether the model is of real nitrogen."""
        return self in (Model.NITROGEN_ISOTHERMAL, Model.NITROGEN_ISENTROPIC)

    @property
    def words(self) -> str:
        """Return the model as a reader is told of it."""
        return _WORDS[self]


_WORDS: Final = {
    Model.BOYLE: "ideal gas, constant temperature, absolute pressures",
    Model.BOYLE_GAUGE: "the handbooks' hand sum on gauge pressures",
    Model.NITROGEN_ISOTHERMAL: "real nitrogen, settled to its temperature",
    Model.NITROGEN_ISENTROPIC: "real nitrogen, discharged at once and cold",
}


class Discharge(Protocol):
    """How charged gas expands from its charged state on; `stretch` is its volume over its charged volume."""

    def stretch_at(self, pressure: GaugePressure, *, field: str = "minimum") -> float:
        """Return the stretch at which the gas is at `pressure`; infinite where it never falls so low."""

    def pressure_at(self, stretch: float, *, field: str = "withdrawn") -> GaugePressure:
        """Return the pressure of the gas stretched so far; raises InputError naming `field` if it turns liquid."""

    def temperature_at(self, stretch: float, *, field: str = "withdrawn") -> float:
        """Return the temperature, K, of the gas stretched so far."""


def absolute(pressure: GaugePressure) -> AbsolutePressure:
    """Return a gauge pressure as absolute, over the standard atmosphere."""
    return AbsolutePressure(pressure + STANDARD_ATMOSPHERE)


def gauge(pressure: AbsolutePressure) -> GaugePressure:
    """Return an absolute pressure as gauge, over the standard atmosphere."""
    return GaugePressure(pressure - STANDARD_ATMOSPHERE)


def packing(model: Model, pressure: GaugePressure, temperature: float, *, field: str = "pressure") -> float:
    """Return how much gas a volume holds at `pressure`, in the measure the model keeps count of.

    Density, kg/m³, for real nitrogen; the pressure itself for Boyle's law, absolute or gauge. Packing times volume
    is what stays the same while settled gas is squeezed, so V/V0 = packing(p0)/packing(p). Raises InputError
    naming `field` for a pressure not over zero or over 70 MPa, and ``temperature`` outside 200 to 400 K.

    >>> psi = 6894.757293168361
    >>> round(packing(Model.BOYLE_GAUGE, GaugePressure(1000 * psi), 288.15) / psi, 6)
    1000.0
    >>> round(packing(Model.NITROGEN_ISOTHERMAL, GaugePressure(1000 * psi), 288.15), 2)
    82.43
    """
    nitrogen.checked(absolute(pressure), temperature, field=field)
    if model is Model.BOYLE_GAUGE:
        return float(pressure)
    return nitrogen.density(absolute(pressure), temperature) if model.is_real else float(absolute(pressure))


def unpacked(model: Model, amount: float, temperature: float) -> GaugePressure:
    """Return the pressure at which a volume holds the `amount` that `packing` gives: its inverse."""
    if model is Model.BOYLE_GAUGE:
        return GaugePressure(amount)
    return gauge(nitrogen.pressure(amount, temperature) if model.is_real else AbsolutePressure(amount))


def at_temperature(model: Model, pressure: GaugePressure, settled: float, later: float) -> GaugePressure:
    """Return the pressure of gas shut in a volume, known at `settled` K, once it is at `later` K.

    The density stays; by Boyle's models the absolute pressure goes with the temperature. Raises InputError.

    >>> psi, seventy, forty = 6894.757293168361, 294.26111, 277.59444
    >>> round(at_temperature(Model.BOYLE, GaugePressure(1000 * psi), seventy, forty) / psi, 1)
    942.5
    >>> round(at_temperature(Model.NITROGEN_ISOTHERMAL, GaugePressure(1000 * psi), seventy, forty) / psi, 1)
    933.0
    """
    nitrogen.checked(absolute(pressure), settled)
    nitrogen.checked_temperature(later)
    if model.is_real:
        return gauge(nitrogen.pressure(nitrogen.density(absolute(pressure), settled), later))
    return gauge(AbsolutePressure(absolute(pressure) * later / settled))


@dataclass(frozen=True, slots=True)
class IdealDischarge:
    """Boyle's law; `on_gauge` uses the gauge figures as the handbooks do."""

    charged: GaugePressure
    temperature: float
    on_gauge: bool

    def stretch_at(self, pressure: GaugePressure, *, field: str = "minimum") -> float:
        """Return p1/p."""
        now = self._figure(pressure)
        return self._figure(self.charged) / now if now > 0 else math.inf

    def pressure_at(self, stretch: float, *, field: str = "withdrawn") -> GaugePressure:
        """Return p1/stretch."""
        figure = self._figure(self.charged) / stretch
        return GaugePressure(figure) if self.on_gauge else gauge(AbsolutePressure(figure))

    def temperature_at(self, stretch: float, *, field: str = "withdrawn") -> float:
        """Return the temperature, which stays."""
        return self.temperature

    def _figure(self, pressure: GaugePressure) -> float:
        return pressure if self.on_gauge else absolute(pressure)


@dataclass(frozen=True, slots=True)
class SettledDischarge:
    """Real nitrogen that keeps its temperature."""

    density: float
    temperature: float

    def stretch_at(self, pressure: GaugePressure, *, field: str = "minimum") -> float:
        """Return ρ1/ρ(p, T)."""
        nitrogen.checked(absolute(pressure), self.temperature, field=field)
        return self.density / nitrogen.density(absolute(pressure), self.temperature)

    def pressure_at(self, stretch: float, *, field: str = "withdrawn") -> GaugePressure:
        """Return p(ρ1/stretch, T)."""
        return gauge(nitrogen.pressure(self.density / stretch, self.temperature))

    def temperature_at(self, stretch: float, *, field: str = "withdrawn") -> float:
        """Return the temperature, which stays."""
        return self.temperature


@dataclass(frozen=True, slots=True)
class ColdDischarge:
    """Real nitrogen that keeps the entropy of its charged state: let out too fast to be warmed by its bottle."""

    density: float
    entropy: float

    def stretch_at(self, pressure: GaugePressure, *, field: str = "minimum") -> float:
        """Return ρ1/ρ(p, s1)."""
        return self.density / nitrogen.isentropic_density(absolute(pressure), self.entropy, field=field)

    def pressure_at(self, stretch: float, *, field: str = "withdrawn") -> GaugePressure:
        """Return p(ρ1/stretch, s1)."""
        return gauge(nitrogen.isentropic_pressure(self.density / stretch, self.entropy, field=field)[0])

    def temperature_at(self, stretch: float, *, field: str = "withdrawn") -> float:
        """Return T(ρ1/stretch, s1)."""
        return nitrogen.isentropic_pressure(self.density / stretch, self.entropy, field=field)[1]


def discharge(model: Model, charged: GaugePressure, temperature: float) -> Discharge:
    """Return how gas settled at `charged` and `temperature` expands; raises InputError naming ``charged``."""
    nitrogen.checked(absolute(charged), temperature, field="charged")
    if not model.is_real:
        return IdealDischarge(charged, temperature, on_gauge=model is Model.BOYLE_GAUGE)
    density = nitrogen.density(absolute(charged), temperature)
    if model is Model.NITROGEN_ISOTHERMAL:
        return SettledDischarge(density, temperature)
    return ColdDischarge(density, nitrogen.entropy(absolute(charged), temperature))


@dataclass(frozen=True, slots=True)
class ChargedGas:
    """The gas of a bottle, charged and settled; volumes are ratios to the bottle's gas volume at precharge.

    Attributes:
        model: the law it follows.
        precharge: pressure of the gas alone, fluid out, Pa gauge at the bottle.
        charged: pressure it was charged to, Pa gauge at the bottle.
        temperature: of the settled gas, K.
        charged_ratio: gas volume when charged over gas volume at precharge.
        discharge: how it expands from there.
    """

    model: Model
    precharge: GaugePressure
    charged: GaugePressure
    temperature: float
    charged_ratio: float
    discharge: Discharge

    @property
    def stored_ratio(self) -> float:
        """Return the fluid stored over the bottle's gas volume."""
        return 1.0 - self.charged_ratio

    def volume_ratio(self, pressure: GaugePressure, *, field: str = "minimum") -> float:
        """Return the gas volume at `pressure` over the bottle's; never over 1, where all the fluid is gone.

        Settled gas fills its bottle at the precharge, so a lower pressure gives no more. Cold gas is under the
        precharge with fluid still left, so there the precharge is no limit. Raises InputError naming `field`.
        """
        if self.model is not Model.NITROGEN_ISENTROPIC and pressure <= self.precharge:
            return 1.0
        if pressure >= self.charged:
            return self.charged_ratio
        try:
            return min(1.0, self.charged_ratio * self.discharge.stretch_at(pressure, field=field))
        except InputError:
            # Under the pressure at which the bottle empties the gas may turn liquid; that is no matter by then.
            if self.empties_above(pressure):
                return 1.0
            raise

    def empties_above(self, pressure: GaugePressure) -> bool:
        """Tell whether the last fluid leaves while the gas is still over `pressure`."""
        try:
            return self.empties_at() > pressure
        except InputError:
            return False

    def empties_at(self) -> GaugePressure:
        """Return the gas pressure at which the last fluid leaves: the precharge, or lower where the gas is cold."""
        if self.model is not Model.NITROGEN_ISENTROPIC:
            return self.precharge
        return self.pressure_at(1.0)

    def pressure_at(self, volume_ratio: float, *, field: str = "withdrawn") -> GaugePressure:
        """Return the gas pressure once its volume is `volume_ratio` of the bottle's.

        Raises InputError naming `field` when that is under the charged volume or over the whole bottle: past that
        there is no fluid to let out, and the formula alone would give a false pressure.
        """
        if not self.charged_ratio * (1 - 1e-12) <= volume_ratio <= 1 + 1e-12:
            raise InputError(field, "The gas can't take that volume: the bottle holds no such fluid.", "Give less.")
        return self.discharge.pressure_at(volume_ratio / self.charged_ratio, field=field)

    def temperature_at(self, volume_ratio: float, *, field: str = "withdrawn") -> float:
        """Return the gas temperature, K, once its volume is `volume_ratio` of the bottle's."""
        return self.discharge.temperature_at(volume_ratio / self.charged_ratio, field=field)


def charged_gas(
    model: Model,
    precharge: GaugePressure,
    charged: GaugePressure,
    temperature: float = DEFAULT_TEMPERATURE,
) -> ChargedGas:
    """Return the gas of a bottle with `precharge`, charged slowly to `charged`, both gauge at the bottle.

    Raises InputError naming ``precharge``, ``charged`` or ``temperature``: a precharge not over zero or not under
    the charged pressure, pressures over 70 MPa, temperatures outside 200 to 400 K.

    >>> psi = 6894.757293168361
    >>> gas = charged_gas(Model.NITROGEN_ISENTROPIC, GaugePressure(1000 * psi), GaugePressure(3000 * psi), 288.15)
    >>> round(10 * (gas.volume_ratio(GaugePressure(1200 * psi)) - gas.charged_ratio), 3)
    2.316
    """
    if not precharge > 0:
        raise InputError("precharge", "The precharge is not over zero.", "Give the gauge pressure of the gas alone.")
    if not charged > precharge:
        raise InputError(
            "precharge", "The precharge is not under the charged pressure.", "Give a lower precharge, or check charged."
        )
    held = packing(model, precharge, temperature, field="precharge")
    squeezed = packing(model, charged, temperature, field="charged")
    return ChargedGas(model, precharge, charged, temperature, held / squeezed, discharge(model, charged, temperature))
