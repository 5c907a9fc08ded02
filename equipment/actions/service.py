"""Work done on components: elastomers fitted and removed, service events."""

from datetime import date, datetime
from typing import Final

from django.db import transaction

from equipment.actions import saving
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import Component, Elastomer, ServiceEvent, ServiceKind
from trail import entries
from trail.actors import Actor, name_of


@transaction.atomic
def fit_elastomer(
    component: Component,
    *,
    part: str,
    installed_on: date,
    compound: str = "",
    batch: str = "",
    expires_on: date | None = None,
    by: Actor,
    at: datetime,
) -> Elastomer:
    """Record an elastomer fitted in a component. Raises Refused for a day to come or days out of order.

    It ends no test by itself: record the service event that goes with it.
    """
    _not_to_come("installed_on", installed_on, component, at)
    if expires_on is not None and expires_on < installed_on:
        raise Refused("expires_on", "It would have expired before it was fitted.", "Check both days.")
    elastomer = Elastomer(component=component, installed_on=installed_on, expires_on=expires_on)
    saving.assign_values(elastomer, {"part": part, "compound": compound, "batch": batch})
    saving.add_row(elastomer, Event.ELASTOMER_FITTED, by=by, at=at)
    return elastomer


@transaction.atomic
def remove_elastomer(elastomer: Elastomer, *, removed_on: date, by: Actor, at: datetime) -> Elastomer:
    """Record that an elastomer was taken out. Raises Refused: out already, a day to come, before it was fitted."""
    fresh = saving.locked(elastomer)
    before = entries.snapshot(fresh)
    if fresh.removed_on:
        raise Refused("", "This elastomer was removed already.", "Nothing is left to do.")
    _not_to_come("removed_on", removed_on, fresh.component, at)
    fresh.removed_on = removed_on
    saving.change_row(fresh, Event.ELASTOMER_REMOVED, before=before, by=by, at=at)
    return fresh


@transaction.atomic
def record_service(
    component: Component, *, kind: str, finished_at: datetime, description: str, by: Actor, at: datetime
) -> ServiceEvent:
    """Record work on a component, finished at `finished_at`; tests before it may count no more.

    Raises Refused for a time to come and for leaving or coming back into service twice, ValidationError for a
    missing description.
    """
    saving.not_after(finished_at, at, field="finished_at")
    _refuse_moving_twice(component, kind, finished_at)
    event = ServiceEvent(component=component, kind=kind, at=finished_at, recorded_by=name_of(by))
    saving.assign_values(event, {"description": description})
    saving.add_row(event, Event.SERVICE_RECORDED, by=by, at=at)
    return event


@transaction.atomic
def withdraw_service(event: ServiceEvent, *, reason: str, by: Actor, at: datetime) -> ServiceEvent:
    """Withdraw work that was entered in error: it ends no test any more. Raises Refused: withdrawn, no reason."""
    return saving.withdraw_row(event, Event.SERVICE_WITHDRAWN, reason=reason, by=by, at=at)


@transaction.atomic
def withdraw_elastomer(elastomer: Elastomer, *, reason: str, by: Actor, at: datetime) -> Elastomer:
    """Withdraw an elastomer that was entered in error and never fitted. Raises Refused: withdrawn, no reason."""
    return saving.withdraw_row(elastomer, Event.ELASTOMER_WITHDRAWN, reason=reason, by=by, at=at)


_MOVES: Final = (ServiceKind.OUT_OF_SERVICE, ServiceKind.BACK_IN_SERVICE)


def _refuse_moving_twice(component: Component, kind: str, moment: datetime) -> None:
    """Refuse what the history contradicts: out of service while it is out, back while it never left."""
    if kind not in _MOVES:
        return
    moves = component.service_events.filter(kind__in=_MOVES)
    before = moves.filter(at__lte=moment).order_by("at", "pk").last()
    after = moves.filter(at__gt=moment).order_by("at", "pk").first()
    was_out = before is not None and before.kind == ServiceKind.OUT_OF_SERVICE
    if kind == ServiceKind.OUT_OF_SERVICE and was_out:
        raise Refused("kind", "It is out of service at that time already.", "Record when it came back first.")
    if kind == ServiceKind.BACK_IN_SERVICE and not was_out:
        raise Refused("kind", "It is in service at that time.", "Record when it was taken out first.")
    if after is not None and after.kind == kind:
        raise Refused(
            "finished_at", f"“{after.get_kind_display()}” is on file for a later time.", "Give the time in its order."
        )


def _not_to_come(field: str, day: date, component: Component, at: datetime) -> None:
    if day > saving.aware(at).astimezone(component.rig.zone).date():
        raise Refused(field, "This day lies in the future.", "Give the day it was done.")
