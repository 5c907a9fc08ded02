"""Control items: those of a rig or stack, and those in service at a moment."""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import F, Q, QuerySet

from equipment.models import ControlItem, ControlKind, Rig, Stack
from equipment.queries import access
from equipment.queries.access import Right, Viewer

STATION_KINDS = (ControlKind.STATION, ControlKind.REMOTE_PANEL)
"""Kinds a function is worked from."""


def controls_of_rig(rig: Rig) -> QuerySet[ControlItem]:
    """Return every control item of a rig, those in service first."""
    items = ControlItem.objects.filter(stack__rig=rig).select_related("stack__rig")
    return items.order_by(F("retired_at").asc(nulls_first=True), "stack__name", "kind", "name")


def controls_of(stack: Stack, *, at: datetime) -> list[ControlItem]:
    """Return the control items of a stack that were in service at a moment, stations first. One query."""
    items = stack.control_items.filter(in_service_at(at)).select_related("stack__rig")
    places = [kind.value for kind in ControlKind]
    return sorted(items, key=lambda item: (places.index(item.kind), item.pk))


def in_service_at(at: datetime) -> Q:
    """Return the condition for control items in service at the moment."""
    return Q(in_service_from__lte=at) & (Q(retired_at__isnull=True) | Q(retired_at__gt=at))


def stations_among(items: Iterable[ControlItem]) -> list[ControlItem]:
    """Return those a function is worked from: stations and remote panels."""
    return [item for item in items if item.kind in STATION_KINDS]


def pods_among(items: Iterable[ControlItem]) -> list[ControlItem]:
    """Return the pods."""
    return [item for item in items if item.kind == ControlKind.POD]


def control_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> ControlItem:
    """Return the control item; raises NotYours or NotAllowed."""
    return access.checked(user, ControlItem.objects.select_related("stack__rig").filter(pk=pk).first(), needs=needs)
