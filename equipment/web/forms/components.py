"""Forms of components and of what is done to them."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from calcs.sizes import MEGABYTE, megabytes
from calcs.units import Dimension
from equipment.actions.documents import LARGEST_DOCUMENT
from equipment.models import ComponentKind, DocumentKind, ServiceKind
from equipment.web.fields import SMALL_LENGTHS, VOLUMES, QuantityFormField, RigTimeField, day_input
from equipment.web.forms.base_form import Groups, HouseForm


def _ratio(label: str) -> forms.DecimalField:
    return forms.DecimalField(
        label=label,
        required=False,
        max_digits=7,
        decimal_places=3,
        widget=forms.TextInput({"inputmode": "decimal", "class": "short", "autocomplete": "off"}),
    )


class ComponentForm(HouseForm):
    """A component, as on its nameplate and in its papers."""

    GROUPS: Groups = (
        ("Identity", "As stamped on the body and in its papers.", ("kind", "serial", "maker", "model")),
        (
            "Ratings",
            "",
            ("rated_working_pressure", "nominal_bore", "temperature_class", "rated_operating_pressure"),
        ),
        (
            "Closing and opening",
            "Leave empty what the component does not have.",
            ("closing_volume", "opening_volume", "closing_ratio", "opening_ratio"),
        ),
        (
            "Pipe it closes on",
            "Outside diameters; the same size twice for a fixed bore.",
            ("closes_on_smallest", "closes_on_largest", "closes_on_open_hole"),
        ),
        ("Dates and remarks", "", ("manufactured_on", "last_major_inspection_on", "remarks")),
    )

    kind = forms.ChoiceField(label="Kind", choices=[("", "Choose…"), *ComponentKind.choices])
    serial = forms.CharField(label="Serial number", max_length=60)
    maker = forms.CharField(label="Maker", required=False, max_length=80)
    model = forms.CharField(label="Model", required=False, max_length=80)
    rated_working_pressure = QuantityFormField(
        Dimension.PRESSURE, label="Rated working pressure (RWP)", required=False, positive=True
    )
    nominal_bore = QuantityFormField(
        Dimension.LENGTH, SMALL_LENGTHS, label="Nominal bore", required=False, positive=True
    )
    temperature_class = forms.CharField(
        label="Temperature class", required=False, max_length=40, help_text="As marked on the component."
    )
    rated_operating_pressure = QuantityFormField(
        Dimension.PRESSURE,
        label="Rated operating pressure",
        required=False,
        positive=True,
        help_text="Of its operator, gauge.",
    )
    closing_volume = QuantityFormField(Dimension.VOLUME, VOLUMES, label="Closing volume", required=False, positive=True)
    opening_volume = QuantityFormField(Dimension.VOLUME, VOLUMES, label="Opening volume", required=False, positive=True)
    closing_ratio = _ratio("Closing ratio")
    opening_ratio = _ratio("Opening ratio")
    closes_on_smallest = QuantityFormField(
        Dimension.LENGTH, SMALL_LENGTHS, label="Smallest pipe", required=False, positive=True
    )
    closes_on_largest = QuantityFormField(
        Dimension.LENGTH, SMALL_LENGTHS, label="Largest pipe", required=False, positive=True
    )
    closes_on_open_hole = forms.BooleanField(label="It seals with no pipe in the hole", required=False)
    manufactured_on = forms.DateField(label="Manufactured on", required=False, widget=day_input())
    last_major_inspection_on = forms.DateField(label="Last major inspection", required=False, widget=day_input())
    remarks = forms.CharField(label="Remarks", required=False, max_length=4000, widget=forms.Textarea({"rows": 3}))


class ServiceForm(HouseForm):
    """Work finished on a component."""

    kind = forms.ChoiceField(label="Work done", choices=[("", "Choose…"), *ServiceKind.choices])
    description = forms.CharField(label="Description", max_length=4000, widget=forms.Textarea({"rows": 3}))
    field_order = ("kind", "finished_at", "description")

    def __init__(self, *args: Any, zone: ZoneInfo, at: datetime, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["finished_at"] = RigTimeField(
            zone,
            label="Finished at",
            help_text=f"On the rig's clock, {zone.key}. Tests before this time may no longer count.",
        )
        self.initial.setdefault("finished_at", at)
        self.order_fields(self.field_order)


class ElastomerForm(HouseForm):
    """An elastomer fitted in a component."""

    part = forms.CharField(label="Part", max_length=80, help_text="Such as packing element, ram block seals.")
    compound = forms.CharField(label="Compound", required=False, max_length=60)
    batch = forms.CharField(label="Batch", required=False, max_length=60)
    installed_on = forms.DateField(label="Fitted on", widget=day_input())
    expires_on = forms.DateField(label="Expires on", required=False, widget=day_input())


class ElastomerRemovalForm(HouseForm):
    """The day an elastomer was taken out."""

    removed_on = forms.DateField(label="Removed on", widget=day_input())


class DocumentForm(HouseForm):
    """A document with its file."""

    kind = forms.ChoiceField(label="Kind", choices=DocumentKind.choices)
    title = forms.CharField(label="Title", max_length=120)
    number = forms.CharField(label="Number", required=False, max_length=80)
    issued_on = forms.DateField(label="Issued on", required=False, widget=day_input())
    expires_on = forms.DateField(label="Expires on", required=False, widget=day_input())
    file = forms.FileField(
        label="File",
        allow_empty_file=True,
        max_length=200,
        help_text=f"Kept as received, up to {megabytes(LARGEST_DOCUMENT)}. It has to be chosen again after an "
        "error: a browser does not send it twice.",
        widget=forms.FileInput({"data-max-bytes": LARGEST_DOCUMENT, "data-megabyte": MEGABYTE}),
    )
