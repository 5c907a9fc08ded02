"""Usable fluid of thousands of banks at once, over arrays.

Asking the equation of nitrogen's state for every bank would take seconds; instead its density and entropy are drawn
once through Chebyshev's points of the accepted range and read as polynomials, which agree with it to better than one
part in ten million. The few banks whose gas grows colder than the drawing are worked out one by one. Everything is
SI; pressures gauge at the bottle, Pa; temperatures K. Sources: those of `calcs.nitrogen` and `calcs.gas`.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import ArrayLike, NDArray

from calcs import nitrogen
from calcs.accumulators import MAX_BOTTLE_VOLUME
from calcs.errors import InputError
from calcs.gas import Model, charged_gas
from calcs.units import STANDARD_ATMOSPHERE, AbsolutePressure, GaugePressure

Array = NDArray[np.float64]

MAX_BANKS: Final = 1_000_000
"""Most banks accepted in one call."""

_LOWEST: Final = AbsolutePressure(STANDARD_ATMOSPHERE / 2)
_COLDEST: Final = 175.0
"""K; isentropes are drawn no further, since near 126 K the curves grow too sharp for a polynomial."""
_SETTLED_POINTS: Final = (48, 24)
_COLD_POINTS: Final = (96, 48)


def usable_volumes(
    model: Model,
    bottle_volume: ArrayLike,
    precharge: ArrayLike,
    charged: ArrayLike,
    minimum: ArrayLike,
    temperature: ArrayLike,
) -> Array:
    """Return the usable fluid per bottle, m³, of many banks: `calcs.accumulators.usable_volume` for arrays.

    Arguments are arrays of one length, or single figures for all: gas volume m³, gauge pressures at the bottle Pa,
    settled temperature K. The answers agree with the single sum within one part in a million. Raises InputError
    naming the first bank at fault, as ``precharge.17``.

    >>> psi, gallon = 6894.757293168361, 0.003785411784
    >>> banks = ([1000 * psi, 1500 * psi], [3000 * psi, 5000 * psi], [1200 * psi, 1700 * psi])
    >>> usable = usable_volumes(Model.NITROGEN_ISENTROPIC, 10 * gallon, *banks, 288.15) / gallon
    >>> [round(float(one), 3) for one in usable]
    [2.316, 2.233]
    """
    given = (bottle_volume, precharge, charged, minimum, temperature)
    try:
        fleet = _Fleet(*(np.array(one, dtype=np.float64) for one in np.broadcast_arrays(*map(np.atleast_1d, given))))
    except (TypeError, ValueError) as error:
        raise InputError(
            "banks", "The banks' figures are not arrays of numbers of one length.", "Check them."
        ) from error
    fleet.check()
    if model is Model.BOYLE_GAUGE:
        return fleet.usable(fleet.precharge / fleet.charged, _boyle(fleet.precharge, fleet.minimum))
    start, full, least = (one + STANDARD_ATMOSPHERE for one in (fleet.precharge, fleet.charged, fleet.minimum))
    if model is Model.BOYLE:
        return fleet.usable(start / full, _boyle(start, least))
    held, squeezed, at_minimum = _densities(fleet.temperature, start, full, least)
    if model is Model.NITROGEN_ISOTHERMAL:
        return fleet.usable(held / squeezed, held / at_minimum)
    return _cold_usable(fleet, held, squeezed)


@dataclass(frozen=True, slots=True)
class _Fleet:
    bottle_volume: Array
    precharge: Array
    charged: Array
    minimum: Array
    temperature: Array

    def check(self) -> None:
        """Refuse the first bank with a figure out of range; written so that not-a-number fails too."""
        if not 1 <= self.precharge.size <= MAX_BANKS or self.precharge.ndim != 1:
            raise InputError("banks", "There are no banks, or over a million.", "Give one to a million banks.")
        highest = nitrogen.MAX_PRESSURE - STANDARD_ATMOSPHERE
        settled = (self.temperature >= nitrogen.MIN_TEMPERATURE) & (self.temperature <= nitrogen.MAX_TEMPERATURE)
        volume = (self.bottle_volume > 0) & (self.bottle_volume <= MAX_BOTTLE_VOLUME)
        _refuse("bottle_volume", volume, "The bottle volume is not over zero or is absurd.")
        _refuse("temperature", settled, "The gas temperature is outside 200 to 400 K (−100 to 260 °F).")
        _refuse("charged", self.charged <= highest, "The charged pressure is over 70 MPa (10,150 psi).")
        _refuse("precharge", self.precharge > 0, "The precharge is not over zero.")
        _refuse("precharge", self.precharge < self.charged, "The precharge is not under the charged pressure.")
        _refuse("minimum", self.minimum >= 0, "The minimum pressure is under zero.")
        _refuse("minimum", self.minimum <= self.charged, "The minimum is over the charged pressure.")

    def usable(self, charged_ratio: Array, minimum_ratio: Array) -> Array:
        """Return the fluid between two gas volumes over the bottle's; none comes once the bottle is empty."""
        return np.asarray(self.bottle_volume * (np.minimum(minimum_ratio, 1.0) - charged_ratio))


