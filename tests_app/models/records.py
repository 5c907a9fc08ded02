"""The record: one test as done, from draft to seal, whatever was tested."""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from equipment.models import HoleSection, Rig, Stack
from tests_app.errors import RecordIsSealed


class RecordKind(models.TextChoices):
    PRESSURE = "pressure", "Pressure test"
    DRAWDOWN = "drawdown", "Drawdown test"
    PUMP = "pump", "Pump test"
    FUNCTION = "function", "Function test"


class Record(models.Model):
    """The envelope of a test: where, when, by which edition, and its seal.

    A record is a draft until its first signature freezes it (`frozen_at`); sealed (`sealed_at`) once
    all signatures stand. Frozen and sealed rows, and all that hang on them, are held by database guards.
    """

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="records")
    stack = models.ForeignKey(Stack, on_delete=models.PROTECT, related_name="records")
    section = models.ForeignKey(HoleSection, on_delete=models.PROTECT, null=True, blank=True, related_name="records")
    kind = models.CharField(max_length=12, choices=RecordKind)
    number = models.PositiveIntegerField(help_text="Counted on the rig.")
    edition = models.CharField(max_length=60, help_text="Id of the edition the test is judged by.")
    started_at = models.DateTimeField()
    concluded_at = models.DateTimeField(null=True, blank=True)
    remarks = models.TextField(blank=True)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(
        default=1, help_text="Counts the changes, so that a stale page can't overwrite."
    )
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="superseded_by"
    )
    supersedes_reason = models.TextField(blank=True)
    discarded_at = models.DateTimeField(null=True, blank=True, help_text="A draft given up; it stays on file.")
    discarded_reason = models.CharField(max_length=200, blank=True)
    frozen_at = models.DateTimeField(null=True, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    passed = models.BooleanField(null=True, blank=True, help_text="Set with the seal: no line is left failed.")
    content = models.TextField(blank=True, help_text="Sealed content: canonical JSON (RFC 8785).")
    sha256 = models.CharField("SHA-256 of the content", max_length=64, blank=True, db_index=True)
    previous_sha256 = models.CharField(
        max_length=64, blank=True, help_text="Seal of the rig's record sealed before it."
    )

    class Meta:
        ordering = ("-started_at", "-number")
        constraints = (
            models.UniqueConstraint(fields=["rig", "number"], name="record_number_once_a_rig"),
            models.UniqueConstraint(fields=["sha256"], condition=~Q(sha256=""), name="record_seal_once"),
            models.UniqueConstraint(
                fields=["rig", "previous_sha256"],
                condition=~Q(sha256=""),
                name="record_chain_unforked",
                violation_error_message="Another record of the rig is sealed after the same one.",
            ),
            models.CheckConstraint(
                condition=Q(concluded_at__isnull=True) | Q(concluded_at__gt=F("started_at")),
                name="record_concluded_after_start",
                violation_error_message="A test concludes after it started.",
            ),
            models.CheckConstraint(
                condition=Q(sealed_at__isnull=True)
                | (Q(frozen_at__isnull=False) & ~Q(sha256="") & Q(concluded_at__isnull=False)),
                name="record_seal_complete",
                violation_error_message="A sealed record is concluded and carries its seal.",
            ),
            models.CheckConstraint(
                condition=Q(supersedes__isnull=True) | ~Q(supersedes_reason=""),
                name="record_supersedes_with_reason",
                violation_error_message="A correction says why.",
            ),
        )
        indexes = (models.Index(fields=["rig", "kind", "-concluded_at"], name="record_by_rig"),)

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}, {self.rig.name}"

    def save(self, **options: Any) -> None:
        """Write the record; raises RecordIsSealed once it is frozen."""
        self._refuse_when_frozen()
        super().save(**options)

    def delete(self, using: str | None = None, keep_parents: bool = False) -> tuple[int, dict[str, int]]:
        """Remove the record; raises RecordIsSealed once it is frozen."""
        self._refuse_when_frozen()
        return super().delete(using=using, keep_parents=keep_parents)

    def _refuse_when_frozen(self) -> None:
        if self.pk is not None and type(self).objects.filter(pk=self.pk, frozen_at__isnull=False).exists():
            raise RecordIsSealed(self)

    @property
    def is_draft(self) -> bool:
        """Tell whether the record can still be written."""
        return self.frozen_at is None and self.discarded_at is None
