"""How a rig wants to be told: from when, whom, at what hours, by what."""

from datetime import time

from django.conf import settings
from django.db import models
from django.db.models import Q

from equipment.models import CrewRole, Rig


def usual_hours_before() -> list[int]:
    """Return the stages a rig starts with: three days and one day before."""
    return [72, 24]


def usual_long_hours_before() -> list[int]:
    """Return the same for what takes weeks to arrange: thirty days, seven and one."""
    return [720, 168, 24]


def usual_roles() -> list[str]:
    """Return whom a rig tells to begin with."""
    return [CrewRole.SUPERVISOR.value]


class AlertSettings(models.Model):
    """A rig's choices of alerts. A rig without a row is told as the defaults say: silence is never the default."""

    rig = models.OneToOneField(Rig, on_delete=models.CASCADE, primary_key=True, related_name="alert_settings")
    hours_before = models.JSONField(default=usual_hours_before, help_text="Stages before the due date, in hours.")
    long_hours_before = models.JSONField(
        default=usual_long_hours_before, help_text="The same for calibrations, papers, overhauls and their like."
    )
    each_day_overdue = models.BooleanField(default=True)
    roles = models.JSONField(default=usual_roles, help_text="Who is told, by role.")
    people = models.ManyToManyField(settings.AUTH_USER_MODEL, blank=True, related_name="+")
    by_mail = models.BooleanField(default=True)
    quiet_from = models.TimeField(null=True, blank=True, help_text="On the rig's clock.")
    quiet_until = models.TimeField(null=True, blank=True)
    urgent_in_quiet = models.BooleanField(default=True, help_text="Send what is overdue in quiet hours too.")
    digest_at = models.TimeField(null=True, blank=True, default=time(6), help_text="On the rig's clock.")
    escalate_after_hours = models.PositiveSmallIntegerField(null=True, blank=True, default=12)
    escalate_from_hours = models.PositiveSmallIntegerField(
        default=24, help_text="Notices from so many hours before the due date on are escalated."
    )
    hook_url = models.CharField(max_length=500, blank=True)
    # Kept readable, since a signature (HMAC) needs the secret itself and not its hash. No library of ciphers is among
    # what this house installs, and none of its own is written; no page, export, trail entry or log gives it out again.
    hook_secret = models.CharField(max_length=200, blank=True, help_text="Signs the web hook; never shown or exported.")

    class Meta:
        verbose_name_plural = "alert settings"
        constraints = (
            models.CheckConstraint(
                condition=Q(quiet_from=None, quiet_until=None) | Q(quiet_from__isnull=False, quiet_until__isnull=False),
                name="alertsettings_quiet_both_or_none",
                violation_error_message="Quiet hours have a beginning and an end.",
            ),
            models.CheckConstraint(
                condition=Q(hook_url="") | ~Q(hook_secret=""),
                name="alertsettings_hook_has_secret",
                violation_error_message="A web hook has a secret to sign with.",
            ),
        )

    def __str__(self) -> str:
        return f"Alerts of {self.rig}"
