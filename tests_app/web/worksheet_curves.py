"""Fluid delivered against pressure, one curve a gas law: the same numbers for the plot and for the table under it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from calcs.accumulators import Bank
from calcs.errors import InputError
from calcs.gas import ChargedGas, Model
from calcs.units import DISPLAY_UNITS, Dimension, GaugePressure, System, from_si, to_si
from tests_app.web.bank_fields import MODEL_TITLES
from tests_app.web.worksheet_form import Question

_MOST_ROWS: Final = 30
_STEPS: Final = (1.0, 2.0, 5.0)


@dataclass(frozen=True)
class Point:
    """Fluid the bank has given, m³, once at a pressure, Pa gauge at surface; `all_out` where none is left."""

    pressure: float
    delivered: float
    all_out: bool


@dataclass(frozen=True)
class Curve:
    """One law's course from the charged pressure down.

    Attributes:
        model: the law.
        points: one for each pressure of the grid; None where the law has no answer for it.
        end: where the last fluid leaves; None where that can't be told.
    """

    model: Model
    points: tuple[Point | None, ...]
    end: Point | None

    @property
    def title(self) -> str:
        """Return the law as a heading."""
        return MODEL_TITLES[self.model]

    @cached_property
    def drawn(self) -> list[Point]:
        """Return the points of the line: those before the last fluid leaves, and that one."""
        line = [one for one in self.points if one is not None and not one.all_out]
        return line if self.end is None else [*line, self.end]


@dataclass(frozen=True)
class Curves:
    """Every law's curve over the same falling pressures, Pa."""

    pressures: tuple[float, ...]
    curves: tuple[Curve, ...]


def curves_of(question: Question, marks: Sequence[float], units: System) -> Curves:
    """Return the curves over round pressures of the reader's unit, the `marks`, Pa, among them."""
    gases = [(model, *_charged(question, model)) for model in MODEL_TITLES]
    ends = [(model, bank, gas, _end(bank, gas)) for model, bank, gas in gases if gas is not None]
    low = min([*marks, *(end.pressure for *_, end in ends if end is not None)])
    pressures = _grid(question.charged, max(0.0, low), marks, units)
    curves = tuple(
        Curve(model, tuple(_point(bank, gas, pressure) for pressure in pressures), end)
        for model, bank, gas, end in ends
    )
    return Curves(pressures, curves)


def _charged(question: Question, model: Model) -> tuple[Bank, ChargedGas | None]:
    bank = replace(question.bank, model=model)
    try:
        return bank, bank.gas(question.charged)
    except InputError:
        return bank, None


def _end(bank: Bank, gas: ChargedGas) -> Point | None:
    try:
        return Point(bank.at_surface(gas.empties_at()), bank.gas_volume * gas.stored_ratio, all_out=True)
    except InputError:
        return None


def _point(bank: Bank, gas: ChargedGas, pressure: float) -> Point | None:
    try:
        ratio = gas.volume_ratio(bank.at_bottle(GaugePressure(pressure)))
    except InputError:
        return None
    return Point(pressure, bank.gas_volume * (ratio - gas.charged_ratio), all_out=ratio >= 1.0)


def _grid(charged: float, low: float, marks: Sequence[float], units: System) -> tuple[float, ...]:
    """Return falling pressures, Pa: charged, the round ones under it down to `low`, and the marks."""
    unit = DISPLAY_UNITS[units][Dimension.PRESSURE]
    top, bottom = from_si(charged, unit, Dimension.PRESSURE), from_si(low, unit, Dimension.PRESSURE)
    step = _round_step((top - bottom) / _MOST_ROWS)
    count = range(math.floor(bottom / step), math.ceil(top / step))
    round_ones = [to_si(number * step, unit, Dimension.PRESSURE) for number in count]
    between = [one for one in marks if low <= one < charged]
    return tuple(
        sorted({*(round(one, 3) for one in (*round_ones, *between) if one < charged - 1), charged}, reverse=True)
    )


def _round_step(least: float) -> float:
    """Return the next of 1, 2, 5, 10, 20 … not under `least`."""
    power = 10.0 ** math.floor(math.log10(max(least, 1e-9)))
    return next(step * power for step in (*_STEPS, 10.0) if step * power >= least)
