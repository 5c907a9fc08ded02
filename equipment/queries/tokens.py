"""Tokens of programs: whose a word is, and which a person has."""

import hashlib
from datetime import datetime

from django.db.models import QuerySet

from equipment.errors import NotYours
from equipment.models import AccessToken
from equipment.queries.access import Viewer


def digest_of(word: str) -> str:
    """Return what is kept of a token's word."""
    return hashlib.sha256(word.encode()).hexdigest()


def token_of(word: str, *, at: datetime) -> AccessToken | None:
    """Return the token with this word that still opens something, of a person whose account is open; else None."""
    open_now = AccessToken.objects.filter(revoked_at=None, expires_at__gt=at, person__is_active=True)
    return open_now.select_related("person").filter(sha256=digest_of(word)).first()


def tokens_of(user: Viewer) -> QuerySet[AccessToken]:
    """Return a person's own tokens, the latest first."""
    if not user.is_authenticated:
        return AccessToken.objects.none()
    return AccessToken.objects.filter(person=user).select_related("rig").order_by("-created_at", "-pk")


def token_for(user: Viewer, pk: int) -> AccessToken:
    """Return one of a person's own tokens; raises NotYours."""
    found = tokens_of(user).filter(pk=pk).first()
    if found is None:
        raise NotYours("There is nothing here.")
    return found
