"""Writing answers: quantities as value and unit, free of the noise of binary fractions."""

from typing import Any

from calcs import units
from calcs.units import Dimension, System


def quantity(si: float, dimension: Dimension, system: System) -> dict[str, Any]:
    """Return an SI value as ``{"value", "unit"}`` in the display unit of `system`.

    >>> quantity(1723689.3232920903, Dimension.PRESSURE, "us")
    {'value': 250.0, 'unit': 'psi'}
    """
    found = units.shown(si, dimension, system)
    return {"value": trimmed(found.value), "unit": found.unit}


def quantity_or_none(si: float | None, dimension: Dimension, system: System) -> dict[str, Any] | None:
    """Return an SI value as ``{"value", "unit"}``, or None for none."""
    return None if si is None else quantity(si, dimension, system)


def trimmed(value: float) -> float:
    """Return `value` to twelve significant figures, so that 250 psi there and back is 250."""
    return float(f"{value:.12g}")
