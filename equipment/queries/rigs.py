"""Rigs and their crews, as one person may see them."""

from django.db.models import Count, Q, QuerySet

from accounts.models import User
from equipment.models import CrewMember, Rig
from equipment.queries import access
from equipment.queries.access import Right, Viewer


def rig_list(user: Viewer) -> QuerySet[Rig]:
    """Return the rigs the person may see, each with `stack_count`, `component_count` (in use) and `crew_count`."""
    return access.rigs_visible(user).annotate(
        stack_count=Count("stacks", distinct=True),
        component_count=Count("components", filter=Q(components__retired_at__isnull=True), distinct=True),
        crew_count=Count("crew", distinct=True),
    )


def crew_of(rig: Rig) -> QuerySet[CrewMember]:
    """Return the crew of a rig the caller was already given, by role."""
    return rig.crew.select_related("person").order_by("role", "person__username")


def crew_member_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> CrewMember:
    """Return one person's role on a rig; raises NotYours or NotAllowed."""
    member = CrewMember.objects.select_related("rig", "person").filter(pk=pk).first()
    return access.checked(user, member, needs=needs)


def people_outside(rig: Rig) -> QuerySet[User]:
    """Return the active accounts that have no role on the rig yet."""
    return User.objects.filter(is_active=True).exclude(crew_roles__rig=rig).order_by("username")
