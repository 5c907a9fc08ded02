"""Rigs and the people who work on them."""

import zoneinfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models


def validate_time_zone(name: str) -> None:
    """Refuse a name that is not in the IANA time zone database."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError(f"{name!r} is not a time zone. Give an IANA name such as America/Chicago or Etc/UTC.")


class RigKind(models.TextChoices):
    LAND = "land", "Land rig"
    JACK_UP = "jack-up", "Jack-up"
    PLATFORM = "platform", "Platform rig"
    SEMI_SUBMERSIBLE = "semi-submersible", "Semi-submersible"
    DRILLSHIP = "drillship", "Drillship"


class DisplayUnits(models.TextChoices):
    US = "us", "US oilfield (psi, ft, gal)"
    SI = "si", "SI metric (kPa, m, L)"


class Rig(models.Model):
    """A drilling rig: the place whose clock the deadlines follow."""

    name = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=20, choices=RigKind)
    time_zone = models.CharField(
        max_length=64, validators=[validate_time_zone], help_text="IANA name; deadlines run on this clock."
    )
    display_units = models.CharField(max_length=2, choices=DisplayUnits, default=DisplayUnits.US)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        """Return the rig's time zone."""
        return zoneinfo.ZoneInfo(self.time_zone)


class CrewRole(models.TextChoices):
    TESTER = "tester", "Tester"
    SUPERVISOR = "supervisor", "Equipment supervisor"
    RIG_MANAGER = "rig-manager", "Rig manager"
    LESSEE = "lessee", "Lessee's representative"
    AUDITOR = "auditor", "Auditor"
    ADMINISTRATOR = "administrator", "Administrator"


class CrewMember(models.Model):
    """A person's role on a rig; without one the rig is out of their sight."""

    rig = models.ForeignKey(Rig, on_delete=models.CASCADE, related_name="crew")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="crew_roles")
    role = models.CharField(max_length=20, choices=CrewRole)

    class Meta:
        ordering = ("rig", "role", "person")
        constraints = (
            models.UniqueConstraint(
                fields=["rig", "person"],
                name="crewmember_once_a_rig",
                violation_error_message="This person already has a role on this rig: change that one.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.person} as {self.get_role_display()} on {self.rig}"
