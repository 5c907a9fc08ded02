"""A call sent twice acts once: what it was answered is kept with its key, in the transaction of what it did."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import IntegrityError, transaction

from accounts.models import User
from equipment.errors import Refused
from equipment.models import KeptAnswer

KEPT: Final = timedelta(days=1)
"""How long an answer is kept for a repeat."""


class UsedForAnother(Refused):
    """The key belongs to another call."""

    def __init__(self) -> None:
        super().__init__(
            "Idempotency-Key", "This key was sent with another call before.", "Send another key with another call."
        )


@dataclass(frozen=True)
class Answered:
    """What a call is answered: its status, the headers that matter, and its document."""

    status: int
    body: Any
    headers: Mapping[str, str] = field(default_factory=dict)
    repeated: bool = False


class _Unkept(Exception):
    """The call was refused: nothing it did stands, and its key is free again."""

    def __init__(self, answered: Answered) -> None:
        self.answered = answered


def answered_once(key: str, *, asked: str, act: Callable[[], Answered], by: User, at: datetime) -> Answered:
    """Answer a call, or give the answer it had before under the same key.

    Key, deeds and answer are one transaction: after a crash either all of them stand or none, and the repeat does the
    rest. A refused call keeps nothing, so that it may be put right under the same key. Raises UsedForAnother where the
    key came with another call.
    """
    try:
        with transaction.atomic():
            return _first(key, asked, act, by, at)
    except _Unkept as refused:
        return refused.answered
    except _Again:
        return _as_before(key, asked, by)


class _Again(Exception):
    """The key was there already."""


def _first(key: str, asked: str, act: Callable[[], Answered], by: User, at: datetime) -> Answered:
    KeptAnswer.objects.filter(person=by, created_at__lt=at - KEPT).delete()
    try:
        with transaction.atomic():
            kept = KeptAnswer.objects.create(person=by, key=key, asked=asked, created_at=at)
    except IntegrityError as error:
        raise _Again from error
    answered = act()
    if answered.status >= 400:
        raise _Unkept(answered)
    kept.status, kept.body, kept.headers = answered.status, answered.body, dict(answered.headers)
    kept.save()
    return answered


def _as_before(key: str, asked: str, by: User) -> Answered:
    kept = KeptAnswer.objects.get(person=by, key=key)
    if kept.asked != asked:
        raise UsedForAnother
    return Answered(kept.status, kept.body, kept.headers, repeated=True)
