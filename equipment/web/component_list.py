"""The list of components: its filter and its table."""

from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from calcs.units import Dimension
from equipment.models import Component
from equipment.queries.instruments import expiry_on
from equipment.web.columns import DayColumn, ListTable, QuantityColumn


class ComponentTable(ListTable):
    """Components with where they stand."""

    serial = tables.Column("Serial", linkify=lambda record: reverse("equipment:component", args=[record.pk]))
    kind = tables.Column("Kind")
    make = tables.Column("Maker and model", empty_values=(), order_by=("maker", "model"))
    rated_working_pressure = QuantityColumn(Dimension.PRESSURE, "RWP", order_by=("rated_working_pressure_si",))
    place = tables.Column("Stands in", empty_values=(), order_by=("stack_name", "position_name"))
    elastomer_expires_on = tables.Column("Elastomers", empty_values=())
    last_major_inspection_on = DayColumn("Major inspection")

    class Meta:
        empty_text = "No component passes this filter. Show all, or register the first one."
        order_by = ("kind", "serial")
        default = "–"

    def render_make(self, record: Component) -> str:
        """Return maker and model in one cell."""
        return " ".join(part for part in (record.maker, record.model) if part) or "–"

    def value_make(self, record: Component) -> str:
        """Return the same for an export."""
        return f"{record.maker} {record.model}".strip()

    def render_place(self, record: Any) -> SafeString | str:
        """Return the position with its stack, or where else the component is."""
        if record.retired_at:
            return state("out-of-service", "Retired")
        if not record.position_name:
            return format_html('<span class="soft">{}</span>', "Nowhere now")
        address = f"{reverse('equipment:stack', args=[record.stack_pk])}#position-{record.position_pk}"
        return format_html(
            '<span><a href="{}">{}</a> <span class="soft nowrap">{}</span></span>',
            address,
            record.position_name,
            record.stack_name,
        )

    def value_place(self, record: Any) -> str:
        """Return the same for an export."""
        if record.retired_at:
            return "Retired"
        return f"{record.position_name}, {record.stack_name}" if record.position_name else ""

    def render_elastomer_expires_on(self, value: Any) -> SafeString | str:
        """Return how the fitted elastomer that runs out first stands."""
        if value is None or self.today is None:
            return "–"
        found = expiry_on(self.today, due=value)
        return state(found.state, found.words)

    def value_elastomer_expires_on(self, value: Any) -> Any:
        """Return the day for an export."""
        return value
