"""What a document names by key: found by the query that authorises, or refused beside the field that named it."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from typing import Any, TypeVar

from django.db.models import Model
from rest_framework import serializers

from equipment.errors import NotYours, Refused
from equipment.models import Measured
from tests_app.models import Record

Row = TypeVar("Row", bound=Model)
_OF_ENVELOPE = frozenset({"started_at", "remarks"})


def key(**options: Any) -> serializers.IntegerField:
    """Return the field of a key."""
    return serializers.IntegerField(min_value=1, max_value=2**63 - 1, **options)


def found(field: str, pk: int, query: Callable[[int], Row]) -> Row:
    """Return the row of a key; raises Refused naming the field where the caller sees no such row."""
    try:
        return query(pk)
    except NotYours as error:
        raise Refused(field, "There is no such thing.", "Give the key of one that the API shows you.") from error


def found_if(field: str, pk: int | None, query: Callable[[int], Row]) -> Row | None:
    """Return the row of a key, or None without one."""
    return None if pk is None else found(field, pk, query)


def all_found(field: str, keys: Iterable[int], query: Callable[[int], Row]) -> list[Row]:
    """Return the rows of several keys."""
    return [found(field, pk, query) for pk in keys]


def as_text(value: Any) -> Any:
    """Return what stands on file as an action takes it: a quantity as its text, nothing as an empty one."""
    if isinstance(value, Measured):
        return f"{value.text} {value.unit}"
    return "" if value is None else value


def heading_now(kind: type[Any], record: Record, test: Model) -> dict[str, Any]:
    """Return the heading of a draft as it stands, by the names of the action's own heading."""
    return {
        one.name: _plain(getattr(record if one.name in _OF_ENVELOPE else test, one.name), one.type)
        for one in fields(kind)
    }


def _plain(value: Any, kind: Any) -> Any:
    return value if value is None and "None" in str(kind) else as_text(value)


def as_taken(sent: Mapping[str, Any]) -> dict[str, Any]:
    """Return values as an action takes them: a quantity cleared with null is an empty text."""
    return {name: "" if value is None else value for name, value in sent.items()}


def of_kind(record: Record, kind: str) -> Record:
    """Return the record where it is a test of that kind; raises Refused otherwise."""
    if record.kind != kind:
        raise Refused("", f"This is a {record.get_kind_display().lower()}.", "Use the calls of its own kind.")
    return record
