"""The working behind a figure: steps that can be opened, each shown in the reader's own units."""

from dataclasses import dataclass
from typing import Final

from calcs import units
from calcs.units import Dimension, System

_TEMPERATURE_PLACES: Final = 1
"""No thermometer on a rig tells more."""
_WRITTEN: Final = {"degF": "°F", "degC": "°C"}


@dataclass(frozen=True, slots=True)
class Amount:
    """A number in SI that knows what it measures, so that it can be written in any unit system.

    >>> Amount(20684271.87950509, Dimension.PRESSURE).text("us")
    '3,000 psi'
    """

    si: float
    dimension: Dimension

    def text(self, system: System) -> str:
        """Return the amount with its unit, to six significant figures; a temperature to a tenth of a degree.

        >>> Amount(288.705555555, Dimension.TEMPERATURE).text("si")
        '15.6 °C'
        """
        quantity = units.shown(self.si, self.dimension, system)
        if quantity.unit in _WRITTEN:
            return f"{_readable(round(quantity.value, _TEMPERATURE_PLACES))} {_WRITTEN[quantity.unit]}"
        unit = quantity.unit.replace("^2", "²").replace("^3", "³")
        return f"{_readable(quantity.value)} {unit}".strip()


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a working: what is found, how, from which amounts.

    Attributes:
        label: what the step finds.
        expression: how, in words and signs, with ``{0}``, ``{1}`` … where the amounts stand; empty for a
            figure that stands in the rule itself.
        terms: the amounts in the expression.
        value: what came out.
    """

    label: str
    expression: str
    terms: tuple[Amount, ...]
    value: Amount

    def line(self, system: System = "us") -> str:
        """Return the step as one line.

        >>> psi = lambda value: Amount(value * 6894.757293168361, Dimension.PRESSURE)
        >>> Step("High test", "70 % of {0}", (psi(5000),), psi(3500)).line()
        'High test: 70 % of 5,000 psi = 3,500 psi'
        """
        if not self.expression:
            return f"{self.label}: {self.value.text(system)}"
        written = self.expression.format(*(term.text(system) for term in self.terms))
        return f"{self.label}: {written} = {self.value.text(system)}"


def lines(steps: tuple[Step, ...], system: System = "us") -> list[str]:
    """Return every step as a line."""
    return [step.line(system) for step in steps]


def _readable(value: float) -> str:
    """Write a number with thousands separators, to six figures or to whole units if it is longer."""
    decimals = max(0, 6 - len(str(int(abs(value))))) if value else 0
    text = f"{value:,.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
