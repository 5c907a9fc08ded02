"""Template tags of the house: states, quantities, numbers, moments, navigation. Load with ``{% load wellhold %}``."""

from datetime import datetime, tzinfo
from typing import Any

from django import template
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from accounts import presentation
from accounts.models import DEFAULT_UNITS
from calcs.units import Dimension, System

register = template.Library()
_ABSENT = mark_safe('<span class="soft" title="not given">–</span>')


@register.simple_tag
def state_mark(key: str) -> SafeString:
    """Draw the shape of a state alone; beside it must stand its word."""
    shape = mark_safe(presentation.STATES[key].shape)  # our own constants, never input
    return format_html(
        '<svg class="mark" viewBox="0 0 16 16" width="16" height="16" fill="none" stroke="currentColor" '
        'stroke-width="1.5" aria-hidden="true" focusable="false">{}</svg>',
        shape,
    )


@register.simple_tag
def state(key: str, word: str = "", large: bool = False) -> SafeString:
    """Show a state: ``{% state "overdue" %}``, ``{% state row.state "Overdue by 3 days" %}``; `large` in heads."""
    known = presentation.STATES[key]
    return format_html(
        '<span class="state state-{} tone-{}{}">{}<span>{}</span></span>',
        key,
        known.tone,
        " state-large" if large else "",
        state_mark(key),
        word or known.word,
    )


@register.simple_tag
def state_shape(key: str) -> SafeString:
    """Give the drawing inside a 16 by 16 field, to stand in a larger SVG: ``<g class="tone-…">…</g>``."""
    return mark_safe(presentation.STATES[key].shape)


@register.filter
def state_word(key: str) -> str:
    """Give the word of a state."""
    return presentation.STATES[key].word


@register.filter
def state_tone(key: str) -> str:
    """Give the tone of a state, for a class ``tone-…``."""
    return presentation.STATES[key].tone


@register.simple_tag
def quantity(si: float | None, dimension: str, system: System | str = "", places: int | None = None) -> SafeString:
    """Show an SI value in the units of the person or rig: ``{% quantity line.held_pa "pressure" units places=1 %}``."""
    if si is None:
        return _ABSENT
    shown = presentation.quantity_beside_unit(float(si), Dimension(dimension), _system(system), places)
    return _with_unit(shown)


@register.simple_tag
def quantity_number(
    si: float | None, dimension: str, system: System | str = "", places: int | None = None
) -> SafeString | str:
    """Show the number alone, for a table column whose head carries the unit."""
    if si is None:
        return _ABSENT
    return presentation.quantity_shown(float(si), Dimension(dimension), _system(system), places).number


@register.simple_tag
def unit_of(dimension: str, system: System | str = "") -> str:
    """Name the display unit of a dimension, for a table head."""
    return presentation.quantity_shown(0.0, Dimension(dimension), _system(system)).unit


@register.simple_tag
def as_entered(value: Any, unit: str) -> SafeString:
    """Show a stored value in the unit it was written in, unrounded: a record shows what was written."""
    if value is None:
        return _ABSENT
    return _with_unit(presentation.Shown(presentation.number_text(float(value)), presentation.unit_label(unit)))


@register.filter
def unit_label(unit: str) -> str:
    """Write a unit as people read it: ``degF`` becomes ``°F``."""
    return presentation.unit_label(unit)


@register.simple_tag
def number(value: float | None, places: int | None = None, width: int = 0) -> SafeString | str:
    """Show a number; `width` (1 to 4) reserves that many places, so that points stand under each other."""
    if value is None:
        return _ABSENT
    text = presentation.number_text(float(value), places)
    if not width:
        return text
    whole, point, fraction = text.partition(".")
    return format_html('<span>{}<span class="frac frac-{}">{}{}</span></span>', whole, width, point, fraction)


@register.simple_tag
def local_time(moment: datetime | None, zone: str | tzinfo, full: bool = False) -> SafeString:
    """Show a moment with its zone: ``{% local_time due rig.time_zone %}``; `full` names the place too."""
    if moment is None:
        return _ABSENT
    local = presentation.in_zone(moment, zone)
    return _time(local, f"{presentation.date_text(local)}, {local:%H:%M}", zone, full)


@register.simple_tag
def local_date(moment: datetime | None, zone: str | tzinfo, full: bool = False) -> SafeString:
    """Show the day of a moment in a zone, the zone beside it."""
    if moment is None:
        return _ABSENT
    local = presentation.in_zone(moment, zone)
    return _time(local, presentation.date_text(local), zone, full)


@register.simple_tag(takes_context=True)
def nav_link(context: template.Context, label: str, url_name: str, *beginnings: str) -> SafeString | str:
    """Write one entry of the main navigation, or nothing while its address doesn't exist.

    The entry is current when `section` in the context, else the name of the page's address without its namespace,
    is its own or begins with one of the `beginnings`.
    """
    url = _address(url_name, context.get("rig"))
    if not url:
        return ""
    match = getattr(context.get("request"), "resolver_match", None)
    section = context.get("section") or (match.url_name if match else "") or ""
    current = section == url_name.rpartition(":")[2] or section.startswith(beginnings)
    return format_html(
        '<li><a href="{}"{}>{}</a></li>', url, mark_safe(' aria-current="page"' if current else ""), label
    )


@register.simple_tag
def rig_address(rig: Any) -> str:
    """Give the front page of a rig: its own address, else its due list."""
    return rig.get_absolute_url() if hasattr(rig, "get_absolute_url") else _address("tests_app:rig", rig) or "/"


@register.filter
def words(text: str) -> list[str]:
    """Split a text at its spaces, for short lists given in a template."""
    return text.split()


def _address(url_name: str, rig: Any) -> str:
    arguments = [[rig.pk], []] if rig is not None and getattr(rig, "pk", None) else [[]]
    for args in arguments:
        try:
            return reverse(url_name, args=args)
        except NoReverseMatch:
            continue
    return ""


def _system(given: System | str) -> System:
    return "si" if given == "si" else "us" if given == "us" else DEFAULT_UNITS


def _with_unit(shown: presentation.Shown) -> SafeString:
    return format_html('<span class="nowrap">{} <span class="unit">{}</span></span>', shown.number, shown.unit)


def _time(local: datetime, text: str, zone: str | tzinfo, full: bool) -> SafeString:
    label = presentation.zone_label(local)
    place = str(zone)
    return format_html(
        '<time datetime="{}" title="{}">{} <span class="zone">{}</span></time>',
        local.isoformat(),
        place,
        text,
        f"{place}, {label}" if full and place != "UTC" else label,
    )
