"""Rigs and their crews."""

from datetime import datetime
from typing import TypedDict, Unpack

from django.db import transaction

from accounts.models import User
from equipment.actions import saving
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import CrewMember, CrewRole, DisplayUnits, Rig
from equipment.queries.access import RIGHTS, Right
from trail import entries
from trail.actors import Actor, person_of


class RigFacts(TypedDict, total=False):
    """What can be amended of a rig."""

    name: str
    kind: str
    time_zone: str
    display_units: str


@transaction.atomic
def register_rig(
    *, name: str, kind: str, time_zone: str, display_units: str = DisplayUnits.US, by: Actor, at: datetime
) -> Rig:
    """Register a rig; the person who does becomes its administrator, or nobody could see it.

    Raises ValidationError for a time zone or kind that is not known and for a name already taken.
    """
    rig = Rig(kind=kind, time_zone=time_zone, display_units=display_units, created_at=saving.aware(at))
    saving.assign_values(rig, {"name": name})
    saving.add_row(rig, Event.RIG_REGISTERED, by=by, at=at)
    person = person_of(by)
    if person is not None:
        saving.store_row(CrewMember(rig=rig, person=person, role=CrewRole.ADMINISTRATOR), insert=True)
    return rig


@transaction.atomic
def amend_rig(rig: Rig, *, seen: str = "", by: Actor, at: datetime, **facts: Unpack[RigFacts]) -> Rig:
    """Amend a rig's name, kind, time zone or display units. Raises as `register_rig` does."""
    return saving.amend_row(rig, facts, Event.RIG_AMENDED, seen=seen, by=by, at=at)


@transaction.atomic
def add_crew_member(rig: Rig, *, person: User, role: str, by: Actor, at: datetime) -> CrewMember:
    """Give a person a role on the rig. Raises Refused when they have one already or their account is closed."""
    if not person.is_active:
        raise Refused("person", "This account is closed.", "Have it opened again first.")
    member = CrewMember(rig=rig, person=person, role=role)
    saving.add_row(member, Event.CREW_MEMBER_ADDED, by=by, at=at)
    return member


@transaction.atomic
def change_crew_role(member: CrewMember, *, role: str, by: Actor, at: datetime) -> CrewMember:
    """Change a person's role. Raises Refused when nobody would be left to look after the crew."""
    if role in CrewRole and Right.ADMINISTER not in RIGHTS[role]:
        _someone_else_administers(member, field="role")
    return saving.amend_row(member, {"role": role}, Event.CREW_ROLE_CHANGED, by=by, at=at)


@transaction.atomic
def remove_crew_member(member: CrewMember, *, reason: str, by: Actor, at: datetime) -> None:
    """Take a person off the rig; what they did stays under their name. Raises as `change_crew_role` does."""
    why = saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say why the person leaves.")
    _someone_else_administers(member, field="")
    entries.write(
        Event.CREW_MEMBER_REMOVED,
        member,
        by=by,
        at=saving.aware(at),
        rig_number=member.rig_id,
        before=entries.snapshot(member),
        reason=why,
    )
    member.delete()


def _someone_else_administers(member: CrewMember, *, field: str) -> None:
    able = [role for role, rights in RIGHTS.items() if Right.ADMINISTER in rights]
    if member.role in able and not CrewMember.objects.filter(rig=member.rig_id, role__in=able).exclude(pk=member.pk):
        raise Refused(
            field,
            "Nobody else could look after this rig's crew.",
            "Make somebody else rig manager or administrator first.",
        )
