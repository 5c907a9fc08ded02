"""How every action of this application saves: validated, refused kindly, and with its one entry in the trail."""

from collections.abc import Mapping
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import DataError, IntegrityError, models, transaction
from django.utils import timezone

from equipment.actions import refusals
from equipment.actions.events import Event
from equipment.errors import Refused, Stale
from equipment.models import Withdrawable
from equipment.queries.access import rig_of
from equipment.queries.versions import digest
from trail import entries
from trail.actors import Actor, name_of

Row = TypeVar("Row", bound=models.Model)
Withdrawn = TypeVar("Withdrawn", bound=Withdrawable)


def aware(moment: datetime, *, field: str = "at") -> datetime:
    """Return the moment; raises Refused when it has no time zone, since its place in time would be a guess."""
    if timezone.is_naive(moment):
        raise Refused(field, "The time has no time zone.", "Give the time with its zone.")
    return moment


def not_after(moment: datetime, at: datetime, *, field: str) -> datetime:
    """Return the moment; raises Refused when it lies after `at`: what has not happened can't be recorded."""
    if aware(moment, field=field) > aware(at):
        raise Refused(field, "This time lies in the future.", "Give the time at which it was done.")
    return moment


def said(text: str, *, field: str, reason: str, remedy: str) -> str:
    """Return the text without its outer blanks; raises Refused when nothing is left."""
    if not text.strip():
        raise Refused(field, reason, remedy)
    return text.strip()


def assign_values(row: models.Model, values: Mapping[str, Any]) -> None:
    """Set the values on the row; raises ValidationError naming every quantity that can't be read."""
    wrong: dict[str, Any] = {}
    for name, value in values.items():
        try:
            setattr(row, name, _as_stored(row, name, value))
        except ValidationError as error:
            wrong |= error.message_dict
    if wrong:
        raise ValidationError(wrong)


def _as_stored(row: models.Model, name: str, value: object) -> object:
    """Return the value as the database will give it back, so that equal values compare equal in the trail."""
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, datetime) and timezone.is_aware(value):
        return value.astimezone(UTC)
    if isinstance(value, Decimal) and value.is_finite():
        places = getattr(row._meta.get_field(name), "decimal_places", None)
        exponent = value.as_tuple().exponent
        if places is not None and isinstance(exponent, int) and exponent > -places:
            return value.quantize(Decimal(1).scaleb(-places))
    return value


def store_row(row: models.Model, *, insert: bool = False) -> None:
    """Validate and save the row; raises ValidationError or Refused, for what the database refuses too."""
    refusals.refuse_invalid(row)
    try:
        with transaction.atomic():
            row.save(force_insert=insert)
    except (IntegrityError, DataError) as error:
        raise refusals.from_database(row, error) from error


def add_row(row: models.Model, event: Event, *, by: Actor, at: datetime, reason: str = "") -> None:
    """Save a new row and write its entry."""
    aware(at)
    store_row(row, insert=True)
    entries.write(event, row, by=by, at=at, rig_number=rig_of(row).pk, after=entries.snapshot(row), reason=reason)


def locked(row: Row) -> Row:
    """Return the row read afresh, locked until the transaction ends (where the database can)."""
    fresh: Row = type(row)._base_manager.select_for_update(no_key=True).get(pk=row.pk)
    return fresh


def unchanged(row: models.Model, seen: str) -> None:
    """Raise Stale when the row's digest is no longer the one `seen`; an empty one asks nothing."""
    if seen and digest(row) != seen:
        raise Stale("", "Somebody else changed this since you opened it.", "Open it again in another tab and compare.")


def change_row(
    row: models.Model, event: Event, *, before: Mapping[str, Any], by: Actor, at: datetime, reason: str = ""
) -> bool:
    """Save a changed row and write its entry with what differs; without a difference do neither and return False."""
    aware(at)
    was, becomes = entries.changes(before, entries.snapshot(row))
    if not becomes:
        return False
    store_row(row)
    entries.write(event, row, by=by, at=at, rig_number=rig_of(row).pk, before=was, after=becomes, reason=reason)
    return True


def withdraw_row(row: Withdrawn, event: Event, *, reason: str, by: Actor, at: datetime) -> Withdrawn:
    """Mark a row as entered in error, with its entry; it stays on file and counts no more.

    Raises Refused when it is withdrawn already or no reason is given.
    """
    fresh = locked(row)
    if fresh.withdrawn_at is not None:
        raise Refused("", "This is withdrawn already.", "Nothing is left to do.")
    before = entries.snapshot(fresh)
    fresh.withdrawn_reason = said(
        reason, field="reason", reason="A reason is missing.", remedy="Say what was entered in error."
    )
    fresh.withdrawn_at = aware(at).astimezone(UTC)
    fresh.withdrawn_by = name_of(by)
    change_row(fresh, event, before=before, by=by, at=at, reason=fresh.withdrawn_reason)
    return fresh


def amend_row(row: Row, values: Mapping[str, Any], event: Event, *, seen: str = "", by: Actor, at: datetime) -> Row:
    """Lock the row, set the values, save it and write its entry; returns the row as it is now.

    Raises Refused when `seen` (its digest) tells of another state than the database holds.
    """
    fresh = locked(row)
    unchanged(fresh, seen)
    before = entries.snapshot(fresh)
    assign_values(fresh, values)
    change_row(fresh, event, before=before, by=by, at=at)
    return fresh
