"""Stacks: their positions, and what stood in them at a moment."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db.models import Count, Q, QuerySet

from equipment.models import RAM_KINDS, Component, Installation, Position, PositionGroup, Rig, Stack
from equipment.queries import access
from equipment.queries.access import Right, Viewer

ABOVE_UPPERMOST_RAM: Final = "above-uppermost-ram"
BELOW_UPPERMOST_RAM: Final = "below-uppermost-ram"


@dataclass(frozen=True)
class Standing:
    """A position and what stood in it at the moment asked for; nothing when it was empty."""

    position: Position
    component: Component | None
    installation: Installation | None


def stacks_of(rig: Rig) -> QuerySet[Stack]:
    """Return the rig's stacks by name, each with `position_count` and `filled_count` (standing now)."""
    return rig.stacks.annotate(
        position_count=Count("positions", distinct=True),
        filled_count=Count(
            "positions__installations", filter=Q(positions__installations__removed_at__isnull=True), distinct=True
        ),
    )


def stack_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Stack:
    """Return the stack; raises NotYours or NotAllowed."""
    return access.checked(user, Stack.objects.select_related("rig").filter(pk=pk).first(), needs=needs)


def position_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Position:
    """Return the position; raises NotYours or NotAllowed."""
    position = Position.objects.select_related("stack__rig", "outlet_of").filter(pk=pk).first()
    return access.checked(user, position, needs=needs)


def positions_of(stack: Stack) -> QuerySet[Position]:
    """Return the stack's positions, top first, each with the one it hangs on."""
    return stack.positions.select_related("outlet_of").order_by("order")


def standing_at(at: datetime) -> Q:
    """Return the condition for installations that held at the moment: half-open, so a swap at noon is the new one."""
    return Q(installed_at__lte=at) & (Q(removed_at__isnull=True) | Q(removed_at__gt=at))


def as_installed(stack: Stack, *, at: datetime) -> list[Standing]:
    """Return every position of the stack, top first, with what stood in it at the moment. Two queries, however many."""
    held = Installation.objects.filter(standing_at(at), position__stack=stack).select_related("component")
    by_position = {installation.position_id: installation for installation in held}
    return [_standing(position, by_position.get(position.pk)) for position in positions_of(stack)]


def _standing(position: Position, installation: Installation | None) -> Standing:
    return Standing(position, installation.component if installation else None, installation)


def uppermost_ram(positions: Iterable[Position]) -> int | None:
    """Return the order of the highest ram in the bore, or None without one."""
    rams = (p.order for p in positions if p.kind in RAM_KINDS and p.group == PositionGroup.BORE)
    return min(rams, default=None)


def position_roles(positions: Iterable[Position]) -> dict[int, str]:
    """Return each position's place against the uppermost ram, by key.

    What stands in the bore counts by its own order; an outlet valve by the position it hangs on, and the
    outlets of the uppermost ram itself lie below its blocks. What is neither has an empty role.
    """
    known = list(positions)
    ram = uppermost_ram(known)
    return {position.pk: _role(position, ram) for position in known}


def position_role(position: Position) -> str:
    """Return one position's place against the uppermost ram; for many use `position_roles`. One query."""
    return position_roles(positions_of(position.stack)).get(position.pk, "")


def _role(position: Position, ram: int | None) -> str:
    bore = position if position.group == PositionGroup.BORE else position.outlet_of
    if ram is None or bore is None:
        return ""
    return ABOVE_UPPERMOST_RAM if bore.order < ram else BELOW_UPPERMOST_RAM
