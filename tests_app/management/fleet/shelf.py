"""Rows on their way into the database: keyed beforehand, kept in order, written many at a time."""

from collections import defaultdict
from itertools import count
from typing import Final, TypeVar

from django.core.management.color import no_style
from django.db import connection, models
from django.db.models import Max

from equipment.models import Installation
from tests_app.models import Certificate, Record

Row = TypeVar("Row", bound=models.Model)

_HELD: Final = 4_000
"""Rows held before they are written: memory stays the same however long a history is."""
_AFTER_ALL: Final[tuple[type[models.Model], ...]] = (Record, Certificate)
"""A sealed record is written after what hangs on it: its guards refuse a row that comes when it is frozen already.
Foreign keys are looked at when the transaction ends."""
_STILL_CHANGING: Final[frozenset[type[models.Model]]] = frozenset({Installation})
"""What a later moment of the history may end: written when the history is told."""


class Shelf:
    """Takes rows, gives each its key, and writes them in bulk."""

    def __init__(self) -> None:
        self.written = 0
        self._keys: dict[type[models.Model], count[int]] = {}
        self._rows: dict[type[models.Model], list[models.Model]] = defaultdict(list)
        self._held = 0

    def put(self, row: Row) -> Row:
        """Take a row, with its key when its model counts them; it is written with a later batch."""
        model = type(row)
        if row.pk is None:
            row.pk = self.next_key(model)
        self._rows[model].append(row)
        self._held += 1
        return row

    def next_key(self, model: type[models.Model]) -> int:
        """Return the next free key of a table."""
        if model not in self._keys:
            highest = model._base_manager.aggregate(highest=Max("pk"))["highest"]
            self._keys[model] = count((highest or 0) + 1)
        return next(self._keys[model])

    def write_when_full(self) -> None:
        """Write what is held when it is much. Call it between whole records only."""
        if self._held >= _HELD:
            self.write()

    def write(self, *, told: bool = False) -> None:
        """Write what is held, sealed records after what hangs on them; all of it once the history is `told`."""
        later = frozenset(_AFTER_ALL) | (frozenset() if told else _STILL_CHANGING)
        first = [model for model in self._rows if model not in later]
        for model in (*first, *_AFTER_ALL):
            rows = self._rows.pop(model, [])
            model._base_manager.bulk_create(rows)
            self.written += len(rows)
        self._held = 0

    def settle_keys(self) -> None:
        """Have the database count on from the keys given here (PostgreSQL keeps its counters apart)."""
        statements = connection.ops.sequence_reset_sql(no_style(), list(self._keys))
        with connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)
