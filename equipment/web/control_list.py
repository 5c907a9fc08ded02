"""The list of control items: its filter and its table."""

import django_tables2 as tables
from django.urls import reverse
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from equipment.models import ControlItem
from equipment.web.columns import ListTable, MomentColumn


class ControlTable(ListTable):
    """Control items with where they are."""

    name = tables.Column("Name", linkify=lambda record: reverse("equipment:control", args=[record.pk]))
    kind = tables.Column("Kind")
    place = tables.Column("Which one")
    stack = tables.Column("Stack", accessor="stack__name")
    in_service_from = MomentColumn("In service from")
    use = tables.Column("Use", accessor="retired_at", empty_values=())

    class Meta:
        empty_text = "No control item passes this filter. Put the stations, panels and pods on file from the stack."
        default = "–"

    def render_use(self, record: ControlItem) -> SafeString | str:
        """Return whether it is in service."""
        return state("out-of-service") if record.retired_at else "In service"

    def value_use(self, record: ControlItem) -> str:
        """Return the same for an export."""
        return "Out of service" if record.retired_at else "In service"
