"""What a drawdown curve gives away beyond the gas of the bank: where bottles run empty, and points off the curve.

A bottle that has given its last fluid takes no more part: from there on fewer bottles feed the bank, and the volume
per unit of gas rises more steeply with every gallon. Where that happens the gas fills the bottle as it did at
precharge, so the kink reads the precharge itself, which the smooth curve can't. Pressures Pa in the figures of the
model, volumes m³, gas in kg (Pa·m³ for Boyle's law).
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from scipy import special

from calcs.drawdown_fit import CONFIDENCE, PARAMETERS, Fitted, fit, interval, predict
from calcs.gas_curves import Array, Curve

RARE: Final = 0.01
"""How rarely chance alone may make points look off their curve before it is said."""
_VERY_RARE: Final = 0.001
_STEEPER: Final = 1.5
"""How much steeper the curve must run past a kink: a third of the gas gone at once is no scatter and no leak."""
_HINT: Final = 1.2
_MOST_PLACES: Final = 12
_LONE_DROP: Final = 0.5
"""A single reading past the kink counts only when it is under this share of where the curve would be."""
_NEXT_TO_NOTHING: Final = 0.1
"""Under this share of where the curve would be, no scatter of a gauge is the reason."""
_NOTEWORTHY: Final = 5e-4
"""Share of the start pressure that residuals must come to before a pattern in them is worth a word."""


class Pattern(StrEnum):
    """How points lie off their curve."""

    FALLS_FASTER = "falls-faster"
    FALLS_SLOWER = "falls-slower"
    STEP_DOWN = "step-down"
    STEP_UP = "step-up"
    SCATTER = "scatter"


@dataclass(frozen=True, slots=True)
class LackOfFit:
    """Points that lie further off the curve than chance explains.

    Attributes:
        pattern: how.
        point: number of the first reading after a step, from 0; None where it is no step.
        probability: how often chance alone does as much.
    """

    pattern: Pattern
    point: int | None
    probability: float


@dataclass(frozen=True, slots=True)
class Kink:
    """Where bottles ran empty.

    Attributes:
        kept: how many readings lie before it.
        unit_volume: volume per unit of gas there: best figure, and the least and most it can be.
        emptied: gas of the bottles that ran empty: best figure, least, most.
        all_emptied: whether nothing was left feeding the bank.
    """

    kept: int
    unit_volume: tuple[float, float, float]
    emptied: tuple[float, float, float]
    all_emptied: bool


def find_kink(curve: Curve, volumes: Array, pressures: Array, accuracy: float | None) -> Kink | None:
    """Return the kink of one test, or None where the curve is smooth or the readings can't tell.

    The readings before it must lie on a curve of their own, all later ones far under that curve and falling
    steeply; a loss of fluid shifts later readings down but leaves them as steep as before.
    """
    found = None
    for kept in _steep(curve, volumes, pressures, PARAMETERS + 1):
        before = fit(curve, volumes[None, :kept], pressures[None, :kept])
        earlier = None
        if _far_under(curve, before, volumes[kept:], pressures[kept:], accuracy):
            earlier = _kink(curve, before, volumes, pressures, accuracy)
        # A first reading past the kink, taken for the last before it, spoils that curve: the earliest place is right.
        if found is not None and earlier is None:
            break
        found = earlier
    return found


def lack_of_fit(fitted: Fitted, volumes: Array, accuracy: float | None) -> LackOfFit | None:
    """Return how the readings of one test lie off their curve, or None where chance explains it.

    Each pattern is one more term in the fit, held against the scatter that is left (Student's t; the normal law
    when the accuracy is known), with Bonferroni's allowance for how many were looked for. With a known accuracy
    the sum of squares is held against chi-square too.
    """
    residuals = fitted.residuals[0]
    if accuracy is None and np.sqrt(np.mean(residuals**2)) < _NOTEWORTHY * fitted.predicted[0, 0]:
        return None
    found = _strongest(fitted, volumes, accuracy)
    if found is not None and found.probability < RARE:
        return found
    if accuracy is not None:
        chance = float(special.chdtrc(fitted.freedom, float((residuals**2).sum()) / accuracy**2))
        if chance < RARE:
            return LackOfFit(Pattern.SCATTER, None, chance)
    return None


def _steep(curve: Curve, volumes: Array, pressures: Array, least: int) -> list[int]:
    """Return the places, last first, past which the curve at once runs steeper than up to there: the steepest."""
    level = np.log(np.maximum(pressures, 1.0))
    unit = np.exp(curve.volume_at(curve.settled_at(level[:1]), level))
    before = np.maximum(unit[least - 1 : -1] - unit[0], 1e-9 * unit[0]) / volumes[least - 1 : -1]
    after = np.diff(unit)[least - 1 :] / np.diff(volumes)[least - 1 :]
    steepness = after / before
    steepest = np.argsort(steepness)[::-1][:_MOST_PLACES]
    return sorted((least + int(at) for at in steepest if steepness[at] > _HINT), reverse=True)


def _far_under(curve: Curve, before: Fitted, volumes: Array, pressures: Array, accuracy: float | None) -> bool:
    """Tell whether every later reading lies under the curve by far more than scatter, or is next to nothing."""
    expected, spread = predict(curve, before, volumes[None])
    if np.all(pressures < _NEXT_TO_NOTHING * expected[0]):
        return True
    scatter = float(before.scatter[0]) if accuracy is None else accuracy
    width = float(special.stdtrit(before.freedom, 1 - _VERY_RARE)) if accuracy is None else 4.0
    bound = width * scatter * np.sqrt(1 + spread[0] ** 2) + _NOTEWORTHY * before.predicted[0, 0]
    return bool(np.all(pressures < expected[0] - bound))


def _kink(curve: Curve, before: Fitted, volumes: Array, pressures: Array, accuracy: float | None) -> Kink | None:
    """Return the kink past the readings of `before`, or None where what follows is not steep enough for one."""
    kept, gas = before.residuals.shape[1], float(before.gas[0])
    expected = predict(curve, before, volumes[None, kept:])[0][0]
    live = pressures[kept:] >= _NEXT_TO_NOTHING * expected
    if len(live) == 1 and pressures[kept] > _LONE_DROP * expected[0]:
        return None
    start = before.start + np.zeros(len(live))
    after = np.exp(curve.volume_at(start, np.log(np.maximum(pressures[kept:], 1.0))))
    last, first = (float(np.exp(before.start[0]) + volumes[at] / gas) for at in (kept - 1, kept))
    most_left = float((volumes[kept] - volumes[kept - 1]) / (after[0] - last))
    left, at = _past(volumes[kept:][live], after[live], gas, last, first)
    if left is None:
        # A single reading says no more than that the kink lies before it: taken to be half way.
        at = (last + first) / 2
        left = float((first - at) * gas / (after[0] - at))
        least_left = 0.0
    else:
        least_left = left
    if max(left, most_left) * _STEEPER > gas:
        return None
    # The last reading before it may lie past it by as little as the scatter hides.
    slack = _hidden(before, volumes[kept - 1], accuracy)
    most_left = max(left, float((volumes[kept] - volumes[kept - 1] + slack * gas) / (after[0] - last + slack)))
    low, high = (float(each[0]) for each in interval(before, accuracy))
    emptied = (gas - left, max(low - most_left, 0.0), high - least_left)
    return Kink(kept, (at, last - slack, first), emptied, all_emptied=not bool(live.any()))


def _hidden(before: Fitted, volume: float, accuracy: float | None) -> float:
    """Return the volume per unit of gas by which the last reading may lie off its curve unseen, at 95 %."""
    scatter = float(before.scatter[0]) if accuracy is None else accuracy
    width = float(special.stdtrit(before.freedom, 0.5 + CONFIDENCE / 2)) if accuracy is None else 2.0
    fall = abs(float(before.per_gas[0, -1])) * float(before.gas[0]) / volume
    return min(width * scatter / fall, volume / float(before.gas[0]) / 2)


def _past(volumes: Array, units: Array, gas: float, last: float, first: float) -> tuple[float | None, float]:
    """Return the gas left feeding past the kink, by the slope of the later readings, and where the lines cross.

    Readings at which nothing was left are no part of that line; with fewer than two others there is none.
    """
    if len(volumes) < 2 or units[-1] <= units[0]:
        return None, 0.0
    left = float((volumes[-1] - volumes[0]) / (units[-1] - units[0]))
    crossing = float(units[0] - first) / (1 / left - 1 / gas)
    return left, min(max(first - crossing / gas, last), first)


def _strongest(fitted: Fitted, volumes: Array, accuracy: float | None) -> LackOfFit | None:
    """Return the pattern that explains most of the residuals; None with too few readings to look for one."""
    freedom = fitted.freedom - 1
    if freedom < 1:
        return None
    per_volume = fitted.per_gas[0] / np.where(volumes > 0, volumes, np.inf)
    tries: list[tuple[int | None, Array]] = [(None, fitted.per_gas[0] * volumes)]
    # A step before the second or the last reading would be fitted away by one point alone.
    tries += [(at, per_volume * (np.arange(len(volumes)) >= at)) for at in range(2, len(volumes) - 1)]
    basis = np.linalg.qr(np.stack([fitted.per_start[0], fitted.per_gas[0]], axis=1))[0]
    tested = [(at, *_term(fitted, basis, column, accuracy)) for at, column in tries]
    at, sign, statistic = max(tested, key=lambda one: one[2])
    tail = float(special.ndtr(-statistic)) if accuracy is not None else float(special.stdtr(freedom, -statistic))
    names = (Pattern.FALLS_FASTER, Pattern.FALLS_SLOWER) if at is None else (Pattern.STEP_DOWN, Pattern.STEP_UP)
    return LackOfFit(names[0] if sign > 0 else names[1], at, min(1.0, 2 * tail * len(tries)))


def _term(fitted: Fitted, basis: Array, column: Array, accuracy: float | None) -> tuple[float, float]:
    """Return sign and size of the t of one more term; the sign is over zero where fluid is lost."""
    own = column - basis @ (basis.T @ column)
    length = float(own @ own)
    residuals = fitted.residuals[0]
    if length < 1e-12 * float(column @ column):
        return 0.0, 0.0
    along = float(own @ residuals)
    rest = max(float(residuals @ residuals) - along**2 / length, 1e-12 * float(residuals @ residuals))
    scatter = accuracy if accuracy is not None else float(np.sqrt(rest / (fitted.freedom - 1)))
    return float(np.sign(along)), abs(along) / (np.sqrt(length) * scatter)
