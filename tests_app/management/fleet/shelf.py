"""Rows on their way into the database: keyed beforehand, kept in order, written many at a time."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from itertools import count
from typing import Any, Final, TypeVar

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
            _insert(model, rows)
            self.written += len(rows)
        self._held = 0

    def settle_keys(self) -> None:
        """Have the database count on from the keys given here (PostgreSQL keeps its counters apart)."""
        statements = connection.ops.sequence_reset_sql(no_style(), list(self._keys))
        with connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)


def _insert(model: type[models.Model], rows: Sequence[models.Model]) -> None:
    """Insert rows whose keys and values are complete: `bulk_create` without what it does for any other.

    It takes half as long; a fleet is millions of rows.
    """
    if not rows:
        return
    quote = connection.ops.quote_name
    columns = ", ".join(quote(str(field.column)) for field in model._meta.concrete_fields)
    places = ", ".join(["%s"] * len(model._meta.concrete_fields))
    statement = f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES ({places})"
    with connection.cursor() as cursor:
        cursor.executemany(statement, list(_values(model, rows)))


def _values(model: type[models.Model], rows: Sequence[models.Model]) -> Iterator[tuple[Any, ...]]:
    """Yield each row's values as the database takes them; a part that many rows share is prepared once."""
    shared: dict[int, Any] = {}

    def prepared(field: models.Field[Any, Any]) -> Callable[[Any], Any]:
        if isinstance(field, models.JSONField):
            return lambda value: _once(shared, field, value)
        if isinstance(field, models.DateField | models.DecimalField):
            return lambda value: field.get_db_prep_save(value, connection)
        return lambda value: value

    ways = [(field.attname, prepared(field)) for field in model._meta.concrete_fields]
    for row in rows:
        values = row.__dict__
        yield tuple(way(values[name]) for name, way in ways)


def _once(shared: dict[int, Any], field: models.Field[Any, Any], value: Any) -> Any:
    if id(value) not in shared:
        shared[id(value)] = field.get_db_prep_save(value, connection)
    return shared[id(value)]
