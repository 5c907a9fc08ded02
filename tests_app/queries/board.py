"""How the rigs of a fleet stand, counted by the database over stored obligations, whatever the size of the fleet.

"Overdue" is not stored, so the database works it out as `calcs.recurrence.due` does, from the columns `reconcile`
keeps: `standings_at` says how. Tests that waited for safety and were called for are few, and are looked at one by one.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.db.models import Count, Min, Q, QuerySet, Window
from django.db.models.functions import RowNumber

from equipment.models import Rig
from tests_app.models import CountsAs, Notice, Obligation, Postponement, Programme, Reckoning, What
from tests_app.queries.due_items import FORGOTTEN_AFTER
from tests_app.queries.obligations import is_called_for
from tests_app.queries.waiting import is_called

NEXT: Final = timedelta(days=7)
"""How far the board looks ahead."""
NAMED_PER_RIG: Final = 3
"""So many of what stops operations are named on a rig's row; the rest are counted."""


@dataclass(frozen=True, slots=True)
class Standings:
    """How an obligation can stand at a moment, each as a condition over its stored columns."""

    overdue: Q
    due_now: Q
    next_days: Q
    unknown: Q
    deferred: Q


def standings_at(at: datetime) -> Standings:
    """Return the conditions that say of a stored obligation how it stands at `at`.

    They hold from the moment the obligation was worked out until the next at which more becomes known of it.
    """
    forgotten = at - FORGOTTEN_AFTER
    idle = Q(running_since__isnull=True) | Q(running_since__lt=forgotten)
    dated = Q(counts_as__in=(CountsAs.DATED, CountsAs.FAILED))
    overdue = dated & Q(due_at__lte=at) & idle
    return Standings(
        overdue=overdue,
        due_now=Q(counts_as=CountsAs.AT_ONCE) & idle | Q(counts_as=CountsAs.FAILED_AT_ONCE) | _not_passed(at),
        next_days=Q(counts_as=CountsAs.DATED, due_at__gt=at, due_at__lt=at + NEXT) & idle,
        unknown=Q(counts_as=CountsAs.UNKNOWN),
        deferred=dated & Q(original_due_at__isnull=False, due_at__gt=at),
    )


def _not_passed(at: datetime) -> Q:
    """Return the condition for what failed its last test and isn't overdue: it is open until it passes."""
    failed = Q(counts_as=CountsAs.FAILED)
    ahead = Q(due_at__isnull=True) | Q(due_at__gt=at) | Q(running_since__gte=at - FORGOTTEN_AFTER)
    return failed & ahead


@dataclass(frozen=True, slots=True)
class RigStanding:
    """One rig as the board shows it.

    Attributes:
        rig: which.
        overdue: obligations overdue.
        due_now: owed at once: open since an event, never tested, or not passed and not overdue.
        next_days: that run out within the next seven days.
        unknown: that can't be worked out.
        deferred: whose date a deferral moves.
        oldest_at: since when the oldest is overdue.
        stopping: overdue ones that stop operations; unknown and owed ones are told by their own counts.
        stopping_named: some of these by name, the longest overdue first.
        alerts: notices nobody acknowledged.
        worked_at: when its obligations were last worked out as a whole; None while they never were.
        error: why that failed, empty when it did not.
        has_rules: whether rules are chosen for it.
    """

    rig: Rig
    overdue: int
    due_now: int
    next_days: int
    unknown: int
    deferred: int
    oldest_at: datetime | None
    stopping: int
    stopping_named: tuple[str, ...]
    alerts: int
    worked_at: datetime | None
    error: str
    has_rules: bool


def board(rigs: QuerySet[Rig], *, at: datetime) -> list[RigStanding]:
    """Return how each of the rigs stands, in the order given. Eight queries at most."""
    found = list(rigs)
    keys = [rig.pk for rig in found]
    called = called_for(keys, at)
    counts = {row["rig_id"]: dict(row) for row in counted(keys, at, without=[row.pk for row in called])}
    for row in called:
        its = counts.setdefault(row.rig_id, {})
        its["due_now"] = its.get("due_now", 0) + 1
    named = stopping_named(keys, at)
    alerts = unacknowledged(keys)
    worked = Reckoning.objects.in_bulk(keys)
    ruled = set(Programme.objects.filter(rig__in=keys).values_list("rig_id", flat=True))
    return [_standing(rig, counts.get(rig.pk, {}), named, alerts, worked.get(rig.pk), rig.pk in ruled) for rig in found]


