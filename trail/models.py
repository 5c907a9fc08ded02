"""The audit trail: one row an action, written by the action itself in its own transaction."""

from django.conf import settings
from django.db import models


class TrailEntry(models.Model):
    """Who did what to which row, when and from where, with the row before and after.

    Names and labels are copied as text, so that an entry reads well after its person and row are gone.
    """

    at = models.DateTimeField()
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    actor_name = models.CharField(max_length=150)
    event = models.CharField(max_length=60, help_text="Dotted name of what was done, such as component.installed.")
    subject_type = models.CharField(max_length=60)
    subject_id = models.BigIntegerField()
    subject_label = models.CharField(max_length=200)
    rig_number = models.BigIntegerField(null=True, blank=True, help_text="Key of the rig the subject belongs to.")
    before = models.JSONField(null=True, blank=True)
    after = models.JSONField(null=True, blank=True)
    reason = models.TextField(blank=True)
    request_id = models.UUIDField(null=True, blank=True)
    remote_address = models.GenericIPAddressField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "trail entries"
        ordering = ("-at", "-id")
        indexes = (
            models.Index(fields=["subject_type", "subject_id", "-at"], name="trail_by_subject"),
            models.Index(fields=["rig_number", "-at"], name="trail_by_rig"),
        )

    def __str__(self) -> str:
        return f"{self.event} {self.subject_label} by {self.actor_name}"
