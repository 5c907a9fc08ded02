"""Who may see and do what on which rig. Every other query that hands out a row asks here first."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final, TypeVar

from django.contrib.auth.models import AnonymousUser
from django.db.models import Model, Q, QuerySet

from accounts.models import User
from equipment.errors import NotAllowed, NotYours
from equipment.models import CrewMember, CrewRole, Rig

Viewer = User | AnonymousUser
Row = TypeVar("Row", bound=Model)
_TO_RIG: Final[Mapping[str, tuple[str, ...]]] = {
    "rig": (),
    "position": ("stack", "rig"),
    "installation": ("position", "stack", "rig"),
    "holesection": ("well", "rig"),
    "controlitem": ("stack", "rig"),
    "pressuresystem": ("stack", "rig"),
    "cavity": ("system", "stack", "rig"),
    "cavitylimit": ("cavity", "system", "stack", "rig"),
    "systemelement": ("system", "stack", "rig"),
    "elastomer": ("component", "rig"),
    "serviceevent": ("component", "rig"),
    "bank": ("component", "rig"),
    "bottle": ("bank", "component", "rig"),
    "prechargecheck": ("bank", "component", "rig"),
    "prechargereading": ("bottle", "bank", "component", "rig"),
}
"""Relations from a row to its rig, where it is not simply ``rig``."""


class Right(StrEnum):
    """What a role allows; the value completes "Your role does not allow you to …"."""

    READ = "look at this rig"
    RECORD = "record tests"
    MANAGE = "change equipment, stacks and wells"
    WORK = "enter work done"
    DEFER = "let what is due wait"
    OPEN_DEFECT = "open defects"
    ACT_ON_DEFECT = "act on defects and close them by a retest"
    DISPOSE = "approve that a defect is closed without a retest"
    SIGN = "sign records"
    ADMINISTER = "change the rig and its crew"


RIGHTS: Final[Mapping[str, frozenset[Right]]] = {
    CrewRole.TESTER: frozenset({Right.READ, Right.RECORD, Right.SIGN, Right.OPEN_DEFECT}),
    CrewRole.SUPERVISOR: frozenset({Right.READ, Right.RECORD, Right.MANAGE, Right.WORK, Right.DEFER, Right.SIGN})
    | {Right.OPEN_DEFECT, Right.ACT_ON_DEFECT},
    CrewRole.RIG_MANAGER: frozenset({Right.READ, Right.MANAGE, Right.WORK, Right.DEFER, Right.SIGN, Right.ADMINISTER})
    | {Right.OPEN_DEFECT, Right.ACT_ON_DEFECT, Right.DISPOSE},
    CrewRole.LESSEE: frozenset({Right.READ, Right.SIGN}),
    CrewRole.AUDITOR: frozenset({Right.READ}),
    CrewRole.ADMINISTRATOR: frozenset({Right.READ, Right.RECORD, Right.MANAGE, Right.WORK, Right.ADMINISTER}),
}
_BY_ADMINISTRATION: Final = frozenset(Right) - {Right.SIGN, Right.DISPOSE}

RIGHTS_IN_WORDS: Final[tuple[tuple[str, str], ...]] = tuple(
    (str(CrewRole(role).label), ", ".join(right.value for right in Right if right in given))
    for role, given in RIGHTS.items()
)
"""Each role with what it allows."""


def rigs_visible(user: Viewer) -> QuerySet[Rig]:
    """Return the rigs the person has a role on, by name; all of them for a superuser, none when not signed in."""
    if not user.is_authenticated or not user.is_active:
        return Rig.objects.none()
    within = Q() if user.reach is None or user.reach.rig is None else Q(pk=user.reach.rig)
    if user.is_superuser:
        return Rig.objects.filter(within)
    # By a subquery and not a join: whoever counts the crew of these rigs would count on the joined row alone.
    return Rig.objects.filter(within, pk__in=CrewMember.objects.filter(person=user).values("rig"))


def rights_on(user: Viewer, rig: Rig) -> frozenset[Right]:
    """Return what the person may do on the rig; empty when the rig is out of their sight. One query.

    A superuser may do everything but sign and approve: that says who somebody is on this rig, which only a role tells.
    """
    if not user.is_authenticated or not user.is_active:
        return frozenset()
    role = CrewMember.objects.filter(rig=rig, person=user).values_list("role", flat=True).first()
    given = RIGHTS.get(role, frozenset()) if role else frozenset()
    return _within_reach(given | _BY_ADMINISTRATION if user.is_superuser else given, user, rig)


def _within_reach(given: frozenset[Right], user: User, rig: Rig) -> frozenset[Right]:
    """Cut rights down to what the token allows that somebody came by; by password nothing is cut."""
    if user.reach is None:
        return given
    if user.reach.rig not in (None, rig.pk):
        return frozenset()
    return given if user.reach.writes else given & {Right.READ}


def may(user: Viewer, rig: Rig, right: Right) -> bool:
    """Tell whether the person has the right on the rig."""
    return right in rights_on(user, rig)


def check(user: Viewer, rig: Rig, *, needs: Right) -> None:
    """Raise NotYours when the rig is out of the person's sight, NotAllowed when their role lacks the right."""
    rights = rights_on(user, rig)
    if not rights:
        raise NotYours("There is nothing here.")
    if needs not in rights:
        able = ", ".join(CrewRole(role).label.lower() for role, given in RIGHTS.items() if needs in given)
        raise NotAllowed(
            f"Your role on {rig.name} does not allow you to {needs.value}.", f"It takes one of these roles: {able}."
        )


def rig_of(row: Model) -> Rig:
    """Return the rig a row of this application belongs to."""
    path = _TO_RIG.get(row._meta.model_name or "", ("rig",))
    if row._meta.model_name == "document":
        path = ("component", "rig") if getattr(row, "component_id", None) else ("instrument", "rig")
    found: Model = row
    for name in path:
        found = getattr(found, name)
    assert isinstance(found, Rig)
    return found


def checked(user: Viewer, row: Row | None, *, needs: Right) -> Row:
    """Return the row once the person's right on its rig is sure; raises NotYours (also for no row) or NotAllowed."""
    if row is None:
        raise NotYours("There is nothing here.")
    check(user, rig_of(row), needs=needs)
    return row


def rig_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Rig:
    """Return the rig; raises NotYours (404) or NotAllowed (403)."""
    return checked(user, Rig.objects.filter(pk=pk).first(), needs=needs)


def may_register_rigs(user: Viewer) -> bool:
    """Tell whether the person may register a new rig: a superuser, or an administrator of some rig."""
    if not user.is_authenticated or not user.is_active:
        return False
    if user.reach is not None and (user.reach.rig is not None or not user.reach.writes):
        return False
    return bool(user.is_superuser or CrewMember.objects.filter(person=user, role=CrewRole.ADMINISTRATOR).exists())
