"""The history of installations: which component stood where, from when to when."""

from datetime import datetime

from django.db.models import QuerySet

from equipment.models import Component, Installation, Position
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from equipment.queries.stacks import standing_at


def of_component(component: Component) -> QuerySet[Installation]:
    """Return where the component has stood, the latest first."""
    return component.installations.select_related("position__stack").order_by("-installed_at")


def of_position(position: Position) -> QuerySet[Installation]:
    """Return what has stood in the position, the latest first."""
    return position.installations.select_related("component").order_by("-installed_at")


def installation_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Installation:
    """Return the installation; raises NotYours or NotAllowed."""
    installation = Installation.objects.select_related("component", "position__stack__rig").filter(pk=pk).first()
    return access.checked(user, installation, needs=needs)


def place_of(component: Component, *, at: datetime) -> Installation | None:
    """Return where the component stood at the moment, or None."""
    return of_component(component).filter(standing_at(at)).first()
