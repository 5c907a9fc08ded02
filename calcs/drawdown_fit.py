"""Least squares on a drawdown curve: how much gas the bank holds, and how surely, from pressures after volumes.

The gas takes up v = v1 + V/m per unit of gas once V of fluid is out: v1 its charged state, m the gas of the whole
bank. A smooth curve knows no more than these two, and m alone is of the bank.

Decisions, with their reasons:

*Residuals are of pressure, all of one weight*: the gauge's scatter is the same along its scale. The straight line
of 1/P on V would want weights of P⁴ and is biased without; with them it serves as the start of the search here.

*The start pressure is a reading like every other*, so v1 is fitted, not taken from the first reading. To take it as
exact would lean the whole curve on the error of one gauge reading, and the interval would not know.

*The interval stands on 1/m*, in which the curve is nearly straight, and is turned into m at the end: it is lopsided,
as it should be, and open above where the fall of pressure is lost in the scatter.

Arrays have one row a test, so that thousands can be fitted at once. Pressures are in the figures of the model (Pa
absolute; gauge for the handbooks' sum), volumes m³, m in kg (in Pa·m³ for Boyle's law).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import special

from calcs.gas_curves import Array, Curve

PARAMETERS: Final = 2
"""The charged state and the gas of the bank."""
CONFIDENCE: Final = 0.95
_ROUNDS: Final = 40
_CLOSE: Final = 1e-11
_LONGEST_STEP: Final = 0.5


@dataclass(frozen=True, slots=True)
class Fitted:
    """What the curves fitted came to; one row a test.

    Attributes:
        gas: m of each.
        start: ln v1 of each.
        predicted: pressures on the fitted curve.
        residuals: readings less `predicted`.
        per_gas: slope of each prediction against −ln m.
        per_start: slope of each prediction against ln v1.
        spread: standard error of 1/m, as a share, for a scatter of 1 Pa in the readings.
    """

    gas: Array
    start: Array
    predicted: Array
    residuals: Array
    per_gas: Array
    per_start: Array
    spread: Array

    @property
    def freedom(self) -> int:
        """Return the degrees of freedom left: readings less parameters."""
        return int(self.residuals.shape[1]) - PARAMETERS

    @property
    def scatter(self) -> Array:
        """Return the scatter of a reading about its curve, Pa: the root of the residuals' mean square."""
        return np.asarray(np.sqrt((self.residuals**2).sum(axis=1) / self.freedom))


def fit(curve: Curve, volumes: Array, pressures: Array) -> Fitted:
    """Return the least-squares fit of each row of `pressures` after each row of `volumes`.

    Needs three readings or more a row, the pressures falling on the whole.

    >>> from calcs.gas_curves import BoyleCurve
    >>> volumes = np.array([[0.0, 1.0, 2.0]])
    >>> found = fit(BoyleCurve(), volumes, 12.0 / (4.0 + volumes))
    >>> round(float(found.gas[0]), 9)
    12.0
    """
    at = _straight_line(curve, volumes, pressures)
    for _ in range(_ROUNDS):
        predicted, per_start, per_gas = _readings(curve, volumes, at)
        step = _step(per_start, per_gas, pressures - predicted)
        if np.max(np.abs(step)) < _CLOSE:
            break
        at = at + np.clip(step, -_LONGEST_STEP, _LONGEST_STEP)
    squares = _squares(per_start, per_gas)
    spread = np.sqrt(squares[0] / _determinant(squares))
    return Fitted(np.exp(-at[1]), at[0], predicted, pressures - predicted, per_gas, per_start, spread)


def predict(curve: Curve, fitted: Fitted, volumes: Array) -> tuple[Array, Array]:
    """Return the pressures of the fitted curves after `volumes`, and their standard errors for a scatter of 1 Pa."""
    predicted, per_start, per_gas = _readings(curve, volumes, np.stack([fitted.start, -np.log(fitted.gas)]))
    starts, crossed, gases = squares = _squares(fitted.per_start, fitted.per_gas)
    variance = gases[:, None] * per_start**2 - 2 * crossed[:, None] * per_start * per_gas + starts[:, None] * per_gas**2
    return predicted, np.asarray(np.sqrt(variance / _determinant(squares)[:, None]))


