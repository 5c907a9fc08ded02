"""Forms of control items."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from equipment.models import ControlKind, ControlPlace, Stack, StackKind
from equipment.web.fields import RigTimeField
from equipment.web.forms.base_form import HouseForm

_ONLY_SUBSEA = (ControlKind.POD, ControlKind.ROV_INTERVENTION)


class ControlForm(HouseForm):
    """A station, panel, pod or emergency system of a stack."""

    kind = forms.ChoiceField(label="Kind")
    name = forms.CharField(label="Name", max_length=60, help_text="Such as Drill floor station.")
    place = forms.ChoiceField(
        label="Which one",
        required=False,
        choices=[("", "None of these"), *ControlPlace.choices],
        help_text="Stations and pods are used in turn by it, and pressure tests name it.",
    )
    field_order = ("kind", "name", "place", "in_service_from", "reason")

    def __init__(self, *args: Any, stack: Stack, at: datetime, **options: Any) -> None:
        super().__init__(*args, **options)
        subsea = stack.kind == StackKind.SUBSEA
        kinds = [(value, label) for value, label in ControlKind.choices if subsea or value not in _ONLY_SUBSEA]
        self.fields["kind"].choices = [("", "Choose…"), *kinds]  # type: ignore[attr-defined]
        self.fields["in_service_from"] = RigTimeField(
            stack.rig.zone,
            label="In service from",
            help_text=f"On the rig's clock, {stack.rig.time_zone}. Its tests are due from then on.",
        )
        self.initial.setdefault("in_service_from", getattr(self.row, "in_service_from", at))
        self.order_fields(self.field_order)


class ControlAmendmentForm(ControlForm):
    """A control item as it should have been written down."""

    reason = forms.CharField(
        label="Reason",
        max_length=200,
        widget=forms.TextInput({"autocomplete": "off"}),
        help_text="What was written down wrongly. What stood there stays readable in the history.",
    )


class ControlRetirementForm(HouseForm):
    """When a control item went out of service, and why."""

    reason = forms.CharField(label="Reason", max_length=200, widget=forms.TextInput({"autocomplete": "off"}))
    field_order = ("retired_at", "reason")

    def __init__(self, *args: Any, zone: ZoneInfo, at: datetime, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["retired_at"] = RigTimeField(
            zone, label="Out of service from", help_text=f"On the rig's clock, {zone.key}."
        )
        self.initial.setdefault("retired_at", at)
        self.order_fields(self.field_order)
