"""The gas laws as curves over many states at once: pressure against the volume of a unit of gas.

A least-squares fit asks for a hundred states, many fits for a hundred thousand; asking the equation of state for
each would cost more than all the rest. Each curve is drawn once through exact states and read by the Chebyshev
polynomial through them. Figures are the logarithms of volume over gas (m³/kg for real nitrogen, 1/Pa for Boyle's
law) and of pressure (Pa absolute; gauge for the handbooks' sum), since a gas is nearly a straight line in these.

Sources: those of `calcs.nitrogen`; s(ρ,T) = s1 is solved by Newton's rule with (∂s/∂T)ρ = cv/T.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import Final, Protocol

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from calcs import nitrogen
from calcs.gas import Model, absolute
from calcs.units import AbsolutePressure, GaugePressure

Array = NDArray[np.float64]

_STATES: Final = 21
_STARTS: Final = 5
_START_WINDOW: Final = 0.2
"""How far, as a share, the true start pressure may lie from its reading; a gauge further out is no gauge."""
_COLDEST: Final = 115.0
"""K; no isentrope is drawn further. Nitrogen may turn liquid from here on."""
_STRIDE: Final = 0.1
_NEWTON: Final = 50
_CLOSE: Final = 1e-11


class Curve(Protocol):
    """A law of the gas, read for many states at once."""

    @property
    def lowest(self) -> float:
        """Lowest pressure it is drawn to, in the figures of its model, Pa; below, it is carried on straight."""

    def read(self, start: Array, volume: Array) -> tuple[Array, Array, Array]:
        """Return ln p, and its slopes against `start` and `volume`, all logarithms.

        `start` is the charged gas's volume, `volume` the expanding gas's, both over a unit of gas.
        """

    def settled_at(self, pressure: Array) -> Array:
        """Return ln v of gas settled at the logarithm of `pressure`."""

    def volume_at(self, start: Array, pressure: Array) -> Array:
        """Return ln v where gas charged at `start` has come to the logarithm of `pressure`."""


@dataclass(frozen=True, slots=True)
class BoyleCurve:
    """p·V constant, in absolute or gauge figures."""

    lowest: float = 0.0

    def read(self, start: Array, volume: Array) -> tuple[Array, Array, Array]:
        """Return ln p = −ln v."""
        zero = np.zeros_like(volume)
        return -volume, zero, zero - 1.0

    def settled_at(self, pressure: Array) -> Array:
        """Return ln v = −ln p."""
        return -pressure

    def volume_at(self, start: Array, pressure: Array) -> Array:
        """Return ln v = −ln p."""
        return -pressure


class DrawnCurve:
    """ln p of real nitrogen as a polynomial in the charged volume and in how far the gas has stretched since."""

    def __init__(self, starts: Array, stretches: Array, drawn: Array) -> None:
        """Take ln p `drawn` at Chebyshev's points of `starts` and `stretches`, both logarithms in rising order."""
        self._starts = (float(starts[0]), float(starts[-1]))
        self._stretches = (float(stretches[0]), float(stretches[-1]))
        both = _fitting(len(starts)) @ drawn @ _fitting(len(stretches)).T
        self._terms = np.stack([both, _slope(both, 0, self._starts), _slope(both, 1, self._stretches)])
        self.lowest = float(np.exp(drawn[:, -1].max()))

    def read(self, start: Array, volume: Array) -> tuple[Array, Array, Array]:
        """Return ln p and its slopes."""
        begun = np.clip(start, *self._starts)
        stretch = volume - start
        inside = np.clip(stretch, *self._stretches)
        of_starts = chebyshev.chebvander(_unit(begun, self._starts), self._terms.shape[1] - 1)
        of_stretches = chebyshev.chebvander(_unit(inside, self._stretches), self._terms.shape[2] - 1)
        level, by_start, by_stretch = np.einsum("...a,...b,kab->k...", of_starts, of_stretches, self._terms)
        level = level + by_start * (start - begun) + by_stretch * (stretch - inside)
        return level, by_start - by_stretch, by_stretch

    def settled_at(self, pressure: Array) -> Array:
        """Return ln v of gas not yet stretched, by Newton's rule."""
        start = np.full_like(pressure, sum(self._starts) / 2)
        for _ in range(_NEWTON):
            level, by_start, by_volume = self.read(start, start)
            step = (pressure - level) / (by_start + by_volume)
            start = start + step
            if np.max(np.abs(step)) < _CLOSE:
                break
        return start

    def volume_at(self, start: Array, pressure: Array) -> Array:
        """Return ln v by Newton's rule; ln p falls all along, so it converges."""
        volume = start + np.zeros_like(pressure)
        for _ in range(_NEWTON):
            level, _, slope = self.read(start, volume)
            step = (pressure - level) / slope
            volume = volume + step
            if np.max(np.abs(step)) < _CLOSE:
                break
        return volume


