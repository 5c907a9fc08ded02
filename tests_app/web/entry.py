"""What every page over a rig starts from: who looks at it, which rig, in which units."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from accounts.models import User
from calcs.units import System
from equipment.models import Rig
from equipment.queries import access
from equipment.queries.access import Right
from equipment.web.door import signed_in

__all__ = ["RigLink", "Visit", "signed_in"]


@dataclass(frozen=True)
class RigLink:
    """A rig to switch to, as the page head lists it."""

    pk: int
    name: str

    def get_absolute_url(self) -> str:
        """Return the address of the rig's front page."""
        return reverse("tests_app:rig", args=[self.pk])


@dataclass(frozen=True)
class Visit:
    """One person looking at one rig at one moment: what every page over a rig starts from."""

    user: User
    rig: Rig
    rights: frozenset[Right]
    at: datetime

    @classmethod
    def of(cls, request: HttpRequest, rig: Rig) -> "Visit":
        """Return the visit; the clock is read here, once a request. One query."""
        assert isinstance(request.user, User)
        return cls(request.user, rig, access.rights_on(request.user, rig), timezone.now())

    @property
    def units(self) -> System:
        """Return the units pages are shown in: the person's own choice, else the rig's."""
        return self.user.units_for(self.rig.display_units)

    def may(self, right: Right) -> bool:
        """Tell whether the person has the right on this rig."""
        return right in self.rights

    def context(self) -> dict[str, Any]:
        """Return what base.html and every template of a rig's page need. One query."""
        rigs = [RigLink(rig.pk, rig.name) for rig in access.rigs_visible(self.user)]
        return {
            "rig": self.rig,
            "rigs": rigs,
            "units": self.units,
            "zone": self.rig.time_zone,
            "now": self.at,
            "may_record": self.may(Right.RECORD),
            "may_sign": self.may(Right.SIGN),
            "may_manage": self.may(Right.MANAGE),
        }

    def show(
        self, request: HttpRequest, template: str, context: Mapping[str, Any], *, status: int = HTTPStatus.OK
    ) -> HttpResponse:
        """Render a page of this rig."""
        return render(request, template, {**self.context(), **context}, status=status)
