"""What every calculation's form shares."""

from collections.abc import Collection, Mapping
from typing import Any, ClassVar

from django import forms

from calcs.units import System
from equipment.web.fields import QuantityFormField


class CalculationForm(forms.Form):
    """What every calculation shares: its name, and where a refusal of the calculation belongs."""

    name: ClassVar[str]
    title: ClassVar[str]
    summary: ClassVar[str]
    bears_on_safety: ClassVar[bool] = True
    places: ClassVar[Mapping[str, str]] = {}
    """Field of the form for a path of the document, where the names differ."""
    uploads: ClassVar[bool] = False
    when: ClassVar[Mapping[str, tuple[str, str]]] = {}
    """For a field asked only sometimes: the field that decides, and the values it is asked for, with spaces between."""

    apart: Collection[str] = ()
    """Fields that stand by themselves on the page, such as rows."""

    def __init__(self, data: Any = None, files: Any = None, *, units: System = "us") -> None:
        super().__init__(data, files)
        for field in self.fields.values():
            if isinstance(field, QuantityFormField):
                field.prefer(units)
        self.units = units

    def shown_fields(self) -> list[tuple[forms.BoundField, str, str]]:
        """Return the fields, each with the field and the values that decide whether it is asked; empty for always."""
        shown = (bound for bound in self.visible_fields() if bound.name not in self.apart)
        return [(bound, *self.when.get(bound.name, ("", ""))) for bound in shown]

    def given(self, *names: str) -> dict[str, str]:
        """Return the fields given, as the document writes them."""
        found = {name: self.cleaned_data.get(name) for name in names}
        return {name: written(value) for name, value in found.items() if value not in (None, "")}

    def document(self) -> dict[str, Any]:
        """Return the document the calculation reads."""
        raise NotImplementedError


def written(value: Any) -> str:
    """Return a value of a form as a document writes it: a quantity with its unit."""
    return f"{value.text} {value.unit}".strip() if hasattr(value, "text") else str(value)
