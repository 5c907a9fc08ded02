"""How a rig wants to be told."""

from collections.abc import Collection
from datetime import datetime, time
from typing import Any, TypedDict, Unpack

from django.db import transaction

from accounts.models import User
from calcs.alert_stages import QuietHours, StagePlan
from calcs.errors import InputError
from equipment.actions import saving
from equipment.errors import Refused
from equipment.models import CrewMember, CrewRole, Rig
from tests_app.models import AlertSettings
from tests_app.web_hooks import BadAddress, checked_address, host_of
from trail import entries
from trail.actors import Actor

SHORTEST_SECRET = 16
LONGEST_WAIT_HOURS = 30 * 24
_SECRET = "hook_secret"


class AlertFacts(TypedDict, total=False):
    """What can be chosen."""

    hours_before: list[int]
    long_hours_before: list[int]
    each_day_overdue: bool
    roles: list[str]
    by_mail: bool
    quiet_from: time | None
    quiet_until: time | None
    urgent_in_quiet: bool
    digest_at: time | None
    escalate_after_hours: int | None
    escalate_from_hours: int
    hook_url: str
    hook_secret: str


@transaction.atomic
def choose_alerts(
    rig: Rig, *, people: Collection[User], by: Actor, at: datetime, **facts: Unpack[AlertFacts]
) -> AlertSettings:
    """Choose how the rig tells whom. An empty `hook_secret` keeps the one there is.

    Raises Refused naming the field at fault; among them `roles` where nobody would be told.
    """
    saving.aware(at)
    current = AlertSettings.objects.select_for_update(no_key=True).filter(rig=rig).first()
    before = _told_of(current) if current else None
    chosen = current or AlertSettings(rig=rig)
    values: dict[str, Any] = dict(facts)
    if not values.get(_SECRET):
        values[_SECRET] = chosen.hook_secret
    for name, value in values.items():
        setattr(chosen, name, value)
    _refuse(chosen, people)
    saving.store_row(chosen, insert=current is None)
    chosen.people.set(people)
    entries.write("alerts.chosen", chosen, by=by, at=at, rig_number=rig.pk, before=before, after=_told_of(chosen))
    return chosen


def _told_of(chosen: AlertSettings) -> dict[str, Any]:
    """Return the settings for the trail: of the web hook its host alone, since the rest may let somebody in."""
    told = entries.snapshot(chosen)
    told["hook_url"] = host_of(chosen.hook_url)
    told[_SECRET] = "set" if chosen.hook_secret else ""
    told["people"] = ", ".join(str(person) for person in chosen.people.order_by("pk"))
    return told


def _refuse(chosen: AlertSettings, people: Collection[User]) -> None:
    _refuse_stages(chosen)
    _refuse_people(chosen, people)
    if chosen.escalate_after_hours is not None and not 1 <= chosen.escalate_after_hours <= LONGEST_WAIT_HOURS:
        raise Refused("escalate_after_hours", "The wait is 1 hour to 30 days.", "Give for instance 12 hours.")
    if chosen.hook_url:
        _refuse_hook(chosen)


def _refuse_stages(chosen: AlertSettings) -> None:
    try:
        chosen.hours_before = list(StagePlan(tuple(chosen.hours_before)).hours_before)
        chosen.long_hours_before = _long_stages(chosen.long_hours_before)
        if (chosen.quiet_from is None) != (chosen.quiet_until is None):
            missing = "quiet_from" if chosen.quiet_from is None else "quiet_until"
            raise Refused(missing, "Quiet hours have a beginning and an end.", "Give both, or leave both empty.")
        if chosen.quiet_from is not None and chosen.quiet_until is not None:
            QuietHours(chosen.quiet_from, chosen.quiet_until)
    except InputError as error:
        raise Refused(error.field, error.reason, error.remedy) from error


def _long_stages(hours: list[int]) -> list[int]:
    try:
        return list(StagePlan(tuple(hours)).hours_before)
    except InputError as error:
        raise Refused("long_hours_before", error.reason, error.remedy) from error


def _refuse_people(chosen: AlertSettings, people: Collection[User]) -> None:
    unknown = [role for role in chosen.roles if role not in CrewRole]
    if unknown:
        raise Refused("roles", f"There is no role {unknown[0]}.", "Choose among the roles of the crew.")
    crew = CrewMember.objects.filter(rig=chosen.rig)
    on_rig = set(crew.values_list("person", flat=True))
    strangers = [person for person in people if person.pk not in on_rig]
    if strangers:
        raise Refused("people", f"{strangers[0]} has no role on this rig.", "Give them one first, or leave them out.")
    if not people and not crew.filter(role__in=chosen.roles, person__is_active=True).exists():
        raise Refused("roles", "Nobody would be told of anything.", "Choose a role somebody has, or a person.")


def _refuse_hook(chosen: AlertSettings) -> None:
    try:
        checked_address(chosen.hook_url)
    except BadAddress as error:
        raise Refused("hook_url", str(error)) from error
    if len(chosen.hook_secret) < SHORTEST_SECRET:
        raise Refused(
            _SECRET,
            f"The secret has fewer than {SHORTEST_SECRET} characters.",
            "Make a long random one, and give the receiver the same.",
        )
