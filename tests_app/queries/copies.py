"""Copies of what a record refers to, as plain JSON: a record shows things as they stood, whatever becomes of them."""

from typing import Any

from calcs.units import Dimension, Quantity, from_si
from equipment.models import Component, Position
from equipment.queries.copies import as_used, plain, quantity

__all__ = ["as_tested", "as_used", "closes_on", "in_round_unit", "plain", "quantity"]

_DIGITS = 6
"""Decimals kept of a computed limit: far under what any gauge shows, far over what a conversion spoils."""


def in_round_unit(si: float, dimension: Dimension, *units: str) -> Quantity:
    """Return an SI value in the first of `units` that makes it a whole number, else in the first of them.

    Limits are worked out in SI; a rule of 250 psi or 1,400 kPa is to be read, and compared, as it is written.
    """
    values = [(unit, from_si(si, unit, dimension)) for unit in units]
    for unit, value in values:
        if abs(value - round(value)) < 10**-_DIGITS:
            return Quantity(float(round(value)), unit)
    unit, value = values[0]
    return Quantity(round(value, _DIGITS), unit)


def as_tested(component: Component, position: Position) -> dict[str, Any]:
    """Return identity and ratings of a component, and where it stood."""
    return {
        "kind": component.kind,
        "kind_text": component.get_kind_display(),
        "serial": component.serial,
        "maker": component.maker,
        "model": component.model,
        "nominal_bore": quantity(component.nominal_bore),
        "rated_working_pressure": quantity(component.rated_working_pressure),
        "temperature_class": component.temperature_class,
        "closes_on": closes_on(component),
        "position": position.name,
        "position_group": position.group,
        "position_group_text": position.get_group_display(),
    }


def closes_on(component: Component) -> str:
    """Return what a component closes on, in words: ``3.5 in to 5.5 in, open hole``; empty when not on file."""
    sizes = [str(size) for size in (component.closes_on_smallest, component.closes_on_largest) if size is not None]
    words = [" to ".join(dict.fromkeys(sizes))] if sizes else []
    if component.closes_on_open_hole:
        words.append("open hole")
    return ", ".join(words)
