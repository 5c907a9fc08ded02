"""Which rules a rig follows, since when, and how that came about."""

from django.db.models import QuerySet

from equipment.models import Rig
from tests_app.models import Programme
from trail import entries
from trail.models import TrailEntry


def programme_of(rig: Rig) -> Programme | None:
    """Return which edition the rig follows since when, None while no rules are chosen. One query."""
    return Programme.objects.filter(rig=rig).first()


def choices_of(programme: Programme | None) -> QuerySet[TrailEntry]:
    """Return each choice of rules the rig made, the latest first."""
    return entries.of_subjects([programme] if programme else []).order_by("-at", "-pk")
