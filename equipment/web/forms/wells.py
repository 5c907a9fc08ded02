"""Forms of wells and hole sections."""

from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from calcs.units import Dimension
from equipment.models import DepthDatum, MaspBasis, MaspMethod
from equipment.web.fields import DEPTHS, QuantityFormField, RigTimeField, day_input
from equipment.web.forms.base_form import HouseForm


class WellForm(HouseForm):
    """A well."""

    name = forms.CharField(label="Name", max_length=80)
    datum = forms.ChoiceField(
        label="Depths are measured from", choices=DepthDatum.choices, initial=DepthDatum.ROTARY_TABLE
    )
    water_depth = QuantityFormField(
        Dimension.LENGTH, DEPTHS, label="Water depth", required=False, help_text="Sea level to mudline; empty on land."
    )
    air_gap = QuantityFormField(
        Dimension.LENGTH,
        DEPTHS,
        label="Air gap",
        required=False,
        help_text="Datum down to sea level; empty on land and when depths are measured from sea level.",
    )
    spudded_on = forms.DateField(label="Spudded on", required=False, widget=day_input())
    finished_on = forms.DateField(label="Finished on", required=False, widget=day_input())


class SectionForm(HouseForm):
    """A hole section with the figures its MASP is worked out from."""

    GROUPS = (
        ("Section", "Depths are true vertical, from the well's datum.", ("name", "order", "begins_at", "total_depth")),
        (
            "Maximum anticipated surface pressure (MASP)",
            "Worked out from the figures below as you type, or entered with its reason. Only saving keeps it.",
            ("masp_basis", "masp_method", "masp", "masp_reason"),
        ),
        (
            "Figures of the sum",
            "",
            ("pore_gradient", "mud_weight", "gas_gradient", "fracture_gradient", "casing_shoe_depth"),
        ),
        (
            "What else limits a test",
            "The weakest part exposed limits every test pressure.",
            (
                "casing_internal_yield",
                "wellhead_rated_working_pressure",
                "masp_margin_approval",
                "approved_test_pressure",
                "approved_test_pressure_reference",
            ),
        ),
    )
    SUM_FIELDS = (
        "total_depth",
        "pore_gradient",
        "mud_weight",
        "gas_gradient",
        "fracture_gradient",
        "casing_shoe_depth",
    )

    name = forms.CharField(label="Name", max_length=60, help_text="Such as 12 1/4 in section.")
    order = forms.IntegerField(
        label="Order",
        required=False,
        min_value=1,
        max_value=99,
        help_text="Counted from the top; empty for the next.",
        widget=forms.TextInput({"inputmode": "numeric", "class": "short"}),
    )
    total_depth = QuantityFormField(
        Dimension.LENGTH, DEPTHS, label="Depth at its end", required=False, positive=True, help_text="True vertical."
    )
    masp_basis = forms.ChoiceField(
        label="The MASP is",
        choices=MaspBasis.choices,
        widget=forms.RadioSelect,
        initial=MaspBasis.WORKED_OUT,
    )
    masp_method = forms.ChoiceField(
        label="Method",
        required=False,
        choices=[("", "Not yet: the figures are to come"), *MaspMethod.choices],
        widget=forms.Select({"class": "long"}),
        help_text="Take the one your permit or well programme prescribes.",
    )
    masp = QuantityFormField(Dimension.PRESSURE, label="MASP", required=False, positive=True, help_text="Gauge.")
    masp_reason = forms.CharField(
        label="Reason",
        required=False,
        max_length=2000,
        widget=forms.Textarea({"rows": 2}),
        help_text="Where the figure comes from, such as the document and its revision.",
        error_messages={"required": "A MASP that was entered needs its reason. Say where the figure comes from."},
    )
    pore_gradient = QuantityFormField(
        Dimension.PRESSURE_GRADIENT,
        label="Pore pressure gradient",
        required=False,
        positive=True,
        help_text="At the section's end. Left empty, the mud weight stands for it.",
    )
    mud_weight = QuantityFormField(Dimension.DENSITY, label="Mud weight", required=False, positive=True)
    gas_gradient = QuantityFormField(
        Dimension.PRESSURE_GRADIENT,
        label="Gas gradient",
        required=False,
        positive=True,
        help_text="Such as 0.1 psi/ft or 2.3 kPa/m (common practice).",
    )
    fracture_gradient = QuantityFormField(
        Dimension.PRESSURE_GRADIENT,
        label="Fracture gradient",
        required=False,
        positive=True,
        help_text="At the casing shoe; as a gradient, or as the mud weight it is equal to (lb/gal, SG).",
    )
    casing_shoe_depth = QuantityFormField(
        Dimension.LENGTH,
        DEPTHS,
        label="Depth of the casing shoe",
        required=False,
        positive=True,
        help_text="The last shoe, true vertical.",
    )
    casing_internal_yield = QuantityFormField(
        Dimension.PRESSURE,
        label="Casing burst rating (internal yield)",
        required=False,
        positive=True,
        help_text="Minimum, of the casing under the stack.",
    )
    wellhead_rated_working_pressure = QuantityFormField(
        Dimension.PRESSURE, label="Rated working pressure of the wellhead", required=False, positive=True
    )
    masp_margin_approval = forms.CharField(
        label="Approval of MASP plus a margin",
        required=False,
        max_length=120,
        help_text="Permit reference that allows testing to MASP plus a margin in place of the rated working pressure.",
    )
    approved_test_pressure = QuantityFormField(
        Dimension.PRESSURE,
        label="Approved test pressure",
        required=False,
        positive=True,
        help_text="Where the rules leave the high pressure to a permit or a well programme. Gauge.",
    )
    approved_test_pressure_reference = forms.CharField(
        label="Reference of the approved test pressure",
        required=False,
        max_length=120,
        help_text="Permit, letter or well programme with its revision.",
    )

    def clean(self) -> dict[str, Any]:
        """Refuse an approved pressure without its reference, and a reference of no pressure."""
        given = self.cleaned_data
        pressure, reference = given.get("approved_test_pressure"), given.get("approved_test_pressure_reference")
        if pressure and not reference and "approved_test_pressure_reference" not in self.errors:
            self.add_error("approved_test_pressure_reference", "An approved test pressure needs its reference.")
        if reference and not pressure and "approved_test_pressure" not in self.errors:
            self.add_error("approved_test_pressure", "Give the pressure that is approved, or leave both empty.")
        return given

    def __init__(self, *args: Any, zone: ZoneInfo, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["begins_at"] = RigTimeField(
            zone, label="Drilling out begins", required=False, help_text=f"On the rig's clock, {zone.key}."
        )
        for name in ("masp", "masp_reason"):
            self.fields[name].required = not self.is_bound or self.data.get("masp_basis") == MaspBasis.ENTERED
        if self.row is not None:
            self.initial["begins_at"] = getattr(self.row, "begins_at", None)
            self.fields["order"].required = True

    @property
    def facts(self) -> dict[str, Any]:
        """Return the cleaned values; the figure only where it is entered, since else it is worked out."""
        values = super().facts
        if values.get("masp_basis") != MaspBasis.ENTERED:
            values.pop("masp", None)
        return values
