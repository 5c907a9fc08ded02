"""How quantities, numbers, moments and states are written for people. Pure: no request, no database, no clock."""

from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from math import isfinite
from typing import Final
from zoneinfo import ZoneInfo

from calcs.units import Dimension, System, from_si, shown

UNIT_LABELS: Final = {
    "degF": "°F",
    "degC": "°C",
    "in^2": "in²",
    "cm^2": "cm²",
    "kg/m^3": "kg/m³",
    "lb/ft^3": "lb/ft³",
    "m^3": "m³",
    "gal": "US gal",
    "oil_bbl": "bbl",
}
"""Units as people read them, where that differs from how the calculations spell them."""

PLACES: Final = {
    "psi": 0,
    "kPa": 0,
    "bar": 1,
    "MPa": 2,
    "psi/ft": 3,
    "kPa/m": 2,
    "SG": 2,
    "psi/min": 1,
    "kPa/min": 1,
    "lb/gal": 1,
    "kg/m^3": 0,
    "ft": 0,
    "m": 1,
    "in": 3,
    "gal": 1,
    "L": 1,
    "degF": 0,
    "degC": 0,
    "min": 1,
}
"""Decimal places where the caller names none. Judged pressures need one more than their limit: 2,999.6 is not 3,000."""


_LARGE: Final = 10e6
"""Pascals from which a pressure beside its unit is written in MPa, where units are metric."""


def unit_label(unit: str) -> str:
    """Return `unit` as people read it: ``degF`` becomes ``°F``."""
    return UNIT_LABELS.get(unit, unit)


def number_text(value: float, places: int | None = None) -> str:
    """Return a number with thousands separated and a true minus; without `places`, as many as it has, six at most."""
    if not isfinite(value):
        return "not a number"
    text = f"{value:,.{places}f}" if places is not None else f"{value:,.6f}".rstrip("0").rstrip(".")
    if not text.strip("-0.,"):
        text = text.lstrip("-")
    return text.replace("-", "−")


@dataclass(frozen=True, slots=True)
class Shown:
    """A quantity ready for a page: its number and its unit, both as text."""

    number: str
    unit: str

    def __str__(self) -> str:
        return f"{self.number} {self.unit}".strip()


def quantity_shown(si: float, dimension: Dimension, system: System, places: int | None = None) -> Shown:
    """Return the SI value `si` in the display unit of `system`, with the places usual for that unit."""
    quantity = shown(si, dimension, system)
    return Shown(number_text(quantity.value, _places(quantity.unit, places)), unit_label(quantity.unit))


def quantity_beside_unit(si: float, dimension: Dimension, system: System, places: int | None = None) -> Shown:
    """Return the SI value as `quantity_shown` does, a pressure from 10 MPa on in MPa: 68.95 MPa, not 68,948 kPa.

    Only for where the number stands beside its own unit, never under a column head. `places` count as for kPa, so
    that nothing of a judged pressure is lost.
    """
    if dimension is Dimension.PRESSURE and system == "si" and abs(si) >= _LARGE:
        return quantity_in(si, dimension, "MPa", None if places is None else places + 3)
    return quantity_shown(si, dimension, system, places)


def quantity_in(si: float, dimension: Dimension, unit: str, places: int | None = None) -> Shown:
    """Return the SI value `si` in `unit`, with the places usual for that unit."""
    return Shown(number_text(from_si(si, unit, dimension), _places(unit, places)), unit_label(unit))


def _places(unit: str, places: int | None) -> int | None:
    return PLACES.get(unit) if places is None else places


def zone_label(moment: datetime) -> str:
    """Return the zone of an aware moment as its distance from UTC, which no two zones share by abbreviation."""
    offset = moment.utcoffset()
    if offset is None:
        raise ValueError("A moment without a zone cannot be shown: its deadline would be a guess.")
    minutes = round(offset.total_seconds() / 60)
    if not minutes:
        return "UTC"
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{'+' if minutes > 0 else '−'}{hours}" + (f":{rest:02d}" if rest else "")


def in_zone(moment: datetime, zone: str | tzinfo) -> datetime:
    """Return an aware moment in `zone`, given by its key or as a zone."""
    zone_label(moment)  # refuses a moment without a zone, which astimezone would read as this machine's time
    return moment.astimezone(ZoneInfo(zone) if isinstance(zone, str) else zone)


