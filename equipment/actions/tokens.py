"""Tokens by which programs come in: made, revoked, and their use noted."""

import secrets
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import Q

from accounts.models import User
from equipment.actions.events import Event
from equipment.actions.saving import aware, said, store_row
from equipment.errors import Refused
from equipment.models import AccessToken, Rig
from equipment.queries.tokens import digest_of
from trail import entries

MOST_TOKENS: Final = 20
"""Tokens of one person that open anything."""
LONGEST: Final = timedelta(days=366)
"""How long a token lasts at most: one that is forgotten must not open the rig for ever (common practice)."""
_USE_NOTED_EVERY: Final = timedelta(minutes=5)
_TOKEN_BYTES: Final = 32


@transaction.atomic
def make_token(
    *, name: str, rig: Rig | None, writes: bool, expires_at: datetime, by: User, at: datetime
) -> tuple[AccessToken, str]:
    """Make a token of the person, for one rig or all of theirs; return it with its word, which is kept nowhere.

    Raises Refused for a missing name, an end that has passed or lies too far off, or too many tokens.
    """
    words = said(name, field="name", reason="A name is missing.", remedy="Say what uses it, such as Recorder.")
    if aware(expires_at, field="expires_at") <= aware(at):
        raise Refused("expires_at", "This moment has passed.", "Give a later one.")
    if expires_at > at + LONGEST:
        raise Refused("expires_at", f"A token lasts {LONGEST.days} days at most.", "Give an earlier day.")
    if AccessToken.objects.filter(person=by, revoked_at=None, expires_at__gt=at).count() >= MOST_TOKENS:
        raise Refused("", f"You have {MOST_TOKENS} tokens.", "Revoke one that is not used any more.")
    word = secrets.token_urlsafe(_TOKEN_BYTES)
    token = AccessToken(
        person=by, rig=rig, name=words, writes=writes, sha256=digest_of(word), created_at=at, expires_at=expires_at
    )
    store_row(token, insert=True)
    after = {"name": token.name, "rig": str(rig or "all rigs"), "writes": writes, "expires_at": expires_at.isoformat()}
    entries.write(Event.TOKEN_MADE, token, by=by, at=at, rig_number=rig.pk if rig else None, after=after)
    return token, word


@transaction.atomic
def revoke_token(token: AccessToken, *, by: User, at: datetime) -> None:
    """Revoke a token: it opens nothing from now on. Revoking twice changes nothing."""
    if AccessToken.objects.filter(pk=token.pk, revoked_at=None).update(revoked_at=aware(at)):
        after = {"revoked_at": at.isoformat()}
        entries.write(Event.TOKEN_REVOKED, token, by=by, at=at, rig_number=token.rig_id, after=after)


@transaction.atomic
def note_token_used(token: AccessToken, *, by: User, at: datetime) -> None:
    """Note that a token was used, every few minutes at most: programs ask often. No trail: nothing else changes."""
    seldom = Q(last_used_at=None) | Q(last_used_at__lt=aware(at) - _USE_NOTED_EVERY)
    if token.last_used_at is None or token.last_used_at < at - _USE_NOTED_EVERY:
        AccessToken.objects.filter(seldom, pk=token.pk, person=by).update(last_used_at=at)
