"""Accumulator banks: their bottles, and the nitrogen precharge read from each."""

from django.db import models
from django.db.models import F, Q, Value
from django.db.models.functions import Coalesce

from calcs.units import Dimension
from equipment.models.components import Component
from equipment.models.instruments import Instrument
from equipment.models.quantities import QuantityField, whole_quantity


class BankPurpose(models.TextChoices):
    MAIN = "main", "Main bank"
    DEDICATED_SHEAR = "dedicated-shear", "Dedicated shear bank"
    AUTOSHEAR_DEADMAN = "autoshear-deadman", "Autoshear and deadman bank"
    EMERGENCY_DISCONNECT = "emergency-disconnect", "Emergency disconnect bank"
    ACOUSTIC = "acoustic", "Acoustic system bank"
    PILOT = "pilot", "Pilot bank"
    DIVERTER = "diverter", "Diverter bank"
    OTHER = "other", "Other bank"


class BankLocation(models.TextChoices):
    SURFACE = "surface", "At surface"
    SUBSEA = "subsea", "Subsea"


class PrechargeBasis(models.TextChoices):
    ABOVE_HYDROSTATIC = "above-hydrostatic", "Above the hydrostatic pressure at depth"
    AS_SET = "as-set", "As set, read on the gauge at surface"


def _or_nothing(column: str) -> Coalesce:
    """Return the column, or zero where it is empty: PostgreSQL can't tell which product two bare nulls would have."""
    return Coalesce(F(column), Value(0.0, output_field=models.FloatField()))


class Bank(models.Model):
    """The accumulator side of a component of kind accumulator-bank. Pressures are gauge.

    `design_precharge` holds at `reference_temperature`. Above hydrostatic it stands over the column of
    seawater at `depth`; as set it is the figure on the gauge at surface.
    """

    component = models.OneToOneField(Component, on_delete=models.PROTECT, related_name="bank")
    purpose = models.CharField(max_length=20, choices=BankPurpose)
    location = models.CharField(max_length=8, choices=BankLocation, default=BankLocation.SURFACE)
    depth = QuantityField(Dimension.LENGTH, blank=True, help_text="Below sea level; subsea banks only.")
    control_fluid_gradient = QuantityField(Dimension.PRESSURE_GRADIENT, blank=True)
    seawater_gradient = QuantityField(
        Dimension.PRESSURE_GRADIENT,
        blank=True,
        help_text="When empty, the control fluid's gradient stands for both (the training handbooks' way).",
    )
    design_precharge = QuantityField(Dimension.PRESSURE)
    reference_temperature = QuantityField(
        Dimension.TEMPERATURE, help_text="Gas temperature at which the design precharge holds."
    )
    precharge_basis = models.CharField(max_length=20, choices=PrechargeBasis, default=PrechargeBasis.AS_SET)
    charged_pressure = QuantityField(Dimension.PRESSURE, help_text="Rated pressure of the charged bank.")
    minimum_operating_pressure = QuantityField(Dimension.PRESSURE, blank=True)
    precharge_tolerance = QuantityField(
        Dimension.PRESSURE, blank=True, help_text="Either side of the design precharge; not judged when empty."
    )
    tolerance_source = models.CharField(max_length=160, blank=True, help_text="Where the tolerance comes from.")
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ("component",)
        constraints = (
            models.CheckConstraint(
                condition=Q(location="surface", depth_si__isnull=True)
                | Q(
                    location="subsea",
                    depth_si__isnull=False,  # a comparison with nothing is neither true nor false, and would pass
                    depth_si__gt=0,
                    control_fluid_gradient_si__isnull=False,
                    control_fluid_gradient_si__gt=0,
                ),
                name="bank_subsea_has_depth",
                violation_error_message="A subsea bank needs its depth and the gradient of the control fluid; "
                "a bank at surface has no depth.",
            ),
            models.CheckConstraint(
                condition=Q(location="subsea") | Q(precharge_basis="as-set"),
                name="bank_surface_precharge_as_set",
                violation_error_message="At surface nothing stands over the bank: its precharge is as set.",
            ),
            models.CheckConstraint(
                condition=Q(design_precharge_si__gt=0),
                name="bank_precharge_positive",
                violation_error_message="A design precharge is over zero.",
            ),
            models.CheckConstraint(
                # As set for depth, a precharge may well be over the supply at surface: the fluid column helps there.
                condition=Q(charged_pressure_si__gt=F("design_precharge_si"))
                | Q(
                    location="subsea",
                    precharge_basis="as-set",
                    charged_pressure_si__gt=F("design_precharge_si")
                    - _or_nothing("depth_si") * _or_nothing("control_fluid_gradient_si"),
                ),
                name="bank_charged_over_precharge",
                violation_error_message="A bank is charged to more than its precharge, else it holds no fluid.",
            ),
            models.CheckConstraint(
                condition=Q(minimum_operating_pressure_si__isnull=True)
                | Q(minimum_operating_pressure_si__lt=F("charged_pressure_si")),
                name="bank_minimum_under_charged",
                violation_error_message="The minimum operating pressure is under the charged pressure.",
            ),
            models.CheckConstraint(
                condition=Q(precharge_tolerance_si__isnull=True)
                | (Q(precharge_tolerance_si__gt=0) & ~Q(tolerance_source="")),
                name="bank_tolerance_has_source",
                violation_error_message="A tolerance is over zero and names where it comes from.",
            ),
            *(
                whole_quantity("bank", name)
                for name in (
                    "depth",
                    "control_fluid_gradient",
                    "seawater_gradient",
                    "design_precharge",
                    "reference_temperature",
                    "charged_pressure",
                    "minimum_operating_pressure",
                    "precharge_tolerance",
                )
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} {self.component.serial}"


class BottleState(models.TextChoices):
    IN_SERVICE = "in-service", "In service"
    SHUT_OFF = "shut-off", "Shut off"
    REMOVED = "removed", "Removed"


class Bottle(models.Model):
    """One bottle of a bank.

    Bladder, float or piston takes its share of the shell: a bottle of 11 gal holds 10 gal of gas. The
    sums use the gas volume alone.
    """

    bank = models.ForeignKey(Bank, on_delete=models.PROTECT, related_name="bottles")
    position_number = models.PositiveSmallIntegerField("position", help_text="As numbered on the rack.")
    serial = models.CharField("serial number", max_length=60)
    shell_volume = QuantityField(Dimension.VOLUME, help_text="Of the empty shell, the size it is sold by.")
    gas_volume = QuantityField(Dimension.VOLUME, help_text="Of the gas when the bottle holds no fluid.")
    shell_tested_on = models.DateField("last shell test", null=True, blank=True, help_text="Hydrostatic test.")
    shell_test_due_on = models.DateField("shell test due", null=True, blank=True)
    state = models.CharField(max_length=12, choices=BottleState, default=BottleState.IN_SERVICE)
    state_since = models.DateField("in this state since")
    state_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("bank", "position_number", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=["bank", "serial"],
                name="bottle_serial_once",
                violation_error_message="The bank has a bottle of this serial number.",
            ),
            models.UniqueConstraint(
                fields=["bank", "position_number"],
                condition=~Q(state="removed"),
                name="bottle_position_once",
                violation_error_message="Another bottle stands in this position.",
            ),
            models.CheckConstraint(
                condition=Q(gas_volume_si__gt=0),
                name="bottle_gas_volume_positive",
                violation_error_message="A gas volume is over zero.",
            ),
            models.CheckConstraint(
                condition=Q(gas_volume_si__lt=F("shell_volume_si")),
                name="bottle_gas_within_shell",
                violation_error_message="The gas volume is less than the shell's: bladder or float takes a share.",
            ),
            models.CheckConstraint(
                condition=Q(shell_test_due_on__isnull=True)
                | Q(shell_tested_on__isnull=True)
                | Q(shell_test_due_on__gt=F("shell_tested_on")),
                name="bottle_shell_test_ordered",
                violation_error_message="A shell test falls due after the last one.",
            ),
            models.CheckConstraint(
                condition=Q(state="in-service") | ~Q(state_reason=""),
                name="bottle_out_of_use_has_reason",
                violation_error_message="A bottle shut off or removed needs its reason.",
            ),
            whole_quantity("bottle", "shell_volume"),
            whole_quantity("bottle", "gas_volume"),
        )

    def __str__(self) -> str:
        return f"Bottle {self.position_number} ({self.serial})"


