"""One person looking at one rig at one moment: what every page of equipment starts from."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils import timezone
from django.utils.functional import cached_property

from accounts.models import User
from calcs.units import System
from equipment.models import Rig
from equipment.queries import access
from equipment.queries.access import Right
from equipment.web.refusals import attempt


@dataclass(frozen=True)
class Visit:
    """A person, the rig they look at (none for pages over all rigs), and the moment, read once a request."""

    request: HttpRequest
    rig: Rig | None
    at: datetime

    @classmethod
    def of(cls, request: HttpRequest, rig: Rig | None = None) -> "Visit":
        """Return the visit; the clock is read here."""
        return cls(request, rig, timezone.now())

    @property
    def user(self) -> User:
        """Return the person, who is signed in."""
        user = self.request.user
        assert isinstance(user, User)
        return user

    @cached_property
    def rights(self) -> frozenset[Right]:
        """Return what the person may do on the rig. One query."""
        return access.rights_on(self.user, self.rig) if self.rig else frozenset()

    @property
    def units(self) -> System:
        """Return the units of the page: the person's own choice, else the rig's."""
        return self.user.units_for(self.rig.display_units if self.rig else "")

    @property
    def today(self) -> date:
        """Return the day on the rig's calendar."""
        return self.at.astimezone(self.rig.zone).date() if self.rig else self.at.date()

    @property
    def table_options(self) -> dict[str, Any]:
        """Return what a `ListTable` of this rig wants to know."""
        assert self.rig is not None
        return {"units": self.units, "zone": self.rig.zone, "today": self.today}

    def context(self) -> dict[str, Any]:
        """Return what base.html and every template of equipment read. Two queries."""
        return {
            "rig": self.rig,
            "rigs": list(access.rigs_visible(self.user)),
            "units": self.units,
            "zone": self.rig.time_zone if self.rig else "UTC",
            "now": self.at,
            "today": self.today,
            "may_manage": Right.MANAGE in self.rights,
            "may_record": Right.RECORD in self.rights,
            "may_administer": Right.ADMINISTER in self.rights,
        }

    def show(
        self, template: str, context: Mapping[str, Any] | None = None, *, status: int = HTTPStatus.OK
    ) -> HttpResponse:
        """Render a page."""
        return render(self.request, template, {**self.context(), **(context or {})}, status=status)

    def fill_in(
        self,
        form: BaseForm,
        act: Callable[[], Any],
        *,
        done: str | Callable[[Any], str],
        leads_to: Callable[[Any], str],
        words: Mapping[str, Any],
        template: str = "equipment/form.html",
    ) -> HttpResponse:
        """Answer a form: save and lead on, or show it with what was typed and what is wrong.

        Args:
            form: bound when the request is a POST.
            act: the action, called once the form is valid; what it refuses goes beside the field.
            done: said on the next page, or what says it from what the action returned.
            leads_to: gives the address of the next page from what the action returned.
            words: title, lead, verb, crumbs and back (an address) for the template.
            template: other than the plain one.
        """
        if form.is_bound and form.is_valid():
            found = attempt(form, act)
            if not form.errors:
                messages.success(self.request, done(found) if callable(done) else done)
                return HttpResponseRedirect(leads_to(found))
        status = HTTPStatus.UNPROCESSABLE_ENTITY if form.errors else HTTPStatus.OK
        return self.show(template, {"form": form, **words}, status=status)
