"""Forms of stacks, positions and installations."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from equipment.models import Component, ComponentKind, Installation, Position, PositionGroup, Stack, StackKind
from equipment.queries.components import installable
from equipment.queries.stacks import positions_of
from equipment.web.fields import RigTimeField
from equipment.web.forms.base_form import HouseForm


class StackForm(HouseForm):
    """A stack."""

    name = forms.CharField(label="Name", max_length=80)
    kind = forms.ChoiceField(label="Kind", choices=StackKind.choices, widget=forms.RadioSelect)


class _PositionChoice(forms.ModelChoiceField):
    def label_from_instance(self, obj: Any) -> str:
        """Return the number and name of the position."""
        return f"{obj.order}  {obj.name}"


class PositionForm(HouseForm):
    """A position of a stack."""

    name = forms.CharField(label="Name", max_length=60, help_text="Such as Upper pipe ram.")
    kind = forms.ChoiceField(
        label="Kind of component", choices=[("", "Choose…"), *ComponentKind.choices], help_text="Only these fit here."
    )
    group = forms.ChoiceField(label="Belongs to", choices=PositionGroup.choices, initial=PositionGroup.BORE)
    outlet_of = _PositionChoice(
        label="Outlet of",
        queryset=None,
        required=False,
        empty_label="Nothing",
        help_text="For a valve on a side outlet: the position in the bore that has the outlet.",
    )

    def __init__(self, *args: Any, stack: Stack, **options: Any) -> None:
        super().__init__(*args, **options)
        bore = positions_of(stack).filter(group=PositionGroup.BORE)
        outlets: forms.ModelChoiceField[Position] = self.fields["outlet_of"]  # type: ignore[assignment]
        outlets.queryset = bore.exclude(pk=self.row.pk) if self.row else bore
        places = list(range(1, stack.positions.count() + (1 if self.row else 2)))
        self.fields["order"] = forms.TypedChoiceField(
            label="Place", coerce=int, choices=[(one, one) for one in places], help_text="Counted from the top."
        )
        self.initial.setdefault("order", getattr(self.row, "order", places[-1]))


class _ComponentChoice(forms.ModelChoiceField):
    def label_from_instance(self, obj: Any) -> str:
        """Return what tells one component from another."""
        make = " ".join(part for part in (obj.maker, obj.model) if part)
        rating = str(obj.rated_working_pressure or "")
        return ", ".join(part for part in (obj.serial, make, rating) if part)


class InstallForm(HouseForm):
    """Which component was installed in a position, and when."""

    component = _ComponentChoice(label="Component", queryset=None, empty_label="Choose…")

    def __init__(self, *args: Any, position: Position, zone: ZoneInfo, at: datetime, **options: Any) -> None:
        super().__init__(*args, **options)
        choice: forms.ModelChoiceField[Component] = self.fields["component"]  # type: ignore[assignment]
        choice.queryset = installable(position)
        self.fields["installed_at"] = RigTimeField(
            zone, label="Installed at", help_text=f"On the rig's clock, {zone.key}."
        )
        self.initial.setdefault("installed_at", at)


class RemovalForm(HouseForm):
    """When and why a component was removed."""

    reason = forms.CharField(label="Reason", max_length=200, help_text="Such as overhaul, worn, rig move.")
    field_order = ("removed_at", "reason")

    def __init__(self, *args: Any, zone: ZoneInfo, at: datetime, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["removed_at"] = RigTimeField(zone, label="Removed at", help_text=f"On the rig's clock, {zone.key}.")
        self.initial.setdefault("removed_at", at)
        self.order_fields(self.field_order)


class CorrectionForm(HouseForm):
    """The times of an installation as they should have been written down."""

    reason = forms.CharField(label="Reason", max_length=200, help_text="What was written down wrongly.")

    def __init__(self, *args: Any, zone: ZoneInfo, installation: Installation, **options: Any) -> None:
        super().__init__(*args, **options)
        note = f"On the rig's clock, {zone.key}."
        self.fields["installed_at"] = RigTimeField(zone, label="Installed at", help_text=note)
        self.initial.setdefault("installed_at", installation.installed_at)
        if installation.removed_at is not None:
            self.fields["removed_at"] = RigTimeField(zone, label="Removed at", help_text=note)
            self.initial.setdefault("removed_at", installation.removed_at)
        self.order_fields(("installed_at", "removed_at", "reason"))


class MomentForm(forms.Form):
    """The moment at which a stack is looked at."""

    use_required_attribute = False

    def __init__(self, *args: Any, zone: ZoneInfo, latest: datetime, **options: Any) -> None:
        super().__init__(*args, **options)
        self.latest = latest
        self.fields["at"] = RigTimeField(zone, label=f"As it stood at ({zone.key})", required=False)

    def clean_at(self) -> datetime | None:
        """Return the moment; one to come shows nothing that is known."""
        at: datetime | None = self.cleaned_data["at"]
        if at is not None and at > self.latest:
            raise forms.ValidationError("This time lies in the future. Give a past one, or leave it empty for now.")
        return at
