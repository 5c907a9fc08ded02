"""Work that renews and is no test of its own record: inspection, overhaul, calibration, drill, and their like."""

from django.db import models
from django.db.models import F, Q

from equipment.models import Component, ControlItem, Document, Elastomer, Instrument, Rig
from equipment.models import Stack as BopStack
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
    started_at = models.DateTimeField()
    concluded_at = models.DateTimeField()
    passed = models.BooleanField()
    done_by = models.CharField(max_length=150, help_text="Who did it, with their company.")
    findings = models.TextField(blank=True)
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
        )
        indexes = (models.Index(fields=["rig", "obligation_key", "-concluded_at"], name="completion_by_obligation"),)

    def __str__(self) -> str:
        return f"{self.get_what_display()} of {self.subject}"
