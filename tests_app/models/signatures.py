"""Signatures under a record."""

from django.conf import settings
from django.db import models

from tests_app.models.records import Record


class SigningRole(models.TextChoices):
    """Who signs a test (the three of 30 CFR 250.746(b), and the rig's own)."""

    LESSEE = "lessee", "Lessee's representative"
    CONTRACTOR = "contractor", "Contractor's representative"
    PUMP_OPERATOR = "pump-operator", "Pump operator"
    SUPERVISOR = "supervisor", "Equipment supervisor"
    WITNESS = "witness", "Witness"


class Signature(models.Model):
    """A person's signature over the content hash of a record."""

    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="signatures")
    signer = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=120)
    role = models.CharField(max_length=16, choices=SigningRole)
    signed_at = models.DateTimeField()
    sha256 = models.CharField("SHA-256 of what was signed", max_length=64)

    class Meta:
        ordering = ("record", "signed_at")
        constraints = (
            models.UniqueConstraint(
                fields=["record", "role"],
                name="signature_role_once",
                violation_error_message="This role has signed already.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.name}, {self.get_role_display()}"
