"""Test instruments: the gauges and recorders a test is proved with."""

from django.db import models

from calcs.units import Dimension
from equipment.models.quantities import QuantityField, whole_quantity
from equipment.models.rigs import Rig


class InstrumentKind(models.TextChoices):
    GAUGE = "gauge", "Pressure gauge"
    DIGITAL_RECORDER = "digital-recorder", "Digital recorder"
    CHART_RECORDER = "chart-recorder", "Chart recorder"


class Instrument(models.Model):
    """A gauge or recorder with its range, accuracy and calibration."""

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="instruments")
    kind = models.CharField(max_length=20, choices=InstrumentKind)
    serial = models.CharField("serial number", max_length=60)
    maker = models.CharField(max_length=80, blank=True)
    model = models.CharField(max_length=80, blank=True)
    range_low = QuantityField(Dimension.PRESSURE, blank=True)
    range_high = QuantityField(Dimension.PRESSURE)
    accuracy_percent = models.DecimalField(
        "accuracy, % of full scale", max_digits=5, decimal_places=3, null=True, blank=True
    )
    chart_hours = models.DecimalField(
        "chart duration, hours",
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="Chart recorders only.",
    )
    calibrated_on = models.DateField(null=True, blank=True)
    calibration_due_on = models.DateField(null=True, blank=True)
    certificate_number = models.CharField(max_length=80, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("kind", "serial")
        constraints = (
            models.UniqueConstraint(
                fields=["rig", "kind", "serial"],
                name="instrument_serial_once",
                violation_error_message="The rig already has an instrument of this kind and serial number.",
            ),
            models.CheckConstraint(
                condition=models.Q(range_low_si__isnull=True) | models.Q(range_high_si__gt=models.F("range_low_si")),
                name="instrument_range_ordered",
                violation_error_message="The top of the range is over its bottom.",
            ),
            models.CheckConstraint(
                condition=models.Q(calibration_due_on__isnull=True)
                | models.Q(calibrated_on__isnull=True)
                | models.Q(calibration_due_on__gt=models.F("calibrated_on")),
                name="instrument_calibration_ordered",
                violation_error_message="A calibration falls due after it was made.",
            ),
            whole_quantity("instrument", "range_high"),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.serial}"
