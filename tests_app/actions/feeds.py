"""Calendar feeds: making and revoking their addresses, and keeping what their readers were given."""

import secrets
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import Q

from accounts.models import User
from equipment.actions.saving import aware, said, store_row
from equipment.errors import Refused
from equipment.models import Rig
from tests_app.models import CalendarEntry, FeedToken
from tests_app.queries.calendar_content import contents_of, digest_of
from trail import entries
from trail.actors import Actor

MOST_FEEDS: Final = 20
"""Feeds of one person that are not revoked."""
_USE_NOTED_EVERY: Final = timedelta(minutes=5)
_TOKEN_BYTES: Final = 32


@transaction.atomic
def open_feed(rig: Rig | None, *, name: str, by: User, at: datetime) -> tuple[FeedToken, str]:
    """Open a feed of a rig, or of all rigs the person sees; return it with its token, which is kept nowhere.

    Raises Refused for a missing name, or too many feeds.
    """
    words = said(name, field="name", reason="A name is missing.", remedy="Say where it is used, such as Phone.")
    if FeedToken.objects.filter(person=by, revoked_at=None).count() >= MOST_FEEDS:
        raise Refused("", f"You have {MOST_FEEDS} feeds.", "Revoke one that is not used any more.")
    token = secrets.token_urlsafe(_TOKEN_BYTES)
    feed = FeedToken(person=by, rig=rig, name=words, sha256=digest_of(token), created_at=aware(at))
    store_row(feed, insert=True)
    after = {"name": feed.name, "rig": str(rig or "all rigs")}
    entries.write("feed.opened", feed, by=by, at=at, rig_number=rig.pk if rig else None, after=after)
    return feed, token


@transaction.atomic
def revoke_feed(feed: FeedToken, *, by: User, at: datetime) -> None:
    """Revoke a feed: its address leads nowhere from now on. Revoking twice changes nothing."""
    if FeedToken.objects.filter(pk=feed.pk, revoked_at=None).update(revoked_at=aware(at)):
        entries.write("feed.revoked", feed, by=by, at=at, rig_number=feed.rig_id)


@transaction.atomic
def note_use(feed: FeedToken, *, by: User, at: datetime) -> None:
    """Note that a feed was read, every few minutes at most: clients ask often."""
    seldom = Q(last_used_at=None) | Q(last_used_at__lt=aware(at) - _USE_NOTED_EVERY)
    FeedToken.objects.filter(seldom, pk=feed.pk).update(last_used_at=at)


@transaction.atomic
def keep_calendar(rig: Rig, *, by: Actor, at: datetime) -> int:
    """Bring what calendar clients are given up to what is owed; return how many entries that changed.

    A change raises an entry's sequence, so that clients put it in place of the one they have. What is no longer owed is
    cancelled, not dropped. Written only where something differs, so that readers of one feed don't wait for another.
    """
    wanted = contents_of(rig, at=aware(at))
    kept = {entry.obligation_key: entry for entry in CalendarEntry.objects.filter(rig=rig)}
    new = [
        CalendarEntry(rig=rig, obligation_key=key, content=content, created_at=at, changed_at=at)
        for key, content in wanted.items()
        if key not in kept
    ]
    changed = [entry for entry in kept.values() if _brought_up(entry, wanted.get(entry.obligation_key), at)]
    CalendarEntry.objects.bulk_create(new, ignore_conflicts=True)
    CalendarEntry.objects.bulk_update(changed, ["content", "sequence", "changed_at", "cancelled_at"])
    return len(new) + len(changed)


def _brought_up(entry: CalendarEntry, content: object, at: datetime) -> bool:
    """Change an entry to what is wanted of it; return whether that is a change."""
    if content is None:
        if entry.cancelled_at is not None:
            return False
        entry.cancelled_at = at
    elif entry.content == content and entry.cancelled_at is None:
        return False
    else:
        entry.content, entry.cancelled_at = content, None
    entry.sequence += 1
    entry.changed_at = max(at, entry.changed_at)
    return True
