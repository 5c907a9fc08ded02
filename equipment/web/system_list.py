"""The lists of a pressure system: its elements and its cavities, each with filter and table."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import django_tables2 as tables
from django import forms
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from calcs.lineups import NO_PIPE
from calcs.units import Dimension
from equipment.models import Cavity, ElementKind, HoldsFrom, Measured, PositionGroup, SystemElement
from equipment.queries.pressure_systems import Contents, pipe_strings_of
from equipment.web.columns import ListTable, QuantityColumn
from equipment.web.lists import RowFilter


@dataclass(frozen=True)
class ElementRow:
    """An element as the list shows it."""

    element: SystemElement
    rating: Measured | None
    closes_on: str
    component: str

    @property
    def name(self) -> str:
        return self.element.name

    @property
    def kind(self) -> str:
        return str(self.element.get_kind_display())

    @property
    def well_side(self) -> str:
        return self.element.well_side.name

    @property
    def far_side(self) -> str:
        return self.element.far_side.name

    @property
    def holds(self) -> str:
        return str(self.element.get_holds_from_display())

    @property
    def drilling(self) -> str:
        return "Closed" if self.element.normally_closed else "Open"

    @property
    def place(self) -> int:
        return self.element.order

    @property
    def rating_key(self) -> float:
        return self.rating.si if self.rating else 0.0


@dataclass(frozen=True)
class CavityRow:
    """A cavity as the list shows it."""

    cavity: Cavity
    rating: Measured | None
    holds: str
    touching: str

    @property
    def name(self) -> str:
        return self.cavity.name

    @property
    def part(self) -> str:
        return str(self.cavity.get_part_display())

    @property
    def use(self) -> str:
        if self.cavity.is_vent:
            return "Open to the air"
        return "Pump point" if self.cavity.is_pump_point else ""

    @property
    def place(self) -> int:
        return self.cavity.order

    @property
    def rating_key(self) -> float:
        return self.rating.si if self.rating else 0.0


def element_rows(contents: Contents) -> list[ElementRow]:
    """Return the elements in their order, each with its rating and the pipe it closes on."""
    return [
        ElementRow(one, contents.rating_of(one), _pipe_words(contents, one), str(contents.component_of(one) or ""))
        for one in contents.elements
    ]


def cavity_rows(contents: Contents) -> list[CavityRow]:
    """Return the cavities in their order, each with what stands in it and at it."""
    names = {position.pk: position.name for position in contents.system.stack.positions.all()}
    return [
        CavityRow(
            one,
            contents.rating_of_cavity(one),
            ", ".join(names[key] for key in contents.limited_by.get(one.pk, ())),
            ", ".join(at.name for at in contents.elements if one.pk in (at.well_side_id, at.far_side_id)),
        )
        for one in contents.cavities
    ]


def _pipe_words(contents: Contents, element: SystemElement) -> str:
    closes_on = contents.closes_on(element)
    if closes_on is None:
        return "Any"
    named = [pipe for pipe in pipe_strings_of(contents.system) if pipe in closes_on]
    return ", ".join("no pipe" if pipe == NO_PIPE else pipe for pipe in named) or "None of the pipe"


class ElementFilter(RowFilter[ElementRow]):
    """By a word of the name, kind, the sides it holds from, and the cavity it stands at."""

    text = forms.CharField(label="Name", required=False, max_length=60)
    kind = forms.ChoiceField(label="Kind", required=False, choices=[("", "Any"), *ElementKind.choices])
    holds = forms.ChoiceField(label="Holds", required=False, choices=[("", "Any"), *HoldsFrom.choices])
    at = forms.CharField(label="At the cavity", required=False, max_length=60)

    def keeps(self, row: ElementRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        sides = f"{row.well_side}\n{row.far_side}".casefold()
        return (
            wanted.get("text", "").casefold() in row.name.casefold()
            and wanted.get("kind", "") in ("", row.element.kind)
            and wanted.get("holds", "") in ("", row.element.holds_from)
            and wanted.get("at", "").casefold() in sides
        )


class CavityFilter(RowFilter[CavityRow]):
    """By a word of the name, part and use."""

    text = forms.CharField(label="Name", required=False, max_length=60)
    part = forms.ChoiceField(label="Drawn in", required=False, choices=[("", "Any"), *PositionGroup.choices])
    use = forms.ChoiceField(
        label="Use",
        required=False,
        choices=[("", "Any"), ("Pump point", "Pump point"), ("Open to the air", "Open to the air")],
    )

    def keeps(self, row: CavityRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        return (
            wanted.get("text", "").casefold() in row.name.casefold()
            and wanted.get("part", "") in ("", row.cavity.part)
            and wanted.get("use", "") in ("", row.use)
        )


class _PartTable(ListTable):
    """A list whose rows lead to their forms for those who may change them."""

    def __init__(self, *args: Any, may_manage: bool = False, **options: Any) -> None:
        self.may_manage = may_manage
        super().__init__(*args, **options)

    def led(self, name: str, address: str) -> SafeString | str:
        """Return a name that leads to its form, or the name alone."""
        return format_html('<a href="{}">{}</a>', address, name) if self.may_manage else name


class ElementTable(_PartTable):
    """Elements with what they stand between and what they can do."""

    name = tables.Column("Element", order_by="place")
    kind = tables.Column("Kind", order_by=("kind", "place"))
    well_side = tables.Column("Well side", order_by=("well_side", "place"))
    far_side = tables.Column("Far side", order_by=("far_side", "place"))
    holds = tables.Column("Holds", order_by=("holds", "place"))
    closes_on = tables.Column("Closes on", order_by=("closes_on", "place"))
    rating = QuantityColumn(Dimension.PRESSURE, "RWP", order_by="rating_key")
    drilling = tables.Column("While drilling", order_by=("drilling", "place"))
    component = tables.Column("Component", visible=False)

    class Meta:
        empty_text = "No element passes this filter."
        default = "Not known"

    def render_name(self, record: ElementRow) -> SafeString | str:
        """Return the name, with the component that stands there."""
        name = self.led(record.name, reverse("equipment:element-edit", args=[record.element.pk]))
        below = record.component or "No position of the stack"
        return format_html('<span>{}<br><span class="soft small">{}</span></span>', name, below)

    def value_name(self, record: ElementRow) -> str:
        """Return the name alone for an export."""
        return record.name


class CavityTable(_PartTable):
    """Cavities with what stands in them and at them."""

    name = tables.Column("Cavity", order_by="place")
    part = tables.Column("Drawn in", order_by=("part", "place"))
    use = tables.Column("Use", order_by=("use", "place"))
    rating = QuantityColumn(Dimension.PRESSURE, "Rating", order_by="rating_key")
    holds = tables.Column("Stands in it", order_by=("holds", "place"))
    touching = tables.Column("Closes it", orderable=False)

    class Meta:
        empty_text = "No cavity passes this filter."
        default = "–"

    def render_name(self, record: CavityRow) -> SafeString | str:
        """Return the name, leading to its form."""
        return self.led(record.name, reverse("equipment:cavity-edit", args=[record.cavity.pk]))

    def value_name(self, record: CavityRow) -> str:
        """Return the name alone for an export."""
        return record.name
