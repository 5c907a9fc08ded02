"""The door of every page: who is signed in, which rig, in which units; and nothing typed is lost at the door."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from http import HTTPStatus
from typing import Any, Concatenate, Final, ParamSpec

from django.conf import settings
from django.contrib.auth.views import redirect_to_login
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from accounts.models import User
from calcs.units import System
from equipment.models import Rig
from equipment.queries import access
from equipment.queries.access import Right

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]

_NEVER_REPEATED: Final = frozenset({"csrfmiddlewaretoken"})
_SECRET: Final = "password"
_MOST_KEPT_FIELDS: Final = 500


def signed_in(view: View[P]) -> View[P]:
    """Let only signed-in people through; a form sent after the session ended is handed back to be sent again."""

    @wraps(view)
    def checked(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        if request.user.is_authenticated:
            return view(request, *args, **kwargs)
        if request.headers.get("HX-Request"):
            return HttpResponse(status=HTTPStatus.FORBIDDEN)
        if request.method == "POST":
            return _handed_back(request)
        return redirect_to_login(request.get_full_path())

    return checked


def _handed_back(request: HttpRequest) -> HttpResponse:
    """Return what was typed as a form that can be sent again once signed in; passwords are not written into it."""
    kept = [
        (name, value)
        for name, values in request.POST.lists()
        for value in values
        if name not in _NEVER_REPEATED and _SECRET not in name
    ]
    files = [given.name for _, given in request.FILES.items() if isinstance(given, UploadedFile)]
    secret = any(_SECRET in name for name in request.POST)
    context = {
        "kept": kept[:_MOST_KEPT_FIELDS],
        "files": files,
        "secret": secret,
        "csrf_cookie": settings.CSRF_COOKIE_NAME,
    }
    return render(request, "tests_app/handed_back.html", context, status=HTTPStatus.FORBIDDEN)


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
