"""Control items: the stations, panels and pods a stack is worked from, and what works it by itself."""

from datetime import UTC, datetime
from typing import Any, Final, TypedDict, Unpack

from django.db import transaction

from equipment.actions import saving
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import ControlItem, ControlKind, ControlPlace, Stack, StackKind
from trail import entries
from trail.actors import Actor

PLACES: Final = {
    ControlKind.STATION: (ControlPlace.DRILL_FLOOR, ControlPlace.REMOTE, ControlPlace.CLOSING_UNIT),
    ControlKind.REMOTE_PANEL: (ControlPlace.DRILL_FLOOR, ControlPlace.REMOTE, ControlPlace.CLOSING_UNIT),
    ControlKind.POD: (ControlPlace.BLUE, ControlPlace.YELLOW),
}
"""Where each kind may be; other kinds stand in no such place."""
_MUST_BE_PLACED: Final = frozenset({ControlKind.STATION, ControlKind.POD})
_UNDER_WATER: Final = frozenset({ControlKind.POD, ControlKind.ROV_INTERVENTION})


class ControlFacts(TypedDict, total=False):
    """What can be amended of a control item."""

    kind: str
    name: str
    place: str
    in_service_from: datetime


@transaction.atomic
def add_control_item(
    stack: Stack, *, kind: str, name: str, in_service_from: datetime, place: str = "", by: Actor, at: datetime
) -> ControlItem:
    """Put a station, panel, pod or emergency system of a stack on file.

    Raises Refused when the stack has one of this name or in this place, when the kind can't be in that place or on
    such a stack, or when it came into service in the future.
    """
    item = ControlItem(stack=stack, kind=kind)
    began = saving.not_after(in_service_from, at, field="in_service_from").astimezone(UTC)
    saving.assign_values(item, {"name": name, "place": place, "in_service_from": began})
    _check(item)
    saving.add_row(item, Event.CONTROL_ADDED, by=by, at=at)
    return item


@transaction.atomic
def amend_control_item(
    item: ControlItem, *, reason: str, seen: str = "", by: Actor, at: datetime, **facts: Unpack[ControlFacts]
) -> ControlItem:
    """Amend what was written down of a control item. Raises as `add_control_item` does, and without a reason."""
    why = saving.said(
        reason, field="reason", reason="A reason is missing.", remedy="Say what was written down wrongly."
    )
    values: dict[str, Any] = dict(facts)
    if "in_service_from" in values:
        values["in_service_from"] = saving.not_after(values["in_service_from"], at, field="in_service_from")
    fresh = saving.locked(item)
    saving.unchanged(fresh, seen)
    before = entries.snapshot(fresh)
    saving.assign_values(fresh, values)
    _check(fresh)
    if not saving.change_row(fresh, Event.CONTROL_AMENDED, before=before, by=by, at=at, reason=why):
        raise Refused("", "Nothing differs from what is on file.", "Change what was wrong, or cancel.")
    return fresh


@transaction.atomic
def retire_control_item(
    item: ControlItem, *, retired_at: datetime, reason: str, by: Actor, at: datetime
) -> ControlItem:
    """Take a control item out of service for good; it stays on file with its tests.

    Raises Refused: retired already, a time to come or before it came into service, no reason.
    """
    fresh = saving.locked(item)
    if fresh.retired_at is not None:
        raise Refused("", "It is out of service already.", "Nothing is left to do.")
    before = entries.snapshot(fresh)
    why = saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say why it goes out of service.")
    fresh.retired_at = saving.not_after(retired_at, at, field="retired_at").astimezone(UTC)
    fresh.retired_reason = why
    saving.change_row(fresh, Event.CONTROL_RETIRED, before=before, by=by, at=at, reason=why)
    return fresh


def _check(item: ControlItem) -> None:
    kind = item.kind
    allowed = PLACES.get(ControlKind(kind), ()) if kind in ControlKind else ()
    if item.place and item.place not in allowed:
        words = ", ".join(place.label.lower() for place in allowed)
        raise Refused(
            "place",
            f"{item.get_kind_display()} is not found there.",
            f"Choose one of: {words}." if words else "Leave this empty.",
        )
    if not item.place and kind in _MUST_BE_PLACED:
        raise Refused(
            "place",
            "Stations and pods are used in turn, and a test's heading names them by their place.",
            "Choose which one it is.",
        )
    if kind in _UNDER_WATER and item.stack.kind != StackKind.SUBSEA:
        raise Refused("kind", "A surface stack has none.", "Choose another kind, or amend the stack's kind.")
