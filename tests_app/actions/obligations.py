"""Keeping what is owed: worked out anew from what happened, and only what differs written.

It may run at any time and any number of times: the rows follow from the facts and hold nothing of their own. Every
action reconciles what it touched in its own transaction, through the trail entry it writes (`follow`).
"""

import logging
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime

from django.conf import settings
from django.db import transaction
from django.db.models import Model

from equipment.models import Rig
from tests_app.models import Obligation, Reckoning
from tests_app.queries.deriving import EVERYTHING, Scope
from tests_app.queries.reckoned import Differences, Reconciled, compare
from tests_app.queries.touched import may_move, touched_by

_log = logging.getLogger(__name__)


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
    _wait_for_others(rig)
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


def _wait_for_others(rig: Rig) -> None:
    """Hold the rig's row to the end of the transaction, so that what others entered at the same moment is seen.

    Two that reckoned side by side would each miss what the other is about to commit, and nobody would reckon again.
    """
    Rig.objects.select_for_update(no_key=True).only("pk").get(pk=rig.pk)


def _write(found: Differences, at: datetime) -> None:
    if found.gone:
        Obligation.objects.filter(pk__in=found.gone.values()).delete()
    if found.new:
        Obligation.objects.bulk_create(found.new)
    for pk, row, columns in found.moved:
        changed = {name: getattr(row, name) for name in columns}
        Obligation.objects.filter(pk=pk).update(**changed, worked_at=at)


# The sweep


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
