"""Wells and their hole sections: where the required test pressures come from."""

from django.db import models

from calcs.units import Dimension
from equipment.models.quantities import QuantityField, whole_quantity
from equipment.models.rigs import Rig


class DepthDatum(models.TextChoices):
    ROTARY_TABLE = "rotary-table", "Rotary table"
    KELLY_BUSHING = "kelly-bushing", "Kelly bushing"
    SEA_LEVEL = "sea-level", "Mean sea level"
    GROUND_LEVEL = "ground-level", "Ground level"


class Well(models.Model):
    """A well the rig works on."""

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="wells")
    name = models.CharField(max_length=80)
    datum = models.CharField(
        max_length=20, choices=DepthDatum, default=DepthDatum.ROTARY_TABLE, help_text="Point depths are measured from."
    )
    water_depth = QuantityField(Dimension.LENGTH, blank=True, help_text="Sea level to mudline; empty on land.")
    air_gap = QuantityField(Dimension.LENGTH, blank=True, help_text="Datum to sea level; empty on land.")
    spudded_on = models.DateField(null=True, blank=True)
    finished_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("rig", "-spudded_on", "name")
        constraints = (
            models.UniqueConstraint(
                fields=["rig", "name"],
                name="well_name_once_a_rig",
                violation_error_message="The rig has a well of this name.",
            ),
            models.CheckConstraint(
                condition=models.Q(finished_on__isnull=True)
                | models.Q(spudded_on__isnull=True)
                | models.Q(finished_on__gte=models.F("spudded_on")),
                name="well_finished_after_spud",
                violation_error_message="A well is finished on or after the day it was spudded.",
            ),
            whole_quantity("well", "water_depth"),
            whole_quantity("well", "air_gap"),
        )

    def __str__(self) -> str:
        return self.name


class MaspBasis(models.TextChoices):
    WORKED_OUT = "worked-out", "Worked out from the section's figures"
    ENTERED = "entered", "Entered, with its reason"


class MaspMethod(models.TextChoices):
    PORE_GAS = "pore-gas", "Formation pressure less the gas column"
    FRACTURE_GAS = "fracture-gas", "Fracture pressure at the shoe less the gas column"
    LESSER = "lesser", "The lesser of both"


class HoleSection(models.Model):
    """One section of the hole and the maximum anticipated surface pressure (MASP) that goes with it.

    Depths are true vertical, from the well's datum. Pressures are gauge; subsea the MASP is taken at
    the wellhead.
    """

    well = models.ForeignKey(Well, on_delete=models.PROTECT, related_name="sections")
    order = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=60, help_text="Such as 12 1/4 in section.")
    begins_at = models.DateTimeField(null=True, blank=True, help_text="When drilling out into the section began.")
    casing_shoe_depth = QuantityField(Dimension.LENGTH, blank=True, help_text="True vertical depth of the last shoe.")
    total_depth = QuantityField(Dimension.LENGTH, blank=True, help_text="True vertical depth at the section's end.")
    mud_weight = QuantityField(Dimension.DENSITY, blank=True)
    pore_gradient = QuantityField(Dimension.PRESSURE_GRADIENT, blank=True)
    fracture_gradient = QuantityField(Dimension.PRESSURE_GRADIENT, blank=True)
    gas_gradient = QuantityField(Dimension.PRESSURE_GRADIENT, blank=True)
    casing_internal_yield = QuantityField(
        Dimension.PRESSURE, blank=True, help_text="Minimum internal yield pressure of the casing under the stack."
    )
    wellhead_rated_working_pressure = QuantityField(Dimension.PRESSURE, blank=True)
    masp = QuantityField(Dimension.PRESSURE, "MASP", blank=True, help_text="Maximum anticipated surface pressure.")
    masp_basis = models.CharField(max_length=12, choices=MaspBasis, default=MaspBasis.WORKED_OUT)
    masp_method = models.CharField(max_length=14, choices=MaspMethod, blank=True)
    masp_reason = models.TextField(blank=True, help_text="Why the figure was entered rather than worked out.")
    masp_working = models.JSONField(default=list, blank=True, help_text="The steps of the sum, in order.")
    masp_margin_approval = models.CharField(
        max_length=120,
        blank=True,
        help_text="Permit reference that allows testing to MASP plus a margin in place of the rated working pressure.",
    )
    approved_test_pressure = QuantityField(
        Dimension.PRESSURE,
        blank=True,
        help_text="High pressure approved for this section, where the rules leave it to a permit or a programme.",
    )
    approved_test_pressure_reference = models.CharField(
        max_length=120, blank=True, help_text="Where it is approved: permit, letter or well programme."
    )

    class Meta:
        ordering = ("well", "order")
        constraints = (
            models.UniqueConstraint(
                fields=["well", "order"], name="holesection_order_once", violation_error_message="The order is taken."
            ),
            models.UniqueConstraint(
                fields=["well", "name"], name="holesection_name_once", violation_error_message="The name is taken."
            ),
            models.CheckConstraint(
                condition=models.Q(masp_basis="worked-out") | ~models.Q(masp_reason=""),
                name="holesection_entered_masp_has_reason",
                violation_error_message="A MASP that was entered needs its reason.",
            ),
            whole_quantity("holesection", "masp"),
            whole_quantity("holesection", "approved_test_pressure"),
            models.CheckConstraint(
                condition=models.Q(approved_test_pressure_value="") | ~models.Q(approved_test_pressure_reference=""),
                name="holesection_approved_pressure_has_reference",
                violation_error_message="An approved test pressure needs its reference.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.well.name}, {self.name}"
