"""Amending what was written down of work, elastomers and documents: with a reason, and never without the old figure."""

from datetime import UTC, date, datetime
from typing import Any, TypedDict, Unpack

from django.db import models, transaction

from equipment.actions import saving
from equipment.actions.events import Event
from equipment.actions.saving import Row
from equipment.errors import Refused
from equipment.models import Document, Elastomer, ServiceEvent
from equipment.queries.access import rig_of
from trail import entries
from trail.actors import Actor


class ServiceAmendment(TypedDict, total=False):
    """What can be amended of a service event."""

    kind: str
    finished_at: datetime
    description: str


class ElastomerAmendment(TypedDict, total=False):
    """What can be amended of an elastomer; `removed_on` of one that was removed, None to take the removal back."""

    part: str
    compound: str
    batch: str
    installed_on: date
    expires_on: date | None
    removed_on: date | None


class DocumentAmendment(TypedDict, total=False):
    """What can be amended of a document: all but its file."""

    kind: str
    title: str
    number: str
    issued_on: date | None
    expires_on: date | None


@transaction.atomic
def amend_service(
    event: ServiceEvent, *, reason: str, seen: str = "", by: Actor, at: datetime, **facts: Unpack[ServiceAmendment]
) -> ServiceEvent:
    """Amend work as it was recorded; deadlines follow by themselves. Raises Refused: no reason, a time to come."""
    values: dict[str, Any] = dict(facts)
    finished_at = values.pop("finished_at", None)
    if finished_at is not None:
        values["at"] = saving.not_after(finished_at, at, field="finished_at").astimezone(UTC)
    return _amend(event, values, Event.SERVICE_AMENDED, reason=reason, seen=seen, by=by, at=at)


@transaction.atomic
def amend_elastomer(
    elastomer: Elastomer, *, reason: str, seen: str = "", by: Actor, at: datetime, **facts: Unpack[ElastomerAmendment]
) -> Elastomer:
    """Amend an elastomer. Raises Refused: no reason, a day to come, days out of order, removing one that is fitted."""
    if facts.get("removed_on") is not None and elastomer.removed_on is None:
        raise Refused("removed_on", "An amendment does not remove an elastomer.", "Record it as removed.")
    for field in ("installed_on", "removed_on"):
        _not_to_come(field, facts.get(field), elastomer, at)
    installed_on = facts.get("installed_on") or elastomer.installed_on
    expires_on = facts.get("expires_on", elastomer.expires_on)
    if expires_on is not None and expires_on < installed_on:
        raise Refused("expires_on", "It would have expired before it was fitted.", "Check both days.")
    return _amend(elastomer, facts, Event.ELASTOMER_AMENDED, reason=reason, seen=seen, by=by, at=at)


@transaction.atomic
def amend_document(
    document: Document, *, reason: str, seen: str = "", by: Actor, at: datetime, **facts: Unpack[DocumentAmendment]
) -> Document:
    """Amend what is on file about a document; its file stays as received. Raises Refused: no reason, days amiss."""
    return _amend(document, facts, Event.DOCUMENT_AMENDED, reason=reason, seen=seen, by=by, at=at)


def _amend(row: Row, values: Any, event: Event, *, reason: str, seen: str, by: Actor, at: datetime) -> Row:
    why = saving.said(
        reason, field="reason", reason="A reason is missing.", remedy="Say what was written down wrongly."
    )
    fresh = saving.locked(row)
    saving.unchanged(fresh, seen)
    before = entries.snapshot(fresh)
    saving.assign_values(fresh, values)
    if not saving.change_row(fresh, event, before=before, by=by, at=at, reason=why):
        raise Refused("", "Nothing differs from what is on file.", "Change what was wrong, or cancel.")
    return fresh


def _not_to_come(field: str, day: object, row: models.Model, at: datetime) -> None:
    if isinstance(day, date) and day > saving.aware(at).astimezone(rig_of(row).zone).date():
        raise Refused(field, "This day lies in the future.", "Give the day it was done.")
