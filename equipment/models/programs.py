"""What programs come in by, and what they were answered: tokens of a person, and answers kept for a repeat."""

from django.conf import settings
from django.db import models

from equipment.models.rigs import Rig


class AccessToken(models.Model):
    """A word a program comes in by, as one person and within their rights. Only its hash is kept."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="access_tokens")
    name = models.CharField(max_length=60, help_text="What uses it, such as Recorder of the test unit.")
    rig = models.ForeignKey(Rig, on_delete=models.CASCADE, null=True, blank=True, related_name="access_tokens")
    writes = models.BooleanField(default=False, help_text="Whether it changes anything, or only reads.")
    sha256 = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-created_at", "-id")
        constraints = (
            models.CheckConstraint(
                condition=models.Q(expires_at__gt=models.F("created_at")),
                name="accesstoken_expires_after_made",
                violation_error_message="A token runs out after it was made.",
            ),
        )

    def __str__(self) -> str:
        return self.name


class KeptAnswer(models.Model):
    """What a call with an idempotency key was answered, so that its repeat is answered the same and acts no more."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="kept_answers")
    key = models.CharField(max_length=200, help_text="As the caller sent it.")
    asked = models.CharField(max_length=64, help_text="SHA-256 of method, address and body.")
    status = models.PositiveSmallIntegerField(default=0)
    headers = models.JSONField(default=dict)
    body = models.JSONField(null=True)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ("-created_at", "-id")
        constraints = (models.UniqueConstraint(fields=["person", "key"], name="keptanswer_once"),)
        indexes = (models.Index(fields=["person", "created_at"], name="keptanswer_by_age"),)

    def __str__(self) -> str:
        return self.key
