"""The form all others are made from: the reader's units, groups of fields, a guard against stale pages."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from django import forms
from django.db import models
from django.forms.boundfield import BoundField

from calcs.units import System
from equipment.queries.versions import digest
from equipment.web.fields import QuantityFormField

Groups = Sequence[tuple[str, str, Sequence[str]]]
_SEEN: Final = "seen"
_MISSING: Final = "This is missing. Fill it in."


@dataclass(frozen=True)
class Group:
    """Fields that belong together, under a legend and a note."""

    legend: str
    note: str
    fields: tuple[BoundField, ...]


class HouseForm(forms.Form):
    """A form over one row, or over none yet.

    Args:
        posted: `request.POST` (and `files`) when it was sent, else None.
        row: the row it amends; its values are shown and its state remembered, so that saving over somebody
            else's change is noticed.
        units: the system whose units are offered first.
    """

    use_required_attribute = False
    GROUPS: Groups = ()
    """Legend, note and field names of each group; fields in no group stand first, under no legend."""

    seen = forms.CharField(required=False, widget=forms.HiddenInput, max_length=16)

    def __init__(
        self,
        posted: Any = None,
        files: Any = None,
        *,
        row: models.Model | None = None,
        units: System = "us",
        initial: Mapping[str, Any] | None = None,
        **options: Any,
    ) -> None:
        self.row = row
        super().__init__(posted, files, initial={**self._row_values(row), **(initial or {})}, **options)
        for field in self.fields.values():
            if isinstance(field, QuantityFormField):
                field.prefer(units)
            elif field.error_messages.get("required") == forms.Field.default_error_messages["required"]:
                choice = isinstance(field, forms.ChoiceField)
                field.error_messages["required"] = "Nothing is chosen. Choose one." if choice else _MISSING

    @classmethod
    def _row_values(cls, row: models.Model | None) -> dict[str, Any]:
        if row is None:
            return {}
        values = {name: _as_typed(getattr(row, name)) for name in cls.base_fields if hasattr(row, name)}
        return {**values, _SEEN: digest(row)}

    @property
    def facts(self) -> dict[str, Any]:
        """Return the cleaned values as the action takes them."""
        return {name: value for name, value in self.cleaned_data.items() if name != _SEEN}

    @property
    def version(self) -> str:
        """Return the mark of the row as the page showed it."""
        return str(self.cleaned_data.get(_SEEN, ""))

    def ungrouped(self) -> list[BoundField]:
        """Return the visible fields that stand in no group."""
        grouped = {name for _, _, names in self.GROUPS for name in names}
        return [field for field in self.visible_fields() if field.name not in grouped]

    def groups(self) -> Iterator[Group]:
        """Return the groups with those of their fields the form has."""
        for legend, note, names in self.GROUPS:
            fields = tuple(self[name] for name in names if name in self.fields)
            if fields:
                yield Group(legend, note, fields)


def _as_typed(value: Any) -> Any:
    """Return a decimal without the zeros the database fills it up with."""
    return f"{value.normalize():f}" if isinstance(value, Decimal) else value
