"""Work that renews and is no test of its own record: inspection, overhaul, calibration, drill, and their like."""

from django.db import models
from django.db.models import F, Q

from calcs.units import Dimension
from equipment.models import (
    Component,
    ControlItem,
    Document,
    Elastomer,
    HoleSection,
    Instrument,
    QuantityField,
    Rig,
    ServiceEvent,
)
from equipment.models import Stack as BopStack
from equipment.models.quantities import whole_quantity
from tests_app.models.obligations import What


class Completion(models.Model):
    """One piece of work that renews one obligation, with its evidence. Append-only, but for its withdrawal."""

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="completions")
    what = models.CharField(max_length=16, choices=What)
    obligation_key = models.CharField(max_length=80, help_text="See Obligation.key.")
    subject = models.CharField(max_length=160, help_text="What it was done on, as it was named then.")
    stack = models.ForeignKey(BopStack, on_delete=models.PROTECT, null=True, blank=True, related_name="completions")
    component = models.ForeignKey(
        Component, on_delete=models.PROTECT, null=True, blank=True, related_name="completions"
    )
    control_item = models.ForeignKey(
        ControlItem, on_delete=models.PROTECT, null=True, blank=True, related_name="completions"
    )
    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="completions"
    )
    elastomer = models.ForeignKey(
        Elastomer, on_delete=models.PROTECT, null=True, blank=True, related_name="completions"
    )
    document = models.ForeignKey(Document, on_delete=models.PROTECT, null=True, blank=True, related_name="completions")
    section = models.ForeignKey(
        HoleSection, on_delete=models.PROTECT, null=True, blank=True, related_name="completions"
    )
    edition = models.CharField(max_length=60, blank=True, help_text="Of the rule it was done by.")
    rule_id = models.CharField(max_length=60, blank=True)
    clause = models.CharField(max_length=160, blank=True)
    started_at = models.DateTimeField()
    concluded_at = models.DateTimeField()
    passed = models.BooleanField()
    done_by = models.CharField(max_length=150, help_text="Who did it, with their company.")
    findings = models.TextField(blank=True)
    pressure_reached = QuantityField(Dimension.PRESSURE, blank=True, help_text="Of pressure tests, at the start.")
    pressure_left = QuantityField(Dimension.PRESSURE, blank=True, help_text="When the hold was over.")
    held_minutes = models.DecimalField(max_digits=7, decimal_places=2, null=True, blank=True)
    service_event = models.ForeignKey(
        ServiceEvent, on_delete=models.PROTECT, null=True, blank=True, related_name="+", help_text="Entered with it."
    )
    new_document = models.ForeignKey(
        Document, on_delete=models.PROTECT, null=True, blank=True, related_name="+", help_text="Attached with it."
    )
    new_elastomer = models.ForeignKey(
        Elastomer, on_delete=models.PROTECT, null=True, blank=True, related_name="+", help_text="Fitted with it."
    )
    replaced = models.JSONField(
        default=dict, blank=True, help_text="What stood on file before and comes back if this is withdrawn."
    )
    evidence_name = models.CharField(max_length=200, blank=True, help_text="File name as received.")
    evidence_sha256 = models.CharField(max_length=64, blank=True)
    evidence_size = models.PositiveBigIntegerField(null=True, blank=True)
    entered_at = models.DateTimeField()
    entered_by = models.CharField(max_length=150)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.CharField(max_length=150, blank=True)
    withdrawn_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("-concluded_at", "-id")
        constraints = (
            models.CheckConstraint(
                condition=Q(concluded_at__gte=F("started_at")),
                name="completion_concluded_after_start",
                violation_error_message="Work is finished at or after its start.",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True) | ~Q(withdrawn_reason=""),
                name="completion_withdrawn_with_reason",
                violation_error_message="What is withdrawn says why.",
            ),
            whole_quantity("completion", "pressure_reached"),
            whole_quantity("completion", "pressure_left"),
        )
        indexes = (models.Index(fields=["rig", "obligation_key", "-concluded_at"], name="completion_by_obligation"),)

    def __str__(self) -> str:
        return f"{self.get_what_display()} of {self.subject}"
