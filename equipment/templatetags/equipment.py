"""Tags of the pages of equipment. Load with ``{% load equipment %}``."""

from datetime import date

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from accounts.presentation import unit_label
from accounts.templatetags.wellhold import state
from calcs.units import Dimension, System
from equipment.models import Measured
from equipment.models.quantities import grouped
from equipment.queries.instruments import expiry_on
from equipment.web.columns import day_text
from equipment.web.facts import also_in

register = template.Library()


@register.filter
def day(value: date | None) -> str:
    """Write a calendar day with the month in letters; a dash for none."""
    return day_text(value) if value else "–"


@register.simple_tag
def expiry(due: date | None, today: date) -> SafeString:
    """Show how something that runs out on `due` stands today: ``{% expiry document.expires_on today %}``."""
    found = expiry_on(today, due=due)
    return state(found.state, found.words)


@register.simple_tag
def measured(value: Measured, dimension: str, units: System) -> SafeString:
    """Show a quantity as entered, and in the reader's units where they differ."""
    also = also_in(value, Dimension(dimension), units)
    written = format_html(
        '<span class="nowrap">{} <span class="unit">{}</span></span>', grouped(value.text), unit_label(value.unit)
    )
    return format_html('{} <span class="soft small nowrap">({})</span>', written, also) if also else written
