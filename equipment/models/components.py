"""Components: the serial-numbered parts, their elastomers, documents and service."""

from django.db import models

from calcs.units import Dimension
from equipment.models.quantities import QuantityField, whole_quantity
from equipment.models.rigs import Rig
from equipment.models.withdrawing import Withdrawable


class ComponentKind(models.TextChoices):
    ANNULAR = "annular", "Annular preventer"
    PIPE_RAM = "pipe-ram", "Pipe ram"
    VARIABLE_BORE_RAM = "variable-bore-ram", "Variable-bore ram"
    BLIND_RAM = "blind-ram", "Blind ram"
    BLIND_SHEAR_RAM = "blind-shear-ram", "Blind-shear ram"
    CASING_SHEAR_RAM = "casing-shear-ram", "Casing-shear ram"
    CONNECTOR = "connector", "Connector"
    DRILLING_SPOOL = "drilling-spool", "Drilling spool"
    CHOKE_VALVE = "choke-valve", "Choke line valve"
    KILL_VALVE = "kill-valve", "Kill line valve"
    GATE_VALVE_HYDRAULIC = "gate-valve-hydraulic", "Gate valve, hydraulic"
    GATE_VALVE_MANUAL = "gate-valve-manual", "Gate valve, manual"
    CHECK_VALVE = "check-valve", "Check valve"
    CHOKE = "choke", "Choke"
    MANIFOLD = "manifold", "Manifold"
    STANDPIPE_VALVE = "standpipe-valve", "Standpipe valve"
    KELLY_VALVE = "kelly-valve", "Kelly or top-drive valve"
    SAFETY_VALVE = "safety-valve", "Drill string safety valve"
    INSIDE_BOP = "inside-bop", "Inside BOP"
    FLEXIBLE_LINE = "flexible-line", "Flexible line"
    CLOSING_UNIT = "closing-unit", "Closing unit"
    ACCUMULATOR_BANK = "accumulator-bank", "Accumulator bank"
    RISER = "riser", "Riser"
    DIVERTER = "diverter", "Diverter"


RAM_KINDS = frozenset({"pipe-ram", "variable-bore-ram", "blind-ram", "blind-shear-ram", "casing-shear-ram"})
NOT_PRESSURE_TESTED = frozenset({"casing-shear-ram", "closing-unit", "accumulator-bank", "riser", "diverter", "choke"})
"""Kinds that hold no wellbore pressure when closed, or have tests of their own (common practice)."""


class Component(models.Model):
    """One serial-numbered piece of well-control equipment."""

    rig = models.ForeignKey(
        Rig, on_delete=models.PROTECT, related_name="components", help_text="Rig that holds it now."
    )
    kind = models.CharField(max_length=24, choices=ComponentKind)
    serial = models.CharField("serial number", max_length=60)
    maker = models.CharField(max_length=80, blank=True)
    model = models.CharField(max_length=80, blank=True)
    nominal_bore = QuantityField(Dimension.LENGTH, blank=True)
    rated_working_pressure = QuantityField(Dimension.PRESSURE, "rated working pressure (RWP)", blank=True)
    temperature_class = models.CharField(max_length=40, blank=True, help_text="As marked on the component.")
    closing_volume = QuantityField(Dimension.VOLUME, blank=True)
    opening_volume = QuantityField(Dimension.VOLUME, blank=True)
    closing_ratio = models.DecimalField(max_digits=7, decimal_places=3, null=True, blank=True)
    opening_ratio = models.DecimalField(max_digits=7, decimal_places=3, null=True, blank=True)
    rated_operating_pressure = QuantityField(Dimension.PRESSURE, blank=True, help_text="Of its operator, gauge.")
    closes_on_smallest = QuantityField(
        Dimension.LENGTH, blank=True, help_text="Smallest pipe it closes on, outside diameter."
    )
    closes_on_largest = QuantityField(
        Dimension.LENGTH, blank=True, help_text="Largest pipe it closes on, outside diameter."
    )
    closes_on_open_hole = models.BooleanField(default=False, help_text="It seals with no pipe in the hole.")
    manufactured_on = models.DateField(null=True, blank=True)
    last_major_inspection_on = models.DateField(null=True, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True, help_text="Retired components stay on file, out of use.")
    retired_reason = models.CharField(max_length=200, blank=True)
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ("kind", "serial")
        constraints = (
            models.UniqueConstraint(
                fields=["rig", "kind", "serial"],
                name="component_serial_once",
                violation_error_message="The rig already holds a component of this kind and serial number.",
            ),
            models.CheckConstraint(
                condition=models.Q(closing_ratio__isnull=True) | models.Q(closing_ratio__gt=0),
                name="component_closing_ratio_positive",
                violation_error_message="A closing ratio is over zero.",
            ),
            models.CheckConstraint(
                condition=models.Q(opening_ratio__isnull=True) | models.Q(opening_ratio__gt=0),
                name="component_opening_ratio_positive",
                violation_error_message="An opening ratio is over zero.",
            ),
            models.CheckConstraint(
                condition=models.Q(closes_on_smallest_si__isnull=True)
                | models.Q(closes_on_largest_si__isnull=True)
                | models.Q(closes_on_largest_si__gte=models.F("closes_on_smallest_si")),
                name="component_pipe_range_ordered",
                violation_error_message="The largest pipe is at least the smallest.",
            ),
            models.CheckConstraint(
                condition=models.Q(rated_working_pressure_si__isnull=True) | models.Q(rated_working_pressure_si__gt=0),
                name="component_rwp_positive",
                violation_error_message="A rated working pressure is over zero.",
            ),
            whole_quantity("component", "rated_working_pressure"),
            whole_quantity("component", "nominal_bore"),
            whole_quantity("component", "closing_volume"),
            whole_quantity("component", "opening_volume"),
        )
        indexes = (models.Index(fields=["rig", "kind"], name="component_by_rig_kind"),)

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.serial}"


class Elastomer(Withdrawable):
    """A seal or packing element fitted in a component."""

    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="elastomers")
    part = models.CharField(max_length=80, help_text="Such as packing element, ram block seals.")
    compound = models.CharField(max_length=60, blank=True)
    batch = models.CharField(max_length=60, blank=True)
    installed_on = models.DateField()
    expires_on = models.DateField(null=True, blank=True)
    removed_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("component", "part", "-installed_on")
        constraints = (
            models.CheckConstraint(
                condition=models.Q(removed_on__isnull=True) | models.Q(removed_on__gte=models.F("installed_on")),
                name="elastomer_removed_after_installed",
                violation_error_message="An elastomer is removed on or after the day it was installed.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.part} ({self.compound or 'compound not stated'})"


class ServiceKind(models.TextChoices):
    REPAIR = "repair", "Repair"
    ELASTOMER_CHANGE = "elastomer-change", "Elastomer change"
    DISCONNECTION = "disconnection", "Disconnection of a pressure seal"
    OVERHAUL = "overhaul", "Overhaul"
    MAJOR_INSPECTION = "major-inspection", "Major inspection"
    OUT_OF_SERVICE = "out-of-service", "Taken out of service"
    BACK_IN_SERVICE = "back-in-service", "Back in service"


class ServiceEvent(Withdrawable):
    """Work on a component that makes its earlier tests count no more, or its leaving and coming back into service."""

    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="service_events")
    kind = models.CharField(max_length=20, choices=ServiceKind)
    at = models.DateTimeField(help_text="When the work was finished.")
    description = models.TextField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ("-at", "-id")
        indexes = (models.Index(fields=["component", "-at"], name="serviceevent_by_component"),)

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.component}"
