"""Keeping what is owed: worked out anew from what happened, and only what differs written.

It may run at any time and any number of times: the rows follow from the facts and hold nothing of their own. Every
action reconciles what it touched in its own transaction, through the trail entry it writes (`follow`).
"""

import logging
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final

from django.conf import settings
from django.db import transaction
from django.db.models import Exists, Model, OuterRef, Q

from equipment.models import Rig
from tests_app.models import Obligation, Reckoning
from tests_app.queries.deriving import EVERYTHING, Derive, Scope, derive, derive_for_dates
from tests_app.queries.obligations import as_row
from tests_app.queries.touched import may_move, touched_by

_log = logging.getLogger(__name__)
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


@transaction.atomic
def reconcile(
    rig: Rig, *, at: datetime, components: Iterable[int] | None = None, scope: Scope | None = None
) -> Reconciled:
    """Work out what is owed on a rig as of `at` and write only what differs from what is stored.

    With `components` (keys) or `scope` only what hangs on those is looked at; a rig never reckoned as a whole, or not
    to the end, is reckoned as a whole. Rows worked out for a later moment than `at` are worked out for that again:
    nothing known is forgotten.
    """
    asked = scope or (EVERYTHING if components is None else Scope.of(components=components))
    reckoning = Reckoning.objects.filter(rig=rig).first()
    if reckoning is None or reckoning.error:
        asked = EVERYTHING
    moment = at if reckoning is None else max(at, reckoning.worked_at)
    found = compare(rig, at=moment, scope=asked)
    _write(found, moment)
    done = found.told()
    if reckoning is None or asked.everything or done.added or done.removed:
        values = {"worked_at": moment, "error": "" if asked.everything else reckoning.error if reckoning else ""}
        Reckoning.objects.update_or_create(rig=rig, defaults={**values, "changed": done.count})
    return done


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


def _write(found: Differences, at: datetime) -> None:
    if found.gone:
        Obligation.objects.filter(pk__in=found.gone.values()).delete()
    if found.new:
        Obligation.objects.bulk_create(found.new)
    for pk, row, columns in found.moved:
        changed = {name: getattr(row, name) for name in columns}
        Obligation.objects.filter(pk=pk).update(**changed, worked_at=at)


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


# The sweep

RECKONED_ANEW_AFTER: Final = timedelta(hours=1)
"""After this long a rig is worked out again though nothing calls for it: what went by unseen is found then."""


def rigs_to_reckon(at: datetime) -> list[Rig]:
    """Return the rigs never reckoned, marked, not reckoned for long, or with an obligation whose moment has come."""
    stale = Q(reckoning=None) | ~Q(reckoning__error="") | Q(reckoning__worked_at__lt=at - RECKONED_ANEW_AFTER)
    moved = Obligation.objects.filter(rig=OuterRef("pk"), attention_at__lte=at)
    return list(Rig.objects.filter(stale | Exists(moved)).order_by("pk"))


def reconcile_each(rigs: Iterable[Rig], *, at: datetime) -> Iterator[tuple[Rig, Reconciled | Exception]]:
    """Reconcile rigs one by one, each in its own transaction, and yield what came of it; one that fails stops no other.

    A rig that fails is marked, so that it is worked out afresh where it is shown.
    """
    for rig in rigs:
        try:
            yield rig, reconcile(rig, at=at)
        except Exception as error:  # whatever it is, the other rigs' dates must not wait for it
            _log.exception("What is owed on rig %s could not be worked out", rig.pk)
            mark_unreckoned(rig, f"{type(error).__name__}: {error}", at=at)
            yield rig, error


# Called by every action, through the entry it writes in the trail


def follow(event: str, row: Model, rig_number: int | None, at: datetime) -> None:
    """Reconcile what a trail entry's row may have moved, in the transaction the entry is written in.

    What fails here keeps nobody from entering what they did: the rig is marked, worked out afresh where it is shown,
    and tried again by the sweep.
    """
    if rig_number is None:
        return
    pending = _held.get()
    if pending is not None:
        if may_move(event, row):
            pending[rig_number] = max(at, pending.get(rig_number, at))
        return
    touched = touched_by(event, row)
    if touched.is_empty:
        return
    rig = Rig.objects.filter(pk=rig_number).first()
    if rig is not None:
        _reconcile_or_mark(rig, touched, at)


def _reconcile_or_mark(rig: Rig, touched: Scope, at: datetime) -> None:
    try:
        reconcile(rig, at=at, scope=touched)
    except Exception as error:
        if settings.WELLHOLD_RECONCILE_STRICTLY:
            raise
        _log.exception("What is owed on rig %s could not be worked out", rig.pk)
        mark_unreckoned(rig, str(error), at=at)


def mark_unreckoned(rig: Rig, error: str, *, at: datetime) -> None:
    """Note that what is stored for a rig does not answer: it is worked out afresh until a run succeeds."""
    Reckoning.objects.update_or_create(rig=rig, defaults={"worked_at": at, "error": error or "Not worked out."})


_Pending = dict[int, datetime]
_held: ContextVar[_Pending | None] = ContextVar("held", default=None)


@contextmanager
def reconciling_once() -> Iterator[None]:
    """Hold reconciling back while much is entered at once, then do it once a rig; inside another, that one does it.

    Where what is entered inside is given up by an error, nothing is reconciled.
    """
    if _held.get() is not None:
        yield
        return
    pending: _Pending = {}
    token = _held.set(pending)
    try:
        yield
    finally:
        _held.reset(token)
    for rig in Rig.objects.filter(pk__in=pending):
        _reconcile_or_mark(rig, EVERYTHING, pending[rig.pk])
