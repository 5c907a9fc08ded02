"""Installing components in positions and removing them."""

from datetime import UTC, datetime

from django.db import transaction

from accounts.presentation import date_text, zone_label
from equipment.actions import saving
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import Component, ComponentKind, Installation, Position
from trail import entries
from trail.actors import Actor


@transaction.atomic
def install_component(
    component: Component, position: Position, *, installed_at: datetime, by: Actor, at: datetime
) -> Installation:
    """Record that a component was installed in a position at `installed_at`; it stands there from then on.

    Raises Refused naming the field: another kind or rig, retired, a time to come, the component standing
    elsewhere or the position filled at that time or later. The database holds the last two by itself.
    """
    component = saving.locked(component)
    _check_fit(component, position)
    saving.not_after(installed_at, at, field="installed_at")
    _check_free(component, position, installed_at)
    installation = Installation(component=component, position=position, installed_at=installed_at)
    saving.add_row(installation, Event.COMPONENT_INSTALLED, by=by, at=at)
    return installation


@transaction.atomic
def record_stay(
    component: Component,
    position: Position,
    *,
    installed_at: datetime,
    removed_at: datetime,
    reason: str,
    by: Actor,
    at: datetime,
) -> Installation:
    """Record that a component stood in a position and was removed from it, both in the past and not on file yet.

    Raises Refused as `install_component` and `remove_component` do, but lets a component that is retired have stood
    somewhere before that; the database refuses what overlaps with another stay.
    """
    component = saving.locked(component)
    _check_kinds(component, position)
    saving.not_after(installed_at, at, field="installed_at")
    removed = saving.not_after(removed_at, at, field="removed_at").astimezone(UTC)
    if component.retired_at and removed > component.retired_at:
        raise Refused("removed_at", "This component was retired before that.", "Check both times.")
    why = saving.said(reason, field="removal_reason", reason="A reason is missing.", remedy="Say why it was removed.")
    stay = Installation(
        component=component, position=position, installed_at=installed_at, removed_at=removed, removal_reason=why
    )
    saving.add_row(stay, Event.COMPONENT_INSTALLED, by=by, at=at)
    return stay


@transaction.atomic
def remove_component(
    installation: Installation, *, removed_at: datetime, reason: str, by: Actor, at: datetime
) -> Installation:
    """Record that a component was removed from its position at `removed_at`.

    Raises Refused: removed already, a time to come or not after the installation, no reason.
    """
    fresh = saving.locked(installation)
    before = entries.snapshot(fresh)
    if fresh.removed_at:
        raise Refused("", "This component was removed already.", "Look at its history.")
    fresh.removed_at = saving.not_after(removed_at, at, field="removed_at").astimezone(UTC)
    fresh.removal_reason = saving.said(
        reason, field="reason", reason="A reason is missing.", remedy="Say why it was removed."
    )
    saving.change_row(fresh, Event.COMPONENT_REMOVED, before=before, by=by, at=at, reason=fresh.removal_reason)
    return fresh


@transaction.atomic
def correct_installation(
    installation: Installation,
    *,
    installed_at: datetime,
    removed_at: datetime | None,
    reason: str,
    by: Actor,
    at: datetime,
) -> Installation:
    """Correct times that were written down wrongly; what stood in the trail stays there.

    A removal can be corrected but neither made nor undone here. Raises Refused: a time to come, a removal
    not after the installation, a time at which the position was filled or the component elsewhere, no reason.
    """
    fresh = saving.locked(installation)
    before = entries.snapshot(fresh)
    why = saving.said(
        reason, field="reason", reason="A reason is missing.", remedy="Say what was written down wrongly."
    )
    if (removed_at is None) != (fresh.removed_at is None):
        raise Refused("removed_at", "A correction neither removes nor puts back.", "Record the removal itself.")
    fresh.installed_at = saving.not_after(installed_at, at, field="installed_at").astimezone(UTC)
    if removed_at is not None:
        fresh.removed_at = saving.not_after(removed_at, at, field="removed_at").astimezone(UTC)
    saving.change_row(fresh, Event.INSTALLATION_CORRECTED, before=before, by=by, at=at, reason=why)
    return fresh


def _check_fit(component: Component, position: Position) -> None:
    _check_kinds(component, position)
    if component.retired_at:
        raise Refused("component", "This component is retired.", "Bring it back into use first.")


def _check_kinds(component: Component, position: Position) -> None:
    if component.rig_id != position.stack.rig_id:
        raise Refused("component", "This component is on another rig.", "Choose one of this rig.")
    if component.kind != position.kind:
        raise Refused(
            "component",
            f"{position.name} takes the kind “{ComponentKind(position.kind).label}”; "
            f"this component is “{component.get_kind_display()}”.",
            "Choose a component of that kind, or change the kind of the position while it is empty.",
        )


def _check_free(component: Component, position: Position, since: datetime) -> None:
    """Refuse an open end that runs into what is on file, naming what stands in the way."""
    elsewhere = component.installations.exclude(removed_at__lte=since).select_related("position__stack").first()
    if elsewhere is not None:
        place = f"{elsewhere.position.name} of {elsewhere.position.stack.name}"
        raise Refused(
            "installed_at" if elsewhere.removed_at else "component",
            f"This component {_stands(elsewhere)} in {place}{_until(elsewhere)}.",
            "Give a later time." if elsewhere.removed_at else "Remove it there first.",
        )
    other = position.installations.exclude(removed_at__lte=since).select_related("component").first()
    if other is not None:
        raise Refused(
            "installed_at" if other.removed_at else "position",
            f"{other.component} {_stands(other)} in this position{_until(other)}.",
            "Give a later time." if other.removed_at else "Remove it first.",
        )


def _stands(installation: Installation) -> str:
    return "stood" if installation.removed_at else "stands"


def _until(installation: Installation) -> str:
    if installation.removed_at is None:
        return ""
    local = installation.removed_at.astimezone(installation.position.stack.rig.zone)
    return f" until {date_text(local)}, {local:%H:%M} {zone_label(local)}"
