"""Which records a sealed correction stands in place of, and which a correction of an unsealed one does.

A correction may itself be found wrong once it is signed by some and before it is sealed; then another corrects it.
What counts is the end of that chain, never the unsealed record in its middle.
"""

from collections.abc import Iterator
from typing import Final

from django.db.models import QuerySet

from tests_app.models import Record

_LINK: Final = ("pk", "superseded_by__pk", "superseded_by__sealed_at")


def later_of(record: Record) -> Iterator[Record]:
    """Yield the record's correction and what corrects that; asks no more than once where none was found wrong."""
    later: Record | None = getattr(record, "superseded_by", None)
    while later is not None:
        yield later
        # A draft is changed and not corrected: nothing is asked of it.
        later = None if later.frozen_at is None else getattr(later, "superseded_by", None)


def counts_instead_of(record: Record) -> Record | None:
    """Return the sealed record that stands in place of this one, or None."""
    return next((later for later in later_of(record) if later.sealed_at is not None), None)


def is_corrected(record: Record) -> bool:
    """Tell whether a sealed record stands in place of this one."""
    return counts_instead_of(record) is not None


def keys_corrected(records: QuerySet[Record]) -> set[int]:
    """Return the keys among `records` that a sealed record stands in place of. One query, of corrections alone."""
    links = records.order_by().filter(superseded_by__isnull=False)
    later = {pk: (next_pk, sealed) for pk, next_pk, sealed in links.values_list(*_LINK)}
    return {pk for pk in later if _ends_sealed(pk, later)}


def _ends_sealed(pk: int, later: dict[int, tuple[int, object]]) -> bool:
    while pk in later:
        pk, sealed = later[pk]
        if sealed is not None:
            return True
    return False


def is_first_of_its_test(record: Record) -> bool:
    """Tell whether the record corrects no sealed one, directly or through others: it tells of a test anew."""
    return all(earlier.sealed_at is None for earlier in _before(record))


def earlier_of(record: Record) -> set[int]:
    """Return the keys of the records this one corrects, directly or through others found wrong before their seal."""
    return {earlier.pk for earlier in _before(record)}


def _before(record: Record) -> Iterator[Record]:
    earlier = record.supersedes
    while earlier is not None:
        yield earlier
        # What a sealed one corrects in its turn counts no more.
        earlier = earlier.supersedes if earlier.sealed_at is None else None