def curve(model: Model, charged: GaugePressure, lowest: GaugePressure, temperature: float) -> Curve:
    """Return the law of `model` for gas charged to about `charged` and let out to `lowest`, Pa gauge, settled at K.

    >>> psi = 6894.757293168361
    >>> settled = curve(Model.NITROGEN_ISOTHERMAL, GaugePressure(3000 * psi), GaugePressure(500 * psi), 288.15)
    >>> start, volume = np.log([1 / 229.70]), np.log([1 / 81.25])
    >>> round(float(np.exp(settled.read(start, volume)[0][0])) / psi)
    1000
    """
    if not model.is_real:
        return BoyleCurve()
    top, floor = absolute(charged), absolute(lowest)
    ends = [unit_volume(model, _capped(top * share), temperature) for share in (1 + _START_WINDOW, 1 - _START_WINDOW)]
    starts = _points(ends[0], ends[1], _STARTS)
    if model is Model.NITROGEN_ISOTHERMAL:
        stretches = _points(0.0, unit_volume(model, floor, temperature) - ends[0], _STATES)
        rows = [_isotherm(stretches + start, temperature) for start in starts.tolist()]
    else:
        entropies = [nitrogen.at_density(math.exp(-start), temperature)[1] for start in starts.tolist()]
        charges = list(zip(starts.tolist(), entropies, strict=True))
        stretches = _points(0.0, _furthest(charges[-1], charges[0], temperature, floor), _STATES)
        rows = [_isentrope(stretches + start, entropy, temperature) for start, entropy in charges]
    return DrawnCurve(starts, stretches, np.array(rows))


def unit_volume(model: Model, pressure: AbsolutePressure, temperature: float) -> float:
    """Return ln v of settled gas at `pressure`, Pa absolute: the curves' measure of a state."""
    if model.is_real:
        return -math.log(nitrogen.density(pressure, temperature))
    return -math.log(pressure)


def _capped(pressure: float) -> AbsolutePressure:
    return AbsolutePressure(min(pressure, nitrogen.MAX_PRESSURE))


@cache
def _fitting(count: int) -> Array:
    """Return what turns values at `count` Chebyshev's points into the terms of the polynomial through them."""
    return np.asarray(np.linalg.inv(chebyshev.chebvander(_points(-1.0, 1.0, count), count - 1)))


def _points(low: float, high: float, count: int) -> Array:
    """Return Chebyshev's points of a span with both ends among them, rising."""
    unit = -np.cos(np.pi * np.arange(count) / (count - 1))
    return np.asarray(low + (unit + 1) / 2 * (high - low))


def _unit(values: Array, span: tuple[float, float]) -> Array:
    return np.asarray(2 * (values - span[0]) / (span[1] - span[0]) - 1)


def _slope(terms: Array, axis: int, span: tuple[float, float]) -> Array:
    """Return the terms of the slope along `axis`, with a last term of nought so that the shape stays."""
    slope = chebyshev.chebder(terms, scl=2 / (span[1] - span[0]), axis=axis)
    padding = [(0, 1) if at == axis else (0, 0) for at in range(2)]
    return np.pad(slope, padding)


def _settle(volume: float, entropy: float, temperature: float) -> tuple[float, float]:
    """Return pressure, Pa absolute, and temperature, K, of gas at ln v and `entropy`; `temperature` is a guess."""
    density = math.exp(-volume)
    for _ in range(20):
        pressure, found, heat = nitrogen.at_density(density, temperature)
        step = (entropy - found) * temperature / heat
        if abs(step) < 1e-9 * temperature:
            break
        temperature += step
    return pressure, temperature


def _furthest(warmest: tuple[float, float], coldest: tuple[float, float], temperature: float, lowest: float) -> float:
    """Return the stretch at which the warmest isentrope has come to `lowest`, or the coldest is too cold to go on."""
    stretch, pressure, warm, cold = 0.0, math.inf, temperature, temperature
    while pressure > lowest and cold > _COLDEST:
        stretch += _STRIDE
        pressure, warm = _settle(warmest[0] + stretch, warmest[1], warm)
        _, cold = _settle(coldest[0] + stretch, coldest[1], cold)
    return stretch


def _isotherm(volumes: Array, temperature: float) -> Array:
    return np.log([nitrogen.at_density(math.exp(-volume), temperature)[0] for volume in volumes.tolist()])


def _isentrope(volumes: Array, entropy: float, temperature: float) -> Array:
    """Return ln p at each of `volumes`, walking from state to state with the last temperature as the guess."""
    pressures = []
    for volume in volumes.tolist():
        pressure, temperature = _settle(volume, entropy, temperature)
        pressures.append(math.log(pressure))
    return np.array(pressures)
