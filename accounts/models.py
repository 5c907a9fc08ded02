"""The people who sign in."""

from dataclasses import dataclass
from typing import ClassVar, Final, Literal

from django.contrib.auth.models import AbstractUser
from django.db import models


class DisplayUnits(models.TextChoices):
    """Units in which pages show quantities; the empty choice follows the rig being looked at."""

    RIG = "", "As set for the rig"
    US = "us", "US oilfield (psi, ft, US gal, °F)"
    SI = "si", "SI metric (kPa, m, L, °C)"


DEFAULT_UNITS: Final[Literal["us", "si"]] = "us"


@dataclass(frozen=True)
class Reach:
    """How far somebody reaches who came by a token: never beyond what the person may do.

    Attributes:
        rig: key of the one rig it opens; None for all rigs of the person.
        writes: whether it changes anything, or only reads.
    """

    rig: int | None
    writes: bool


class User(AbstractUser):
    """A person who signs in. Retired by `is_active`, never deleted: signed records name them."""

    reach: ClassVar[Reach | None] = None
    """Set on the one request that came by a token; None for whoever signed in by password."""

    display_name = models.CharField(
        "name shown",
        max_length=120,
        blank=True,
        help_text="As it stands on certificates. Left empty, first and last name are used.",
    )
    display_units = models.CharField(max_length=2, choices=DisplayUnits, default=DisplayUnits.RIG, blank=True)
    must_change_password = models.BooleanField(
        default=False, help_text="The password was set by somebody else: nothing opens before it is changed."
    )

    class Meta(AbstractUser.Meta):
        constraints = [
            models.CheckConstraint(
                condition=models.Q(display_units__in=[choice.value for choice in DisplayUnits]),
                name="accounts_user_display_units_known",
                violation_error_message="Display units are US oilfield, SI metric, or as set for the rig.",
            ),
        ]

    def __str__(self) -> str:
        return self.name_shown

    @property
    def name_shown(self) -> str:
        """The name as people read it: the name shown, else first and last name, else the user name."""
        return self.display_name.strip() or self.get_full_name() or self.get_username()

    def units_for(self, rig_units: str = "") -> Literal["us", "si"]:
        """Return the units to show: the person's own choice, else the rig's, else US oilfield."""
        chosen = self.display_units or rig_units or DEFAULT_UNITS
        return "si" if chosen == DisplayUnits.SI else "us"