def interval(fitted: Fitted, accuracy: float | None = None, widening: float = 1.0) -> tuple[Array, Array]:
    """Return the 95 % interval of m of each row: low and high, the latter infinite where the curve sets no limit.

    Args:
        fitted: the fits.
        accuracy: scatter of one reading (one standard deviation), Pa, when it is known; otherwise it is taken
            from the residuals, with Student's t for the few there are.
        widening: what the half width is multiplied by, for readings that lie off their curve.

    Source: Guide to the Expression of Uncertainty in Measurement (JCGM 100), annex G, for t; the delta method.
    """
    tail = 0.5 + CONFIDENCE / 2
    if accuracy is None:
        half = float(special.stdtrit(fitted.freedom, tail)) * fitted.scatter * fitted.spread
    else:
        half = float(special.ndtri(tail)) * accuracy * fitted.spread
    half = half * widening
    bounded = half < 1
    high = np.where(bounded, fitted.gas / np.where(bounded, 1 - half, 1.0), np.inf)
    return np.asarray(fitted.gas / (1 + half)), high


def _straight_line(curve: Curve, volumes: Array, pressures: Array) -> Array:
    """Return ln v1 and −ln m by the straight line of v on V, weighted as the pressures are in v."""
    level = np.log(np.maximum(pressures, max(curve.lowest, 1.0)))
    first = curve.settled_at(level[:, :1])
    unit = np.exp(curve.volume_at(first, level))
    slope = curve.read(first + np.zeros_like(unit), np.log(unit))[2]
    weight = (np.exp(level) * slope / unit) ** 2
    weight = weight / weight.sum(axis=1, keepdims=True)
    volume_mean, unit_mean = ((weight * each).sum(axis=1, keepdims=True) for each in (volumes, unit))
    off = weight * (volumes - volume_mean)
    rise = (off * (unit - unit_mean)).sum(axis=1) / (off * (volumes - volume_mean)).sum(axis=1)
    begun = unit_mean[:, 0] - rise * volume_mean[:, 0]
    # Scatter can tilt a short line the wrong way; the search still needs gas that has a volume.
    least = unit[:, 0] * 1e-3
    return np.asarray(np.log([np.maximum(begun, least), np.maximum(rise, least / volumes.max(axis=1))]))


def _readings(curve: Curve, volumes: Array, at: Array) -> tuple[Array, Array, Array]:
    """Return the pressures after `volumes` and their slopes against ln v1 and −ln m."""
    start = at[0][:, None] + np.zeros_like(volumes)
    begun, added = np.exp(start), np.exp(at[1])[:, None] * volumes
    level, by_start, by_volume = curve.read(start, np.log(begun + added))
    pressure = np.exp(level)
    share = begun / (begun + added)
    return pressure, pressure * (by_start + by_volume * share), pressure * by_volume * (1 - share)


def _step(per_start: Array, per_gas: Array, residuals: Array) -> Array:
    """Return Gauss and Newton's step in ln v1 and −ln m."""
    starts, crossed, gases = squares = _squares(per_start, per_gas)
    by_start, by_gas = ((slope * residuals).sum(axis=1) for slope in (per_start, per_gas))
    steps = np.stack([gases * by_start - crossed * by_gas, starts * by_gas - crossed * by_start])
    return np.asarray(steps / _determinant(squares))


def _squares(per_start: Array, per_gas: Array) -> tuple[Array, Array, Array]:
    return (per_start**2).sum(axis=1), (per_start * per_gas).sum(axis=1), (per_gas**2).sum(axis=1)


def _determinant(squares: tuple[Array, Array, Array]) -> Array:
    starts, crossed, gases = squares
    return starts * gases - crossed**2
