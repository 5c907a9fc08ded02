"""Work that renews something, as it stands on file: by the obligation it renews, and on its own for its page."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime

from django.db.models import Q, QuerySet

from equipment.models import Rig
from equipment.queries import access
from equipment.queries.access import Right, Viewer
from tests_app.models import Completion


def by_obligation(completions: Iterable[Completion]) -> dict[str, list[Completion]]:
    """Return work by the key of what it renews, in the order given. No query."""
    found: dict[str, list[Completion]] = defaultdict(list)
    for row in completions:
        found[row.obligation_key].append(row)
    return dict(found)


def standing_work(rig: Rig, *, known_at: datetime | None = None) -> list[Completion]:
    """Return the work on file of a rig, the first concluded first. One query.

    What was withdrawn is left out. With `known_at` only what was entered by then counts, and what was withdrawn
    later still does.
    """
    return list(Completion.objects.filter(standing(known_at), rig=rig).order_by("concluded_at", "pk"))


def standing(known_at: datetime | None = None) -> Q:
    """Return the condition for rows that are on file and not withdrawn, as known now or at a moment."""
    if known_at is None:
        return Q(withdrawn_at__isnull=True)
    return Q(entered_at__lte=known_at) & (Q(withdrawn_at__isnull=True) | Q(withdrawn_at__gt=known_at))


def completions_visible(rig: Rig) -> QuerySet[Completion]:
    """Return all the work entered on a rig, what was withdrawn too, the last concluded first."""
    return Completion.objects.filter(rig=rig).select_related("rig").order_by("-concluded_at", "-pk")


def completion_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Completion:
    """Return one piece of work; raises NotYours (404) or NotAllowed (403)."""
    row = Completion.objects.select_related("rig").filter(pk=pk).first()
    return access.checked(user, row, needs=needs)


def on_components(completions: Iterable[Completion]) -> dict[tuple[str, int], list[Completion]]:
    """Return work by what was done and the component it was done on, in the order given. No query.

    Beside `by_obligation`, since the key of what a position owes ends with the installation: an overhaul goes with
    the component, wherever it is put next.
    """
    found: dict[tuple[str, int], list[Completion]] = defaultdict(list)
    for row in completions:
        if row.component_id is not None:
            found[row.what, row.component_id].append(row)
    return dict(found)


def completions_of(rig: Rig, *, known_at: datetime | None = None) -> dict[str, list[Completion]]:
    """Return the work on file of a rig by the key of what it renews, the first concluded first. One query."""
    return by_obligation(standing_work(rig, known_at=known_at))


def work_on_components(rig: Rig, *, known_at: datetime | None = None) -> dict[tuple[str, int], list[Completion]]:
    """Return the same by what was done and the component it was done on. One query."""
    return on_components(standing_work(rig, known_at=known_at))
