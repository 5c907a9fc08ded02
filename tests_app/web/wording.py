"""How figures of a test are written on a page: judged pressures with the decimal that tells them from their limit."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from django.utils.html import format_html
from django.utils.safestring import SafeString

from accounts.presentation import date_text, number_text, unit_label, zone_label
from calcs.units import Dimension, System, from_si, shown, to_si
from tests_app.documents.figures import JUDGED_PLACES, Rounding, down, nearest, up

OUTCOME_STATES: Final = {"pending": "not-judged", "passed": "passed", "failed": "not-passed"}
"""Key of the state mark for an outcome of a step, a line or a hold."""


def said(quantity: Mapping[str, Any] | None) -> SafeString | str:
    """Return a quantity as kept: digits as entered, computed figures with the places they are judged to."""
    if not quantity:
        return ""
    value, unit = quantity["value"], quantity["unit"]
    places = None if isinstance(value, str) else JUDGED_PLACES.get(unit, 2)
    number = number_text(float(value), places)
    if places is not None and "." in number:
        number = number.rstrip("0").rstrip(".")
    return format_html('<span class="nowrap">{} <span class="unit">{}</span></span>', number, unit_label(unit))


def said_held(quantity: Mapping[str, Any] | None) -> SafeString | str:
    """Return a pressure of a hold, rounded as the certificate rounds it: to the nearest."""
    return _judged(quantity, nearest)


def said_least(quantity: Mapping[str, Any] | None) -> SafeString | str:
    """Return the lowest pressure of a hold, rounded as the certificate rounds it: down."""
    return _judged(quantity, down)


def said_most(quantity: Mapping[str, Any] | None) -> SafeString | str:
    """Return a highest pressure, a fall or its rate, rounded as the certificate rounds it: up."""
    return _judged(quantity, up)


def _judged(quantity: Mapping[str, Any] | None, rounding: Rounding) -> SafeString | str:
    if not quantity:
        return ""
    unit = quantity["unit"]
    places = JUDGED_PLACES[unit]
    number = number_text(rounding(float(quantity["value"]), places), places)
    return format_html('<span class="nowrap">{} <span class="unit">{}</span></span>', number, unit_label(unit))


def said_in(quantity: Mapping[str, Any] | None, system: System) -> SafeString | str:
    """Return a pressure as `said`, and in the reader's own unit behind it where that differs."""
    if not quantity:
        return ""
    own = said(quantity)
    si = to_si(float(quantity["value"]), quantity["unit"], Dimension.PRESSURE)
    wanted = shown(si, Dimension.PRESSURE, system)
    if wanted.unit == quantity["unit"]:
        return own
    number = number_text(from_si(si, wanted.unit, Dimension.PRESSURE), 0)
    return format_html('{} <span class="soft nowrap">({} {})</span>', own, number, wanted.unit)


def moment_said(moment: Mapping[str, str] | None, *, seconds: bool = True) -> SafeString | str:
    """Return a kept moment on the rig's clock, its zone beside it."""
    if not moment:
        return ""
    local = datetime.fromisoformat(moment["local"])
    clock = f"{local:%H:%M:%S}" if seconds else f"{local:%H:%M}"
    return format_html(
        '<time datetime="{}">{} <span class="zone">{}</span></time>',
        moment["local"],
        f"{date_text(local)}, {clock}",
        zone_label(local),
    )


def window_said(start: Mapping[str, str], end: Mapping[str, str]) -> SafeString | str:
    """Return from when to when on the rig's clock; the day and the zone once where they are the same."""
    first, last = datetime.fromisoformat(start["local"]), datetime.fromisoformat(end["local"])
    if first.date() != last.date() or first.utcoffset() != last.utcoffset():
        return format_html("{} to {}", moment_said(start), moment_said(end))
    return format_html(
        '{}, {} to {} <span class="zone">{}</span>',
        date_text(first),
        f"{first:%H:%M:%S}",
        f"{last:%H:%M:%S}",
        zone_label(first),
    )
