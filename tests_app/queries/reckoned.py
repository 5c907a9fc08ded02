"""What is stored of a rig's obligations against what follows from what happened, and which rigs wait to be reckoned."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final

from django.db.models import Exists, OuterRef, Q

from equipment.models import Rig
from tests_app.models import Obligation, Reckoning
from tests_app.queries.deriving import EVERYTHING, Derive, Scope, derive, derive_for_dates
from tests_app.queries.obligations import as_row

_ITS_OWN: Final = ("id", "rig", "key", "worked_at")
COMPARED: Final = tuple(
    one.attname for one in Obligation._meta.concrete_fields if one.name not in _ITS_OWN and not one.generated
)
"""Columns that follow from the facts; the rest says which row it is and when it was worked out."""


@dataclass(frozen=True, slots=True)
class Reconciled:
    """What a run wrote.

    Attributes:
        added: keys of obligations that came up.
        changed: keys of those that stand differently, by the columns that do.
        removed: keys of those no longer owed.
    """

    added: tuple[str, ...] = ()
    changed: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    removed: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """Return how many rows were written."""
        return len(self.added) + len(self.changed) + len(self.removed)


@dataclass(frozen=True)
class Differences:
    """What is stored against what it should be."""

    new: list[Obligation]
    moved: list[tuple[int, Obligation, tuple[str, ...]]]
    gone: dict[str, int]

    def told(self) -> Reconciled:
        """Return it by key."""
        return Reconciled(
            tuple(row.key for row in self.new),
            {row.key: columns for _, row, columns in self.moved},
            tuple(self.gone),
        )


def compare(rig: Rig, *, at: datetime, scope: Scope = EVERYTHING, way: Derive = derive_for_dates) -> Differences:
    """Return how what is stored differs from what follows from the facts as of `at`; nothing is written."""
    wanted = {row.key: row for row in (as_row(one, rig, at) for one in way(rig, at=at, scope=scope))}
    stored = {row["key"]: row for row in _stored(rig, scope).values("id", "key", *COMPARED)}
    moved = []
    for key in wanted.keys() & stored.keys():
        columns = tuple(name for name in COMPARED if getattr(wanted[key], name) != stored[key][name])
        if columns:
            moved.append((stored[key]["id"], wanted[key], columns))
    return Differences(
        new=[row for key, row in wanted.items() if key not in stored],
        moved=sorted(moved, key=lambda one: one[0]),
        gone={key: row["id"] for key, row in stored.items() if key not in wanted},
    )


def _stored(rig: Rig, scope: Scope) -> Any:
    rows = Obligation.objects.filter(rig=rig).order_by()
    if scope.everything:
        return rows
    asked = Q(pk__in=[])
    if scope.components:
        asked |= Q(component__in=scope.components)
    if scope.control_items:
        asked |= Q(control_item__in=scope.control_items)
    if scope.instruments:
        asked |= Q(instrument__in=scope.instruments)
    on_whole = Q(component=None, control_item=None, instrument=None)
    if scope.stacks:
        asked |= on_whole & Q(stack__in=scope.stacks)
    if scope.rig_itself:
        asked |= on_whole & Q(stack=None)
    rows = rows.filter(asked)
    return rows if scope.whats is None else rows.filter(what__in=scope.whats)


_BY_THE_CLOCK: Final = frozenset(
    {"due_at", "original_due_at", "counts_from", "running_since", "out_of_service", "attention_at", "events"}
)
"""Columns as of the moment a row was worked out: they move by themselves when `attention_at` comes."""


def differences(rig: Rig, *, at: datetime) -> Reconciled:
    """Return how what is stored for a rig differs from what follows from the facts; nothing is written.

    What moved by the clock alone and waits for the sweep is no difference: `stand` answers for it all the same. Whole
    histories are read here: it would be found if what reconciling leaves unread did bear on a date.
    """
    reckoning = Reckoning.objects.filter(rig=rig).first()
    moment = at if reckoning is None else max(at, reckoning.worked_at)
    found = compare(rig, at=moment, way=derive).told()
    passed = set(Obligation.objects.filter(rig=rig, attention_at__lte=moment).values_list("key", flat=True))
    changed = {
        key: left
        for key, columns in found.changed.items()
        if (left := tuple(name for name in columns if key not in passed or name not in _BY_THE_CLOCK))
    }
    return Reconciled(found.added, changed, found.removed)


RECKONED_ANEW_AFTER: Final = timedelta(hours=1)
"""After this long a rig is worked out again though nothing calls for it: what went by unseen is found then."""


def rigs_to_reckon(at: datetime) -> list[Rig]:
    """Return the rigs never reckoned, marked, not reckoned for long, or with an obligation whose moment has come."""
    stale = Q(reckoning=None) | ~Q(reckoning__error="") | Q(reckoning__worked_at__lt=at - RECKONED_ANEW_AFTER)
    moved = Obligation.objects.filter(rig=OuterRef("pk"), attention_at__lte=at)
    return list(Rig.objects.filter(stale | Exists(moved)).order_by("pk"))
