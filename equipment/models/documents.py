"""Documents of components and instruments, stored under their hash."""

from django.db import models
from django.db.models import Q

from equipment.models.components import Component
from equipment.models.instruments import Instrument
from equipment.models.withdrawing import Withdrawable


class DocumentKind(models.TextChoices):
    CONFORMITY = "conformity", "Certificate of conformity"
    INSPECTION = "inspection", "Inspection report"
    CALIBRATION = "calibration", "Calibration certificate"
    MANUAL = "manual", "Maker's manual"
    DRAWING = "drawing", "Drawing"
    PERMIT = "permit", "Permit or approval"
    OTHER = "other", "Other"


class Document(Withdrawable):
    """A file kept as received, named by its SHA-256, with the day it runs out."""

    component = models.ForeignKey(Component, on_delete=models.PROTECT, null=True, blank=True, related_name="documents")
    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="documents"
    )
    kind = models.CharField(max_length=20, choices=DocumentKind)
    title = models.CharField(max_length=120)
    number = models.CharField(max_length=80, blank=True)
    issued_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    file_name = models.CharField(max_length=200, help_text="As received.")
    sha256 = models.CharField("SHA-256", max_length=64)
    size = models.PositiveBigIntegerField()
    follows = models.ForeignKey(
        "self",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="followed_by",
        help_text="The document it renews, which falls due no more.",
    )
    added_at = models.DateTimeField()
    added_by = models.CharField(max_length=150)

    class Meta:
        ordering = ("kind", "title")
        constraints = (
            models.CheckConstraint(
                condition=Q(component__isnull=False, instrument__isnull=True)
                | Q(component__isnull=True, instrument__isnull=False),
                name="document_of_one_thing",
                violation_error_message="A document belongs to one component or one instrument.",
            ),
            models.CheckConstraint(
                condition=Q(expires_on__isnull=True)
                | Q(issued_on__isnull=True)
                | Q(expires_on__gte=models.F("issued_on")),
                name="document_expires_after_issue",
                violation_error_message="A document runs out on or after the day it was issued.",
            ),
            models.UniqueConstraint(
                fields=["follows"],
                condition=Q(withdrawn_at__isnull=True),
                name="document_followed_once",
                violation_error_message="Another document renews this one already.",
            ),
        )

    def __str__(self) -> str:
        return self.title
