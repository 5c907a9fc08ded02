"""The list of control items: its filter and its table."""

import django_filters
import django_tables2 as tables
from django.db.models import QuerySet
from django.urls import reverse
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from equipment.models import ControlItem, ControlKind, Rig
from equipment.web.columns import ListTable, MomentColumn


class ControlFilter(django_filters.FilterSet):
    """By name, kind and stack; those out of service only when asked for."""

    name = django_filters.CharFilter(lookup_expr="icontains", label="Name")
    kind = django_filters.ChoiceFilter(choices=ControlKind.choices, label="Kind", empty_label="Any")
    stack = django_filters.ModelChoiceFilter(queryset=None, label="Stack", empty_label="Any")
    use = django_filters.ChoiceFilter(
        choices=[("retired", "Out of service")], method="used", label="Use", empty_label="In service"
    )

    class Meta:
        model = ControlItem
        fields: tuple[str, ...] = ()

    def __init__(self, *args: object, rig: Rig, **options: object) -> None:
        super().__init__(*args, **options)
        self.filters["stack"].queryset = rig.stacks.all()

    def filter_queryset(self, queryset: QuerySet[ControlItem]) -> QuerySet[ControlItem]:
        """Leave out what is out of service unless it is asked for."""
        kept = super().filter_queryset(queryset)
        return kept if self.form.cleaned_data.get("use") else kept.filter(retired_at__isnull=True)

    def used(self, queryset: QuerySet[ControlItem], _: str, __: str) -> QuerySet[ControlItem]:
        """Keep those out of service."""
        return queryset.filter(retired_at__isnull=False)


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
