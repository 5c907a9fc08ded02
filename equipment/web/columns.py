"""Columns of the lists: quantities with their unit in the head, moments on the rig's clock, states in words."""

from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import django_tables2 as tables
from django.utils.html import format_html
from django.utils.safestring import SafeString

from accounts.presentation import date_text, in_zone, quantity_shown, zone_label
from accounts.templatetags.wellhold import state
from calcs.units import Dimension, System, shown
from equipment.models import Measured

NUMERIC: Final = {"th": {"class": "num"}, "td": {"class": "num"}}
WHEN: Final = {"td": {"class": "when"}}
_UTC: Final = ZoneInfo("UTC")


class ListTable(tables.Table):
    """A table that knows in which units and on which clock its cells are written.

    Args:
        units: ``us`` or ``si``; the heads of quantity columns name the unit.
        zone: the rig's time zone.
        today: the day on the rig's calendar, for what runs out.
    """

    def __init__(
        self, *args: Any, units: System = "us", zone: ZoneInfo = _UTC, today: date | None = None, **options: Any
    ) -> None:
        self.units = units
        self.zone = zone
        self.today = today
        super().__init__(*args, **options)
        for bound in self.columns:
            if isinstance(bound.column, QuantityColumn):
                bound.column.name_unit(units)


class QuantityColumn(tables.Column):
    """A quantity in the reader's units, exported as a plain number; the accessor gives a `Measured` or SI."""

    def __init__(self, dimension: Dimension, label: str, *, places: int | None = None, **options: Any) -> None:
        self.dimension = dimension
        self.label = label
        self.places = places
        options.setdefault("attrs", NUMERIC)
        super().__init__(verbose_name=label, **options)

    def name_unit(self, units: System) -> None:
        """Write the unit into the head of the column."""
        unit = quantity_shown(0.0, self.dimension, units).unit
        self.verbose_name = format_html('{}, <span class="unit">{}</span>', self.label, unit)

    def render(self, value: Any, table: ListTable) -> str:
        """Return the number, rounded as usual for its unit."""
        return quantity_shown(_si(value), self.dimension, table.units, self.places).number

    def value(self, value: Any, table: ListTable) -> float:
        """Return the number for an export, to nine significant figures."""
        quantity = shown(_si(value), self.dimension, table.units)
        return float(f"{quantity.value:.9g}")


class MomentColumn(tables.Column):
    """A moment on the rig's clock, its distance from UTC beside it."""

    def __init__(self, label: str, **options: Any) -> None:
        options.setdefault("attrs", WHEN)
        super().__init__(verbose_name=label, **options)

    def render(self, value: datetime, table: ListTable) -> SafeString:
        """Return the moment with its zone."""
        local = in_zone(value, table.zone)
        return format_html(
            '<time datetime="{}">{}, {} <span class="zone">{}</span></time>',
            local.isoformat(),
            date_text(local),
            f"{local:%H:%M}",
            zone_label(local),
        )

    def value(self, value: datetime, table: ListTable) -> str:
        """Return the moment for an export, as ISO 8601 with its offset: spreadsheets know no zones."""
        return in_zone(value, table.zone).isoformat(timespec="minutes")


class DayColumn(tables.Column):
    """A calendar day, the month in letters."""

    def __init__(self, label: str, **options: Any) -> None:
        options.setdefault("attrs", WHEN)
        super().__init__(verbose_name=label, **options)

    def render(self, value: date) -> str:
        """Return the day."""
        return day_text(value)

    def value(self, value: date) -> date:
        """Return the day for an export."""
        return value


class StateColumn(tables.Column):
    """A state as shape and word; the accessor gives a state's key, or an object with `state` and `words`."""

    def __init__(self, label: str, **options: Any) -> None:
        super().__init__(verbose_name=label, **options)

    def render(self, value: Any) -> SafeString:
        """Return the mark with its word."""
        if isinstance(value, str):
            return state(value)
        return state(value.state, value.words)

    def value(self, value: Any) -> str:
        """Return the word for an export."""
        return value if isinstance(value, str) else str(value.words)


def day_text(day: date) -> str:
    """Return ``9 Dec 2026``."""
    return f"{day.day} {day:%b %Y}"


def _si(value: Any) -> float:
    return value.si if isinstance(value, Measured) else float(value)