def _standing(
    rig: Rig,
    counts: Mapping[str, Any],
    named: Mapping[int, tuple[str, ...]],
    alerts: Mapping[int, int],
    worked: Reckoning | None,
    has_rules: bool,
) -> RigStanding:
    numbers = {name: counts.get(name, 0) for name in _COUNTS}
    return RigStanding(
        rig=rig,
        oldest_at=counts.get("oldest_at"),
        stopping_named=named.get(rig.pk, ()),
        alerts=alerts.get(rig.pk, 0),
        worked_at=worked.worked_at if worked else None,
        error=worked.error if worked else "",
        has_rules=has_rules,
        **numbers,
    )


_COUNTED: Final = (
    CountsAs.UNKNOWN,
    CountsAs.FAILED_AT_ONCE,
    CountsAs.AT_ONCE,
    CountsAs.FAILED,
    CountsAs.DATED,
)
_COUNTS: Final = ("overdue", "due_now", "next_days", "unknown", "deferred", "stopping")


def counted(rigs: Collection[int], at: datetime, *, without: Collection[int] = ()) -> QuerySet[Any, Any]:
    """Return the counts of each rig, one row a rig, in one pass over its obligations, but for some left out."""
    stand = standings_at(at)
    # What lies far ahead is passed over early. Named by what they count as, the rows are found by the board's index.
    near = ~Q(counts_as=CountsAs.DATED) | Q(due_at__lt=at + NEXT) | Q(original_due_at__isnull=False)
    rows = Obligation.objects.filter(near, rig__in=rigs, counts_as__in=_COUNTED)
    return (
        (rows.exclude(pk__in=without) if without else rows)
        .values("rig_id")
        .order_by()
        .annotate(
            overdue=Count("pk", filter=stand.overdue),
            due_now=Count("pk", filter=stand.due_now),
            next_days=Count("pk", filter=stand.next_days),
            unknown=Count("pk", filter=stand.unknown),
            deferred=Count("pk", filter=stand.deferred),
            oldest_at=Min("due_at", filter=stand.overdue),
            stopping=Count("pk", filter=stand.overdue & Q(stops_operations=True)),
        )
    )


def called_for(rigs: Collection[int], at: datetime) -> list[Obligation]:
    """Return the obligations due at once only because their test waited for safety and was called for since.

    Two queries at most.
    """
    waiting: dict[tuple[int, str], list[Postponement]] = defaultdict(list)
    for one in Postponement.objects.filter(rig__in=rigs, ended_at=None, made_at__lte=at):
        waiting[one.rig_id, one.obligation_key].append(one)
    called = {key for key, ones in waiting.items() if any(is_called(one, at) for one in ones)}
    if not called:
        return []
    rows = Obligation.objects.filter(rig__in={rig for rig, _ in called}, key__in={key for _, key in called})
    found = [row for row in rows.select_related("rig") if (row.rig_id, row.key) in called]
    return [row for row in found if is_called_for(row, waiting[row.rig_id, row.key], at)]


def stopping_named(rigs: Collection[int], at: datetime) -> dict[int, tuple[str, ...]]:
    """Return the names of what has stopped operations longest on each rig, at most `NAMED_PER_RIG` each."""
    stand = standings_at(at)
    placed = Obligation.objects.filter(stand.overdue, rig__in=rigs, stops_operations=True).annotate(
        place=Window(RowNumber(), partition_by="rig_id", order_by=("due_at", "pk"))
    )
    found: dict[int, list[str]] = defaultdict(list)
    rows = placed.filter(place__lte=NAMED_PER_RIG).order_by("rig_id", "place")
    for rig, what, subject in rows.values_list("rig_id", "what", "subject"):
        found[rig].append(f"{What(what).label}, {subject}")
    return {rig: tuple(names) for rig, names in found.items()}


def unacknowledged(rigs: Collection[int]) -> dict[int, int]:
    """Return how many open notices of each rig nobody acknowledged."""
    rows = Notice.objects.filter(rig__in=rigs, closed_at=None, acknowledged_at=None)
    return dict(rows.values("rig_id").order_by().annotate(count=Count("pk")).values_list("rig_id", "count"))
