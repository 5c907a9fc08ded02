"""Certificates and reports: the PDF made from a sealed record, kept as issued."""

from django.db import models

from tests_app.models.records import Record


class CertificateKind(models.TextChoices):
    CERTIFICATE = "certificate", "Certificate"
    REPORT = "report", "Report, not passed"


class Certificate(models.Model):
    """The paper of a sealed record; the bytes are kept under their hash, never rendered over."""

    record = models.OneToOneField(Record, on_delete=models.PROTECT, related_name="certificate")
    kind = models.CharField(max_length=12, choices=CertificateKind)
    number = models.CharField(max_length=60, unique=True)
    issued_at = models.DateTimeField()
    sha256 = models.CharField("SHA-256 of the PDF", max_length=64)
    size = models.PositiveBigIntegerField()

    class Meta:
        ordering = ("-issued_at",)

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}"
