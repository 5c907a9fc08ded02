"""Copies of what a record refers to, as plain JSON: a record shows things as they stood, whatever becomes of them."""

from decimal import Decimal
from typing import Any

from equipment.models import Instrument, Measured


def quantity(measured: Measured | None) -> dict[str, str] | None:
    """Return a quantity as entered: its digits as text, and its unit."""
    return None if measured is None else {"value": measured.text, "unit": measured.unit}


def plain(number: Decimal | None) -> str:
    """Return a decimal without trailing zeros, or nothing."""
    return "" if number is None else f"{number.normalize():f}"


def as_used(instrument: Instrument) -> dict[str, Any]:
    """Return identity, range and calibration of an instrument."""
    return {
        "kind": instrument.kind,
        "kind_text": instrument.get_kind_display(),
        "serial": instrument.serial,
        "maker": instrument.maker,
        "model": instrument.model,
        "range_low": quantity(instrument.range_low),
        "range_high": quantity(instrument.range_high),
        "accuracy_percent": plain(instrument.accuracy_percent),
        "chart_hours": plain(instrument.chart_hours),
        "calibrated_on": instrument.calibrated_on.isoformat() if instrument.calibrated_on else "",
        "calibration_due_on": instrument.calibration_due_on.isoformat() if instrument.calibration_due_on else "",
        "certificate_number": instrument.certificate_number,
    }
