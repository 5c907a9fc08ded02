"""Which rules a rig follows, since when, how that came about, and what of them is the rig's own."""

from typing import Any

from django.db.models import QuerySet

from calcs.errors import InputError
from calcs.rules import OwnFigure
from equipment.models import Rig
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from tests_app import rulebook
from tests_app.models import Programme, ProgrammeCopy
from tests_app.models.programmes import MARK
from trail import entries
from trail.models import TrailEntry


def programme_of(rig: Rig) -> Programme | None:
    """Return which edition the rig follows since when, None while no rules are chosen. One query."""
    return Programme.objects.filter(rig=rig).first()


def choices_of(programme: Programme | None) -> QuerySet[TrailEntry]:
    """Return each choice of rules the rig made, the latest first."""
    return entries.of_subjects([programme] if programme else []).order_by("-at", "-pk")


def copy_of(programme: Programme | None) -> ProgrammeCopy | None:
    """Return the rig's own copy that is followed, None where a published edition is. One query at most."""
    if programme is None or MARK not in programme.edition:
        return None
    copies = ProgrammeCopy.objects.filter(rig_id=programme.rig_id)
    return next((copy for copy in copies if copy.edition == programme.edition), None)


def copies_of(rig: Rig) -> QuerySet[ProgrammeCopy]:
    """Return every copy of rules the rig ever made, the latest first."""
    return ProgrammeCopy.objects.filter(rig=rig).order_by("-number")


def copy_for(user: Viewer, edition: str) -> ProgrammeCopy:
    """Return a rig's own copy by its id as an edition; raises NotYours (404) for another rig's."""
    key = edition.partition(MARK)[2]
    copy = ProgrammeCopy.objects.select_related("rig").filter(pk=int(key) if key.isdigit() else 0).first()
    return access.checked(user, copy, needs=Right.READ)


def own_figures(programme: Programme | None) -> tuple[OwnFigure, ...]:
    """Return the figures in which the rules followed are the rig's own; none where they can't be worked out."""
    if programme is None or MARK not in programme.edition:
        return ()
    try:
        return rulebook.edition(programme.edition).own
    except InputError:
        return ()


def origins_of_figures(edition: str) -> dict[tuple[str, str], ProgrammeCopy]:
    """Return for each own figure of a rig's copy, by rule and figure, the copy in which it took its value.

    A copy holds every change made before it too; why and by whom a figure was changed stands on the first that had it
    so. Empty for a published edition. Two queries at most.
    """
    key = edition.partition(MARK)[2]
    copy = ProgrammeCopy.objects.filter(pk=int(key)).first() if key.isdigit() else None
    if copy is None:
        return {}
    earlier = ProgrammeCopy.objects.filter(rig=copy.rig_id, source=copy.source, number__lt=copy.number)
    found = dict.fromkeys(_values_in(copy), copy)
    standing = _values_in(copy)
    for one in earlier.order_by("-number"):
        before = _values_in(one)
        standing = {figure: value for figure, value in standing.items() if before.get(figure) == value}
        found.update(dict.fromkeys(standing, one))
    return found


def _values_in(copy: ProgrammeCopy) -> dict[tuple[str, str], tuple[Any, str]]:
    return {(one["rule"], one["figure"]): (one["own"], one.get("approval", "")) for one in copy.changes}
