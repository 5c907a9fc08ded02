"""What a calendar feed says: one entry an obligation, at its deadline, and who may read which feed."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from django.db.models import QuerySet

from accounts.models import User
from calcs.moments import limit_words, moment_words
from calcs.recurrence import State
from equipment.errors import NotYours
from equipment.models import Rig
from equipment.queries import access
from equipment.queries.access import Viewer
from tests_app.models import CalendarEntry, FeedToken, Obligation, What
from tests_app.queries.due_items import CANNOT_BE_WORKED_OUT, NEVER_TESTED, DueItem
from tests_app.queries.obligations import obligations_of, stand

CANCELLED_KEPT: Final = timedelta(days=30)
"""How long what is no longer owed is given as cancelled."""
LAST_HOUR: Final = timedelta(hours=1)
"""The event of a deadline is the hour that ends at it: midnight, the next day at 00:00, shows on its own day."""
_WITHOUT: Final = frozenset({CANNOT_BE_WORKED_OUT, State.OUT_OF_SERVICE.value})
_AT_ONCE: Final = frozenset({NEVER_TESTED, State.DUE_NOW.value})
_BEGUN: Final = frozenset({What.PRESSURE, What.FUNCTION, What.DRAWDOWN, What.PUMP, What.CASING})


def contents_of(rig: Rig, *, at: datetime) -> dict[str, dict[str, Any]]:
    """Return what the calendar says of each obligation of a rig that has a date, by its key.

    Nothing of it changes by the passing of time alone: a change is one somebody made, and reaches clients as one.
    """
    found = {}
    for row in obligations_of(rig):
        item = stand(row, at)
        if item.state in _WITHOUT or item.due is None or item.due.due_at is None:
            continue
        if item.state in _AT_ONCE and item.due.counts_from is None:
            # Never done and nothing it counts from: it has no date a calendar could show.
            continue
        found[row.key] = _content(row, item, item.due.due_at, rig)
    return found


def _content(row: Obligation, item: DueItem, due_at: datetime, rig: Rig) -> dict[str, Any]:
    at_once = item.state in _AT_ONCE
    limit = moment_words(due_at, rig.zone) if at_once else limit_words(due_at, rig.zone)
    verb = "Begin before" if row.what in _BEGUN else "Due before"
    on = f"{row.subject} ({row.subject_detail})" if row.subject_detail else row.subject
    said = [f"Due at once, since {limit}." if at_once else f"{verb} {limit}."]
    if item.deferral is not None:
        said.append(f"Deferred until then: {item.deferral.reference}, approved by {item.deferral.approved_by}.")
    said += [row.clause, "This entry is a reminder; the due list and the signed records decide."]
    return {
        "summary": f"{rig.name}: {row.get_what_display().lower()}, {row.subject} – "
        + (f"due at once since {limit}" if at_once else f"{verb.lower()} {limit}"),
        "on": on,
        "what": row.get_what_display(),
        "starts_at": _plain(due_at if at_once else due_at.astimezone(UTC) - LAST_HOUR),
        "due_at": _plain(due_at),
        "description": "\n".join([f"{row.get_what_display()}: {on}", *filter(None, said)]),
    }


def _plain(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="seconds")


@dataclass(frozen=True)
class Reader:
    """Who reads a feed, and which rigs it tells of: as their roles are now, not as when the address was made."""

    token: FeedToken
    rigs: tuple[Rig, ...]


def digest_of(token: str) -> str:
    """Return what is kept of a token."""
    return hashlib.sha256(token.encode()).hexdigest()


def reader_of(token: str) -> Reader:
    """Return who reads by a token; raises NotYours for one unknown or revoked, or whose owner may read nothing."""
    found = FeedToken.objects.select_related("person", "rig").filter(sha256=digest_of(token), revoked_at=None).first()
    if found is None:
        raise NotYours("There is nothing here.")
    seen = access.rigs_visible(found.person)
    rigs = tuple(seen.filter(pk=found.rig_id) if found.rig_id else seen.order_by("pk"))
    if found.rig_id and not rigs:
        raise NotYours("There is nothing here.")
    if not found.person.is_active:
        raise NotYours("There is nothing here.")
    return Reader(found, rigs)


def entries_of(rigs: Iterable[Rig], *, at: datetime) -> list[CalendarEntry]:
    """Return the entries to give of some rigs, the cancelled of late among them. One query."""
    found = CalendarEntry.objects.filter(rig__in=list(rigs)).select_related("rig")
    return list(found.exclude(cancelled_at__lt=at - CANCELLED_KEPT).order_by("rig", "obligation_key"))


def feeds_of(user: User) -> QuerySet[FeedToken]:
    """Return a person's own feeds, the latest first."""
    return FeedToken.objects.filter(person=user).select_related("rig").order_by("-created_at", "-pk")


def feed_for(user: Viewer, pk: int) -> FeedToken:
    """Return one of a person's own feeds; raises NotYours."""
    found = FeedToken.objects.filter(pk=pk, person=user).first() if user.is_authenticated else None
    if found is None:
        raise NotYours("There is nothing here.")
    return found


def rigs_to_follow(user: Viewer) -> QuerySet[Rig]:
    """Return the rigs a feed may be made of."""
    return access.rigs_visible(user)
