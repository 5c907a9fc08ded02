"""What may wait, and since when: deferrals somebody approved, and tests that are not safe to make now."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime

from django.db.models import Q, QuerySet

from equipment.models import Rig
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from tests_app.models import Deferral, Postponement
from tests_app.queries.completed import standing


def deferrals_of(rig: Rig, known_at: datetime | None = None) -> dict[str, list[Deferral]]:
    """Return the deferrals by the key of what they defer, the first granted first; those run out are among them.

    One query. What was withdrawn is left out. With `known_at` only what was entered by then counts, and what was
    withdrawn later still does.
    """
    found: dict[str, list[Deferral]] = defaultdict(list)
    for row in Deferral.objects.filter(standing(known_at), rig=rig).order_by("granted_at", "pk"):
        found[row.obligation_key].append(row)
    return dict(found)


def postponements_of(rig: Rig, known_at: datetime | None = None) -> dict[str, list[Postponement]]:
    """Return the postponements that have not ended, by the key of what they postpone, the first made first.

    One query. With `known_at` only what was entered by then counts, and what ended later still does; whether the
    occasion had come by then is for `is_called` to say.
    """
    found: dict[str, list[Postponement]] = defaultdict(list)
    for row in Postponement.objects.filter(_open(known_at), rig=rig).order_by("made_at", "pk"):
        found[row.obligation_key].append(row)
    return dict(found)


def _open(known_at: datetime | None) -> Q:
    if known_at is None:
        return Q(ended_at__isnull=True)
    return Q(entered_at__lte=known_at) & (Q(ended_at__isnull=True) | Q(ended_at__gt=known_at))


def deferral_in_force(rows: Iterable[Deferral], at: datetime) -> Deferral | None:
    """Return the deferral that moves the date at that moment: the last granted that has not run out."""
    running = [row for row in rows if row.granted_at <= at < row.until and not _withdrawn_by(row, at)]
    return max(running, key=lambda row: row.granted_at, default=None)


def postponement_in_force(rows: Iterable[Postponement], at: datetime) -> Postponement | None:
    """Return the postponement that stands at that moment, whether or not its occasion has come."""
    running = [row for row in rows if row.made_at <= at and (row.ended_at is None or row.ended_at > at)]
    return max(running, key=lambda row: row.made_at, default=None)


def is_called(postponement: Postponement, at: datetime) -> bool:
    """Tell whether what calls for the test had come about by then: from there on it is due at once."""
    return postponement.called_at is not None and postponement.called_at <= at


def _withdrawn_by(row: Deferral, at: datetime) -> bool:
    return row.withdrawn_at is not None and row.withdrawn_at <= at


def deferral_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Deferral:
    """Return one deferral; raises NotYours (404) or NotAllowed (403)."""
    return access.checked(user, Deferral.objects.select_related("rig").filter(pk=pk).first(), needs=needs)


def postponement_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Postponement:
    """Return one postponement; raises NotYours (404) or NotAllowed (403)."""
    return access.checked(user, Postponement.objects.select_related("rig").filter(pk=pk).first(), needs=needs)


def everything_waiting(rig: Rig) -> list[Deferral | Postponement]:
    """Return every deferral and postponed test of a rig, those withdrawn and ended too. Two queries."""
    return [*Deferral.objects.filter(rig=rig), *Postponement.objects.filter(rig=rig)]


def deferrals_on(rig: Rig) -> QuerySet[Deferral]:
    """Return every deferral of a rig the caller was already given, the latest granted first."""
    return Deferral.objects.filter(rig=rig).order_by("-granted_at", "-pk")


def postponements_on(rig: Rig) -> QuerySet[Postponement]:
    """Return every postponed test of a rig the caller was already given, the latest first."""
    return Postponement.objects.filter(rig=rig).order_by("-made_at", "-pk")
