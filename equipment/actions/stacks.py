"""Stacks and their positions."""

from datetime import datetime
from typing import Any, Final, TypedDict, Unpack

from django.db import transaction
from django.db.models import F, ProtectedError

from equipment.actions import saving
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import RAM_KINDS, ComponentKind, Position, PositionGroup, Rig, Stack
from trail import entries
from trail.actors import Actor

_OUT_OF_THE_WAY: Final = 10_000
"""Added to orders while they move, so that the unique order holds at each single step."""
_BORE_KINDS: Final = RAM_KINDS | {ComponentKind.ANNULAR}
_SIDES: Final = {PositionGroup.CHOKE_SIDE, PositionGroup.KILL_SIDE}
_NEVER_IN_BORE: Final = {
    ComponentKind.CHOKE_VALVE,
    ComponentKind.KILL_VALVE,
    ComponentKind.CHECK_VALVE,
    ComponentKind.CHOKE,
    ComponentKind.MANIFOLD,
    ComponentKind.STANDPIPE_VALVE,
    ComponentKind.KELLY_VALVE,
    ComponentKind.SAFETY_VALVE,
    ComponentKind.INSIDE_BOP,
    ComponentKind.FLEXIBLE_LINE,
    ComponentKind.CLOSING_UNIT,
    ComponentKind.ACCUMULATOR_BANK,
}
"""Pipe does not run through these: in the bore a test would count them among what closes it (common practice)."""


class StackFacts(TypedDict, total=False):
    """What can be amended of a stack."""

    name: str
    kind: str


class PositionFacts(TypedDict, total=False):
    """What can be amended of a position; `order` moves it, and the others make room."""

    name: str
    kind: str
    group: str
    outlet_of: Position | None
    order: int


@transaction.atomic
def register_stack(rig: Rig, *, name: str, kind: str, by: Actor, at: datetime) -> Stack:
    """Register a stack, without positions yet. Raises Refused when the rig has one of this name."""
    stack = Stack(rig=rig, kind=kind)
    saving.assign_values(stack, {"name": name})
    saving.add_row(stack, Event.STACK_REGISTERED, by=by, at=at)
    return stack


@transaction.atomic
def amend_stack(stack: Stack, *, seen: str = "", by: Actor, at: datetime, **facts: Unpack[StackFacts]) -> Stack:
    """Amend a stack's name or kind. Raises as `register_stack` does."""
    return saving.amend_row(stack, facts, Event.STACK_AMENDED, seen=seen, by=by, at=at)


@transaction.atomic
def add_position(
    stack: Stack,
    *,
    name: str,
    kind: str,
    group: str = PositionGroup.BORE,
    outlet_of: Position | None = None,
    order: int | None = None,
    by: Actor,
    at: datetime,
) -> Position:
    """Add a position at `order` from the top, the others making room; at the bottom without one.

    Raises Refused when the stack has a position of this name, when the kind can't stand in that group,
    or when `outlet_of` is no position in the bore of this stack.
    """
    saving.locked(stack)
    count = stack.positions.count()
    place = count + 1 if order is None else _place(order, last=count + 1)
    position = Position(stack=stack, kind=kind, group=group, outlet_of=outlet_of, order=place)
    saving.assign_values(position, {"name": name})
    _check_fit(position)
    _shift(stack, first=place, last=count, by=1)
    saving.add_row(position, Event.POSITION_ADDED, by=by, at=at)
    return position


@transaction.atomic
def amend_position(
    position: Position, *, seen: str = "", by: Actor, at: datetime, **facts: Unpack[PositionFacts]
) -> Position:
    """Amend a position or move it to another order.

    Raises Refused as `add_position` does, and when the kind would change under a component that has stood there.
    """
    values: dict[str, Any] = dict(facts)
    saving.locked(position.stack)
    fresh = saving.locked(position)
    saving.unchanged(fresh, seen)
    before = entries.snapshot(fresh)
    place = values.pop("order", None)
    saving.assign_values(fresh, values)
    _check_kind(fresh, before["kind"])
    _check_fit(fresh)
    if place is not None and place != fresh.order:
        _move(fresh, _place(place, last=fresh.stack.positions.count()))
    saving.change_row(fresh, Event.POSITION_AMENDED, before=before, by=by, at=at)
    return fresh


@transaction.atomic
def remove_position(position: Position, *, by: Actor, at: datetime) -> None:
    """Remove a position in which nothing ever stood and which no test nor pressure system names.

    Raises Refused otherwise.
    """
    stack = saving.locked(position.stack)
    fresh = saving.locked(position)
    before = entries.snapshot(fresh)
    order, last = fresh.order, stack.positions.count()
    entries.write(Event.POSITION_REMOVED, fresh, by=by, at=saving.aware(at), rig_number=stack.rig_id, before=before)
    try:
        fresh.delete()
    except ProtectedError as error:
        raise Refused(
            "",
            "Something stood in this position, a valve is on its outlet, or a test or the pressure system names it.",
            "Rename it instead.",
        ) from error
    _shift(stack, first=order + 1, last=last, by=-1)


def _place(order: int, *, last: int) -> int:
    if not 1 <= order <= last:
        raise Refused("order", f"The stack has no place {order}.", f"Give a number from 1 (top) to {last}.")
    return order


def _shift(stack: Stack, *, first: int, last: int, by: int) -> None:
    """Move the positions with orders `first` to `last` by `by` places."""
    stack.positions.filter(order__gte=first, order__lte=last).update(order=F("order") + _OUT_OF_THE_WAY)
    stack.positions.filter(order__gt=_OUT_OF_THE_WAY).update(order=F("order") - _OUT_OF_THE_WAY + by)


def _move(position: Position, place: int) -> None:
    was = position.order
    stack = position.stack
    stack.positions.filter(pk=position.pk).update(order=_OUT_OF_THE_WAY - 1)
    if place < was:
        _shift(stack, first=place, last=was - 1, by=1)
    else:
        _shift(stack, first=was + 1, last=place, by=-1)
    position.order = place


def _check_kind(position: Position, kind_before: str) -> None:
    if position.kind != kind_before and position.installations.exists():
        raise Refused(
            "kind",
            "A component of the other kind has stood here.",
            "Add a new position for the new kind and leave this one for its history.",
        )


def _check_fit(position: Position) -> None:
    if position.kind in _BORE_KINDS and position.group != PositionGroup.BORE:
        raise Refused("group", f"{ComponentKind(position.kind).label} stands in the bore.", "Choose Stack bore.")
    if position.kind in _NEVER_IN_BORE and position.group == PositionGroup.BORE:
        raise Refused(
            "group",
            f"{ComponentKind(position.kind).label} does not stand in the bore.",
            "Choose the side or the part of the system it belongs to.",
        )
    if position.pk and position.group != PositionGroup.BORE and position.outlets.exists():
        raise Refused(
            "group", "Valves stand on outlets of this position.", "Make them outlets of another position first."
        )
    outlet_of = position.outlet_of
    if outlet_of is None:
        return
    if position.group not in _SIDES:
        raise Refused("outlet_of", "Only a choke-side or kill-side valve stands on an outlet.", "Leave this empty.")
    if outlet_of.stack_id != position.stack_id or outlet_of.group != PositionGroup.BORE:
        raise Refused("outlet_of", "An outlet belongs to a position in the bore of this stack.", "Choose one of those.")
