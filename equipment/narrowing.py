"""How lists are narrowed: the same filters for the pages and for the API."""

from datetime import date
from typing import Any, Final

import django_filters
from django import forms
from django.db.models import Q, QuerySet

from equipment.models import Component, ComponentKind, ControlItem, ControlKind, Instrument, InstrumentKind, Rig

_WHERE: Final = (("installed", "Installed"), ("spare", "In use, standing nowhere"), ("retired", "Retired"))


class ComponentFilter(django_filters.FilterSet):
    """By kind, by where they stand, and by what is written on them; retired ones only when asked for."""

    search = django_filters.CharFilter(method="found", label="Serial, maker, model or position")
    kind = django_filters.ChoiceFilter(choices=ComponentKind.choices, label="Kind", empty_label="Any")
    where = django_filters.ChoiceFilter(choices=_WHERE, method="standing", label="Where", empty_label="All but retired")
    elastomers = django_filters.BooleanFilter(method="expired", label="Elastomers expired", widget=forms.CheckboxInput)

    class Meta:
        model = Component
        fields: tuple[str, ...] = ()

    def __init__(self, *args: Any, today: date | None = None, **options: Any) -> None:
        self.today = today
        super().__init__(*args, **options)

    def filter_queryset(self, queryset: QuerySet[Component]) -> QuerySet[Component]:
        """Leave retired components out unless they are asked for."""
        kept = super().filter_queryset(queryset)
        return kept if self.form.cleaned_data.get("where") else kept.filter(retired_at__isnull=True)

    def found(self, queryset: QuerySet[Component], _: str, words: str) -> QuerySet[Component]:
        """Keep those in which every word is found."""
        for word in words.split():
            condition = Q()
            for column in ("serial", "maker", "model", "position_name", "stack_name"):
                condition |= Q(**{f"{column}__icontains": word})
            queryset = queryset.filter(condition)
        return queryset

    def standing(self, queryset: QuerySet[Component], _: str, where: str) -> QuerySet[Component]:
        """Keep those that stand in a position, that stand nowhere, or that are retired."""
        if where == "retired":
            return queryset.filter(retired_at__isnull=False)
        return queryset.filter(Q(**{"stack_pk__isnull": where == "spare"}), retired_at__isnull=True)

    def expired(self, queryset: QuerySet[Component], _: str, wanted: bool) -> QuerySet[Component]:
        """Keep those with a fitted elastomer that has run out."""
        return queryset.filter(Q(**{"elastomer_expires_on__lt": self.today})) if wanted and self.today else queryset


class InstrumentFilter(django_filters.FilterSet):
    """By kind; retired ones only when asked for."""

    kind = django_filters.ChoiceFilter(choices=InstrumentKind.choices, label="Kind", empty_label="Any")
    use = django_filters.ChoiceFilter(
        choices=[("retired", "Out of use")], method="used", label="Use", empty_label="In use"
    )

    class Meta:
        model = Instrument
        fields: tuple[str, ...] = ()

    def filter_queryset(self, queryset: QuerySet[Instrument]) -> QuerySet[Instrument]:
        """Leave out what is out of use unless it is asked for."""
        kept = super().filter_queryset(queryset)
        return kept if self.form.cleaned_data.get("use") else kept.filter(retired_on__isnull=True)

    def used(self, queryset: QuerySet[Instrument], _: str, __: str) -> QuerySet[Instrument]:
        """Keep those out of use."""
        return queryset.filter(retired_on__isnull=False)


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
