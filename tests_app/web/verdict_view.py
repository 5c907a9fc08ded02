"""A kept verdict made ready for a page: each hold with its figures in the reader's unit and on the rig's clock."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from calcs.units import DISPLAY_UNITS, Dimension, System, shown

Hold = Mapping[str, Any]

_PRESSURES: Final = ("start_pressure", "end_pressure", "min_pressure", "max_pressure", "decay", "highest_before")


@dataclass(frozen=True)
class Verdict:
    """The holds of a step as a page shows them, in the shape of `documents.content.HoldContent`.

    There is no low one where none is asked.
    """

    passes: bool
    typed: bool
    low: Hold | None
    high: Hold


def verdict_view(verdict: Mapping[str, Any] | None, *, units: System, zone: ZoneInfo) -> Verdict | None:
    """Return the verdict for a page, None where the step is not judged yet."""
    if not verdict:
        return None
    low = _hold(verdict["low"], units, zone) if verdict["low"] else None
    return Verdict(verdict["passes"], verdict["evidence"] == "typed", low, _hold(verdict["high"], units, zone))


def _hold(hold: Hold, units: System, zone: ZoneInfo) -> Hold:
    ready = dict(hold)
    for name in _PRESSURES:
        ready[name] = _quantity(hold.get(name), Dimension.PRESSURE, units)
    ready["decay_rate"] = _quantity(hold.get("decay_rate"), Dimension.PRESSURE_RATE, units)
    for name in ("start_at", "end_at"):
        ready[name] = _moment(hold.get(name), zone)
    return ready


def _quantity(si: float | None, dimension: Dimension, units: System) -> dict[str, Any] | None:
    if si is None:
        return None
    quantity = shown(si, dimension, units)
    return {"value": quantity.value, "unit": quantity.unit}


def _moment(text: str | None, zone: ZoneInfo) -> dict[str, str] | None:
    if not text:
        return None
    at = datetime.fromisoformat(text)
    return {"utc": at.astimezone(UTC).isoformat(), "local": at.astimezone(zone).isoformat()}


def pressure_unit(units: System) -> str:
    """Return the unit pressures are shown in."""
    return DISPLAY_UNITS[units][Dimension.PRESSURE]