def _refuse(field: str, good: NDArray[np.bool_], reason: str) -> None:
    if not good.all():
        raise InputError(f"{field}.{int(np.argmin(good))}", reason, "Check the value and its unit.")


def _boyle(start: Array, least: Array) -> Array:
    """Return start/least, where nothing is left to divide by anything over one will do."""
    return np.divide(start, least, out=np.full_like(start, math.inf), where=least > 0)


class _Drawing:
    """A function of two figures in −1 … 1, drawn through Chebyshev's points of both."""

    def __init__(self, values: Array) -> None:
        rows, columns = values.shape
        self.coefficients = _transform(rows) @ values @ _transform(columns).T

    def along(self, second: Array) -> Array:
        """Return, for each second figure, the polynomial left in the first."""
        vander = chebyshev.chebvander(second, self.coefficients.shape[1] - 1)
        return np.asarray(vander @ self.coefficients.T)

    def read(self, first: Array, along: Array) -> Array:
        """Return the function at the first figure on the polynomials `along` gave."""
        vander = chebyshev.chebvander(first, self.coefficients.shape[0] - 1)
        return np.asarray(np.einsum("nk,nk->n", vander, along))


def _points(count: int) -> Array:
    return np.asarray(np.cos(np.pi * (np.arange(count) + 0.5) / count))


def _transform(count: int) -> Array:
    """Return the matrix from values at Chebyshev's points to coefficients."""
    scale = np.full(count, 2.0 / count)
    scale[0] = 1.0 / count
    return np.asarray(scale[:, None] * chebyshev.chebvander(_points(count), count - 1).T)


# Pressure is drawn over its square root: the curves bend most where it is low.
_ROOTS: Final = (math.sqrt(_LOWEST), math.sqrt(nitrogen.MAX_PRESSURE))


def _share(pressure: Array) -> Array:
    """Return pressures as −1 … 1."""
    return np.asarray((np.sqrt(pressure) - _ROOTS[0]) * (2 / (_ROOTS[1] - _ROOTS[0])) - 1)


def _drawn_pressures(count: int) -> list[AbsolutePressure]:
    return [
        AbsolutePressure(float((_ROOTS[0] + (_ROOTS[1] - _ROOTS[0]) * (one + 1) / 2) ** 2)) for one in _points(count)
    ]


def _warmth(temperature: Array) -> Array:
    """Return settled temperatures as −1 … 1."""
    span = nitrogen.MAX_TEMPERATURE - nitrogen.MIN_TEMPERATURE
    return np.asarray((temperature - nitrogen.MIN_TEMPERATURE) * (2 / span) - 1)


@dataclass(frozen=True, slots=True)
class _Settled:
    """Gas at rest: density over pressure, and entropy with the ideal gas's logarithm of pressure taken out."""

    packing: _Drawing
    entropy: _Drawing