def date_text(moment: date) -> str:
    """Return ``9 Dec 2026``: the month in letters, since 9/12 and 12/9 are read both ways on one rig."""
    return f"{moment.day} {moment:%b %Y}"


@dataclass(frozen=True, slots=True)
class State:
    """A state as shown everywhere: its word, its tone, and the drawing of its shape on a 16 by 16 field."""

    word: str
    tone: str
    shape: str


_KNOCK: Final = 'class="knock" stroke="#fff" fill="none"'
_SOLID: Final = 'fill="currentColor"'
STATES: Final[dict[str, State]] = {
    "in-date": State("In date", "good", '<circle cx="8" cy="8" r="5.75"/>'),
    "due-soon": State(
        "Due soon",
        "soon",
        f'<circle cx="8" cy="8" r="5.75"/><path d="M2.25 8a5.75 5.75 0 0 0 11.5 0z" {_SOLID} stroke="none"/>',
    ),
    "due-now": State("Due now", "now", f'<circle cx="8" cy="8" r="5.75" {_SOLID}/>'),
    "overdue": State(
        "Overdue",
        "bad",
        f'<path d="M8 .75 15.25 8 8 15.25.75 8z" {_SOLID} stroke-linejoin="round"/>'
        f'<path d="M8 4.25v4.5M8 11.1v.4" {_KNOCK} stroke-width="1.75" stroke-linecap="round"/>',
    ),
    "not-proven": State(
        "Not proven",
        "bad",
        '<path d="M8 1.25 14.75 8 8 14.75 1.25 8z" stroke-dasharray="2.6 1.9" stroke-width="1.75"/>',
    ),
    "unknown": State(
        "Cannot be worked out",
        "bad",
        f'<rect x="1.5" y="1.5" width="13" height="13" rx="1" {_SOLID}/>'
        f'<path d="M5.9 6.2a2.1 2.1 0 1 1 3.2 1.8c-.8.5-1.1.8-1.1 1.7M8 11.9v.2" {_KNOCK} stroke-width="1.6" '
        'stroke-linecap="round"/>',
    ),
    "deferred": State(
        "Deferred", "soon", '<circle cx="8" cy="8" r="5.75"/><path d="m4.2 10.2 6-6M5.8 11.8l6-6" stroke-width="1.25"/>'
    ),
    "in-progress": State(
        "In progress",
        "busy",
        f'<path d="M8 2.25A5.75 5.75 0 1 1 2.25 8" stroke-linecap="round"/><circle cx="8" cy="8" r="2" {_SOLID} '
        'stroke="none"/>',
    ),
    "out-of-service": State(
        "Out of service", "calm", '<rect x="2.25" y="2.25" width="11.5" height="11.5"/><path d="m2.5 13.5 11-11"/>'
    ),
    "passed": State(
        "Passed",
        "good",
        '<path d="m2.25 8.5 4 4.25 7.5-9" stroke-width="2" stroke-linecap="round" stroke-linejoin="round"/>',
    ),
    "not-passed": State(
        "Not passed", "bad", '<path d="m3 3 10 10M13 3 3 13" stroke-width="2.5" stroke-linecap="square"/>'
    ),
    "not-judged": State("Not judged yet", "calm", '<path d="M2.5 8h11" stroke-width="2" stroke-dasharray="2.2 2.2"/>'),
    "draft": State("Draft", "calm", '<path d="M3.25 1.75h6.5l3 3v9.5h-9.5z" stroke-dasharray="2 1.6"/>'),
    "waiting": State(
        "Waiting for signatures",
        "now",
        '<path d="M3.25 1.75h6.5l3 3v9.5h-9.5z" stroke-dasharray="2 1.6"/><path d="M5.25 11.25h5.5" stroke-width="2"/>',
    ),
    "signed": State(
        "Signed",
        "good",
        f'<path d="m5 9.5-1.25 5.75L8 13l4.25 2.25L11 9.5" {_SOLID} stroke-linejoin="round"/>'
        f'<circle cx="8" cy="6" r="5" {_SOLID}/><path d="m5.75 6 1.6 1.75L10.4 4.4" {_KNOCK}/>',
    ),
    "superseded": State(
        "Superseded",
        "calm",
        '<path d="M5.25 5.25V2h8.75v8.75h-3.25"/><rect x="2" y="5.25" width="8.75" height="8.75"/>',
    ),
}
"""Every state the pages know. Weight grows with urgency, so that a grey print still ranks them."""
