"""Forms of a pressure system, its cavities and its elements."""

from typing import Any

from django import forms

from calcs.units import Dimension
from equipment.models import (
    Cavity,
    ClosesWith,
    ElementKind,
    HoldsFrom,
    Position,
    PositionGroup,
    PressureSystem,
    SystemElement,
)
from equipment.queries.system_places import bounding_positions, shutting_positions
from equipment.web.fields import QuantityFormField
from equipment.web.forms.base_form import Groups, HouseForm

_PIPE_HELP = "Outside diameters with commas between; “none” for an empty hole. Steps are planned on these."


class PipeStringsField(forms.CharField):
    """Sizes of pipe with commas between them; cleans to a list of texts."""

    def prepare_value(self, value: Any) -> Any:
        """Return the sizes as they are typed."""
        return ", ".join(value) if isinstance(value, list | tuple) else value

    def to_python(self, value: Any) -> Any:
        """Return the sizes one by one; which of them are none is for the action to say."""
        typed = str(value or "").replace("\n", ",").split(",")
        return [" ".join(part.split()) for part in typed if part.strip()]


def _pipe_strings() -> PipeStringsField:
    return PipeStringsField(label="Pipe in the hole", help_text=_PIPE_HELP, max_length=200)


class DrawUpForm(HouseForm):
    """What can't be seen from the positions when a pressure system is drawn up."""

    pipe_strings = _pipe_strings()


class SystemForm(HouseForm):
    """A pressure system itself."""

    pipe_strings = _pipe_strings()
    remarks = forms.CharField(label="Remarks", required=False, widget=forms.Textarea({"rows": 3}))


class AfreshForm(HouseForm):
    """Why a pressure system is drawn up again."""

    reason = forms.CharField(label="Reason", max_length=200, widget=forms.TextInput({"autocomplete": "off"}))


class _CavityChoice(forms.ModelChoiceField):
    def label_from_instance(self, obj: Any) -> str:
        """Return the name, with what the cavity is to a test."""
        return f"{obj.name} (open to the air)" if obj.is_vent else str(obj.name)


class CavityForm(HouseForm):
    """A cavity of a pressure system."""

    name = forms.CharField(label="Name", max_length=60, help_text="Such as Below the upper pipe ram.")
    part = forms.ChoiceField(label="Drawn in", choices=PositionGroup.choices, initial=PositionGroup.BORE)
    is_pump_point = forms.BooleanField(label="A pump can be lined up to it", required=False)
    is_vent = forms.BooleanField(label="It is open to the air: a leak is seen there", required=False)
    rating = QuantityFormField(
        Dimension.PRESSURE,
        label="Rating of its own",
        required=False,
        positive=True,
        help_text="Of a hose or header that is no position of the stack; else empty.",
    )
    limited_by: forms.ModelMultipleChoiceField[Position] = forms.ModelMultipleChoiceField(
        label="What stands in it",
        queryset=None,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Spools, connectors and lines do not shut: their ratings bound the pressure here.",
    )

    def __init__(self, *args: Any, system: PressureSystem, **options: Any) -> None:
        super().__init__(*args, **options)
        cavity = self.row if isinstance(self.row, Cavity) else None
        free = bounding_positions(system, cavity)
        choice: forms.ModelMultipleChoiceField[Position] = self.fields["limited_by"]  # type: ignore[assignment]
        choice.queryset = free
        if cavity is not None:
            self.initial.setdefault("limited_by", list(cavity.limits.values_list("position", flat=True)))
        if not free.exists():
            del self.fields["limited_by"]


class ElementForm(HouseForm):
    """An element of a pressure system."""

    GROUPS: Groups = (
        ("What it is", "", ("name", "kind", "position", "rating")),
        ("Where it stands", "The well side is the one pressure from the well comes from.", ("well_side", "far_side")),
        ("What it can do", "", ("holds_from", "closes_with", "normally_closed")),
    )

    name = forms.CharField(label="Name", max_length=60, help_text="Such as Upper pipe ram.")
    kind = forms.ChoiceField(label="Kind", choices=[("", "Choose…"), *ElementKind.choices])
    position: forms.ModelChoiceField[Position] = forms.ModelChoiceField(
        label="Position",
        queryset=None,
        required=False,
        empty_label="No position of the stack",
        help_text="Its component gives the rating and the pipe it closes on.",
    )
    rating = QuantityFormField(
        Dimension.PRESSURE,
        label="Rated working pressure",
        required=False,
        positive=True,
        help_text="Counts only where no component with a rating stands in its position.",
    )
    well_side = _CavityChoice(label="Well side", queryset=None, empty_label="Choose…")
    far_side = _CavityChoice(label="Far side", queryset=None, empty_label="Choose…")
    holds_from = forms.ChoiceField(label="It holds", choices=HoldsFrom.choices, widget=forms.RadioSelect)
    closes_with = forms.ChoiceField(
        label="It closes",
        choices=ClosesWith.choices,
        initial=ClosesWith.ANY,
        help_text="Preventers close on what their component says, whatever stands here.",
    )
    normally_closed = forms.BooleanField(label="It is closed while drilling", required=False)

    def __init__(self, *args: Any, system: PressureSystem, **options: Any) -> None:
        super().__init__(*args, **options)
        element = self.row if isinstance(self.row, SystemElement) else None
        self._offer("position", shutting_positions(system, element))
        for side in ("well_side", "far_side"):
            self._offer(side, system.cavities.all())
        self.initial.setdefault("holds_from", HoldsFrom.BOTH)

    def _offer(self, name: str, rows: Any) -> None:
        choice: forms.ModelChoiceField[Any] = self.fields[name]  # type: ignore[assignment]
        choice.queryset = rows
