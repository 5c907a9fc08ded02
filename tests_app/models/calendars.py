"""Calendar feeds: who may read one without signing in, and what its readers were given last."""

import uuid

from django.conf import settings
from django.db import models

from equipment.models import Rig


class FeedToken(models.Model):
    """One address of a calendar feed: of one rig, or of all rigs its owner sees. Only the token's hash is kept."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="feed_tokens")
    rig = models.ForeignKey(Rig, on_delete=models.CASCADE, null=True, blank=True, related_name="feed_tokens")
    name = models.CharField(max_length=60, help_text="Where it is used, such as Phone.")
    sha256 = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-created_at", "-id")

    def __str__(self) -> str:
        return self.name


class CalendarEntry(models.Model):
    """What calendar clients were last given of one obligation, so that a change reaches them as one.

    `sequence` and `changed_at` move with the content alone; an obligation that is no longer owed stays on as
    cancelled for a while, so that clients strike it out.
    """

    rig = models.ForeignKey(Rig, on_delete=models.CASCADE, related_name="calendar_entries")
    obligation_key = models.CharField(max_length=80)
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sequence = models.PositiveIntegerField(default=0)
    content = models.JSONField(help_text="Summary, moment and description as given.")
    created_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    cancelled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "calendar entries"
        constraints = (models.UniqueConstraint(fields=["rig", "obligation_key"], name="calendarentry_once_a_rig"),)

    def __str__(self) -> str:
        return f"{self.obligation_key}, change {self.sequence}"