class PrechargeCheck(models.Model):
    """One round of precharge readings over a bank, with one instrument. Never changed once written.

    The precharge can be read only with no fluid in the bottles; `fluid_bled_off` confirms it. In
    `instrument_as_used`, ``copied_later`` marks a copy made when the copies were introduced, not on the day.
    """

    bank = models.ForeignKey(Bank, on_delete=models.PROTECT, related_name="precharge_checks")
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="precharge_checks")
    instrument_as_used = models.JSONField(default=dict, help_text="Its range, accuracy and calibration, as they stood.")
    taken_at = models.DateTimeField()
    taken_by = models.CharField(max_length=150)
    fluid_bled_off = models.BooleanField(default=False)
    remarks = models.TextField(blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ("-taken_at", "-pk")
        indexes = (models.Index(fields=["bank", "-taken_at"], name="prechargecheck_by_bank"),)
        constraints = (
            models.CheckConstraint(
                condition=Q(fluid_bled_off=True),
                name="prechargecheck_fluid_bled_off",
                violation_error_message="With fluid in the bottle the gauge shows more than the precharge.",
            ),
        )

    def __str__(self) -> str:
        return f"Precharge check of {self.bank}"


class PrechargeReading(models.Model):
    """The precharge of one bottle as read, gauge, with the temperature of its gas.

    Never changed once written: a wrong figure is corrected by a later reading that names it.
    """

    check_round = models.ForeignKey(PrechargeCheck, on_delete=models.PROTECT, related_name="readings")
    bottle = models.ForeignKey(Bottle, on_delete=models.PROTECT, related_name="precharge_readings")
    pressure = QuantityField(Dimension.PRESSURE, help_text="Gauge, as read.")
    gas_temperature = QuantityField(Dimension.TEMPERATURE)
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    reason = models.CharField(max_length=200, blank=True, help_text="Why the earlier figure was wrong.")
    recorded_at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ("check_round", "bottle", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=["check_round", "bottle"],
                condition=Q(corrects__isnull=True),
                name="prechargereading_once_a_round",
                violation_error_message="This bottle was read in this round already.",
            ),
            models.CheckConstraint(
                condition=Q(pressure_si__gte=0),
                name="prechargereading_not_negative",
                violation_error_message="A gauge shows zero or more.",
            ),
            models.CheckConstraint(
                condition=Q(corrects__isnull=True) | ~Q(reason=""),
                name="prechargereading_correction_has_reason",
                violation_error_message="A correction needs its reason.",
            ),
            whole_quantity("prechargereading", "pressure"),
            whole_quantity("prechargereading", "gas_temperature"),
        )

    def __str__(self) -> str:
        return f"Precharge of {self.bottle}"