@dataclass(frozen=True, slots=True)
class _Cold:
    """Expanding gas: density over pressure against the share of entropy between the coldest and the hottest drawn."""

    packing: _Drawing
    coldest: Array
    hottest: Array


@cache
def _settled() -> _Settled:
    rows, columns = _SETTLED_POINTS
    span = nitrogen.MAX_TEMPERATURE - nitrogen.MIN_TEMPERATURE
    temperatures = [float(nitrogen.MIN_TEMPERATURE + span * (one + 1) / 2) for one in _points(columns)]
    packing, entropy = np.empty((rows, columns)), np.empty((rows, columns))
    for row, pressure in enumerate(_drawn_pressures(rows)):
        for column, temperature in enumerate(temperatures):
            packing[row, column] = nitrogen.density(pressure, temperature) / pressure
            entropy[row, column] = _reduced(nitrogen.entropy(pressure, temperature), pressure)
    return _Settled(_Drawing(packing), _Drawing(entropy))


@cache
def _cold() -> _Cold:
    rows, columns = _COLD_POINTS
    pressures = _drawn_pressures(rows)
    ends = np.array(
        [[nitrogen.state_entropy(p, end) for end in (_COLDEST, nitrogen.MAX_TEMPERATURE)] for p in pressures]
    )
    shares = (_points(columns) + 1) / 2
    packing = np.array(
        [
            [nitrogen.isentropic_density(p, float(cold + (hot - cold) * share)) / p for share in shares]
            for p, (cold, hot) in zip(pressures, ends, strict=True)
        ]
    )
    reduced = ends + nitrogen.GAS_CONSTANT * np.log(pressures)[:, None]
    transform = _transform(rows)
    return _Cold(_Drawing(packing), transform @ reduced[:, 0], transform @ reduced[:, 1])


def _reduced(entropy: float, pressure: AbsolutePressure) -> float:
    return entropy + nitrogen.GAS_CONSTANT * math.log(pressure)


def _densities(temperature: Array, *pressures: Array) -> list[Array]:
    drawing = _settled().packing
    along = drawing.along(_warmth(temperature))
    return [pressure * drawing.read(_share(pressure), along) for pressure in pressures]


def _cold_usable(fleet: _Fleet, held: Array, squeezed: Array) -> Array:
    full, least = fleet.charged + STANDARD_ATMOSPHERE, fleet.minimum + STANDARD_ATMOSPHERE
    entropy, drawn = _settled().entropy, _cold()
    # What the ideal gas's entropy loses by the higher pressure is put back, and taken out again at the lower one.
    start = entropy.read(_share(full), entropy.along(_warmth(fleet.temperature)))
    reduced = start + nitrogen.GAS_CONSTANT * np.log(least / full)
    first = _share(least)
    vander = chebyshev.chebvander(first, drawn.coldest.size - 1)
    cold, hot = vander @ drawn.coldest, vander @ drawn.hottest
    share = (reduced - cold) * (2 / (hot - cold)) - 1
    inside = share >= -1
    density = least * drawn.packing.read(first, drawn.packing.along(np.clip(share, -1, 1)))
    usable = fleet.usable(held / squeezed, held / density)
    for index in np.flatnonzero(~inside):
        usable[index] = _single(fleet, int(index))
    return usable


def _single(fleet: _Fleet, index: int) -> float:
    figures = (float(one[index]) for one in (fleet.precharge, fleet.charged, fleet.minimum))
    precharge, charged, minimum = (GaugePressure(one) for one in figures)
    try:
        gas = charged_gas(Model.NITROGEN_ISENTROPIC, precharge, charged, float(fleet.temperature[index]))
        # Asked first since it is quick to answer: most of the banks this cold are empty by then.
        ratio = 1.0 if gas.empties_above(minimum) else gas.volume_ratio(minimum)
    except InputError as error:
        raise InputError(f"{error.field}.{index}", error.reason, error.remedy) from error
    return float(fleet.bottle_volume[index]) * (ratio - gas.charged_ratio)
