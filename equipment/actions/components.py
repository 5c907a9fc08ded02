"""Components: registered, amended, retired; never deleted."""

from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, Final, TypedDict, Unpack

from django.db import transaction

from calcs.units import Quantity
from equipment import following
from equipment.actions import plausible, saving
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import Component, Measured, Rig
from trail import entries
from trail.actors import Actor

Amount = Measured | Quantity | str | None
"""A quantity as an action takes it: read already, or a text such as ``"10000 psi"``; None or "" for none."""


class ComponentFacts(TypedDict, total=False):
    """What is known of a component besides its kind and serial number."""

    maker: str
    model: str
    nominal_bore: Amount
    rated_working_pressure: Amount
    temperature_class: str
    closing_volume: Amount
    opening_volume: Amount
    closing_ratio: Decimal | None
    opening_ratio: Decimal | None
    rated_operating_pressure: Amount
    closes_on_smallest: Amount
    closes_on_largest: Amount
    closes_on_open_hole: bool
    manufactured_on: date | None
    last_major_inspection_on: date | None
    remarks: str


class ComponentAmendment(ComponentFacts, total=False):
    """What can be amended of a component; its kind only while it never stood anywhere."""

    kind: str
    serial: str


@transaction.atomic
def register_component(
    rig: Rig, *, kind: str, serial: str, by: Actor, at: datetime, **facts: Unpack[ComponentFacts]
) -> Component:
    """Register a component on a rig, standing nowhere yet.

    Raises ValidationError or Refused naming the fields at fault: figures no equipment has, a serial number
    already on file.
    """
    component = Component(rig=rig, kind=kind)
    saving.assign_values(component, {"serial": serial, **facts})
    _check_days(component, at)
    plausible.check_component(component)
    saving.add_row(component, Event.COMPONENT_REGISTERED, by=by, at=at)
    return component


@transaction.atomic
def amend_component(
    component: Component,
    *,
    reason: str = "",
    seen: str = "",
    by: Actor,
    at: datetime,
    **facts: Unpack[ComponentAmendment],
) -> Component:
    """Amend what is on file about a component.

    With another rating, drafts of tests that name it follow. Raises as `register_component` does, and Refused once
    it has stood in a position: for another kind, or for a rating that was on file and changes without a reason.
    """
    fresh = saving.locked(component)
    saving.unchanged(fresh, seen)
    before = entries.snapshot(fresh)
    saving.assign_values(fresh, facts)
    _check_days(fresh, at)
    plausible.check_component(fresh)
    if fresh.kind != before["kind"] and fresh.installations.exists():
        raise Refused(
            "kind", "This component has stood in a position of its kind.", "Register another component instead."
        )
    _check_reason(fresh, before, reason)
    saving.change_row(fresh, Event.COMPONENT_AMENDED, before=before, by=by, at=at, reason=reason.strip())
    if entries.snapshot(fresh)["rated_working_pressure_si"] != before["rated_working_pressure_si"]:
        following.follow(fresh, by, at)
    return fresh


@transaction.atomic
def retire_component(
    component: Component, *, reason: str, retired_at: datetime | None = None, by: Actor, at: datetime
) -> Component:
    """Take a component out of use for good, now or at `retired_at` in the past; it stays on file.

    Raises Refused while it stands in a position, or stood in one after that time.
    """
    fresh = saving.locked(component)
    before = entries.snapshot(fresh)
    if fresh.retired_at:
        raise Refused("", "This component is retired already.", "Nothing is left to do.")
    fresh.retired_reason = saving.said(
        reason, field="reason", reason="A reason is missing.", remedy="Say why it goes out of use."
    )
    if fresh.installations.filter(removed_at__isnull=True).exists():
        raise Refused("", "This component stands in a position.", "Remove it there first.")
    fresh.retired_at = saving.not_after(retired_at or at, at, field="retired_at").astimezone(UTC)
    if fresh.installations.filter(removed_at__gt=fresh.retired_at).exists():
        raise Refused("retired_at", "It stood in a position after that time.", "Give the time it went out of use.")
    saving.change_row(fresh, Event.COMPONENT_RETIRED, before=before, by=by, at=at, reason=fresh.retired_reason)
    return fresh


@transaction.atomic
def reinstate_component(component: Component, *, reason: str, by: Actor, at: datetime) -> Component:
    """Bring a retired component back into use. Raises Refused when it is not retired."""
    fresh = saving.locked(component)
    before = entries.snapshot(fresh)
    if not fresh.retired_at:
        raise Refused("", "This component is in use already.", "Nothing is left to do.")
    why = saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say why it comes back into use.")
    fresh.retired_at = None
    fresh.retired_reason = ""
    saving.change_row(fresh, Event.COMPONENT_REINSTATED, before=before, by=by, at=at, reason=why)
    return fresh


def _check_reason(component: Component, before: Mapping[str, Any], reason: str) -> None:
    """Refuse to change without a reason what tests of a component that stood somewhere rest on; a gap may be filled."""
    after = entries.snapshot(component)
    changed = [column for column in _RATINGS if before[column] not in _EMPTY and before[column] != after[column]]
    if changed and not reason.strip() and component.installations.exists():
        named = ", ".join(_RATINGS[column] for column in changed)
        raise Refused("reason", f"Tests rest on what is on file: {named}.", "Say why it is changed, and by what paper.")


_RATINGS: Final = {
    "rated_working_pressure_si": "rated working pressure",
    "nominal_bore_si": "bore",
    "closes_on_smallest_si": "smallest pipe",
    "closes_on_largest_si": "largest pipe",
    "closes_on_open_hole": "whether it seals without pipe",
    "closing_volume_si": "closing volume",
    "opening_volume_si": "opening volume",
    "closing_ratio": "closing ratio",
    "opening_ratio": "opening ratio",
    "rated_operating_pressure_si": "rated operating pressure",
}
"""Columns a pressure or drawdown test is worked out from, each in words."""
_EMPTY: Final = ("", str(None))
"""How a snapshot tells that nothing is on file."""


def _check_days(component: Component, at: datetime) -> None:
    """Refuse a manufacture or an inspection on a day that has not come yet on the rig's calendar."""
    today = saving.aware(at).astimezone(component.rig.zone).date()
    for field in ("manufactured_on", "last_major_inspection_on"):
        day = getattr(component, field)
        if isinstance(day, date) and day > today:
            raise Refused(field, "This day lies in the future.", "Give the day it was done.")
