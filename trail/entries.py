"""Writing and reading the trail."""

import uuid
from collections.abc import Callable, Iterable, Mapping
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.db import models
from django.db.models import QuerySet

from trail.actors import Actor, name_of, person_of
from trail.models import TrailEntry


@dataclass(frozen=True)
class Origin:
    """Where a request came from; set once a request by the middleware."""

    request_id: uuid.UUID | None = None
    remote_address: str | None = None


_NOWHERE = Origin()
origin: ContextVar[Origin] = ContextVar("origin", default=_NOWHERE)


def snapshot(row: models.Model) -> dict[str, Any]:
    """Return the row's own columns as JSON-ready values; relations as keys."""
    return {field.attname: field.value_to_string(row) for field in row._meta.concrete_fields}


def changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return (before, after) cut down to the columns that differ."""
    changed = [key for key in after if before.get(key) != after.get(key)]
    return {key: before.get(key) for key in changed}, {key: after[key] for key in changed}


def write(
    event: str,
    subject: models.Model,
    *,
    by: Actor,
    at: datetime,
    rig_number: int | None = None,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    reason: str = "",
) -> TrailEntry:
    """Write one entry. Call it inside the transaction of the action it tells of, after its rows are written.

    Whoever listens works out what follows from them in the same transaction.
    """
    came_from = origin.get()
    entry = TrailEntry.objects.create(
        at=at,
        actor=person_of(by),
        actor_name=name_of(by),
        event=event,
        subject_type=subject._meta.label_lower,
        subject_id=subject.pk,
        subject_label=str(subject)[:200],
        rig_number=rig_number,
        before=before,
        after=after,
        reason=reason,
        request_id=came_from.request_id,
        remote_address=came_from.remote_address,
    )
    for listener in _listeners:
        listener(event, subject, rig_number, at)
    return entry


Listener = Callable[[str, models.Model, int | None, datetime], object]
_listeners: Final[list[Listener]] = []


def register(listener: Listener) -> None:
    """Have `listener` told of each entry: event, subject, key of its rig, moment. Twice is once."""
    if listener not in _listeners:
        _listeners.append(listener)


def of_subject(subject: models.Model) -> QuerySet[TrailEntry]:
    """Return the entries on one row, newest first."""
    return TrailEntry.objects.filter(subject_type=subject._meta.label_lower, subject_id=subject.pk)


def of_subjects(subjects: Iterable[models.Model]) -> QuerySet[TrailEntry]:
    """Return the entries on several rows together, newest first."""
    condition = models.Q(pk__in=[])
    for subject in subjects:
        condition |= models.Q(subject_type=subject._meta.label_lower, subject_id=subject.pk)
    return TrailEntry.objects.filter(condition)
