"""Guards of signed records: once frozen, a record and all that hangs on it refuse every change.

The first signature freezes a record; from then on its content is written once, then only its seal, and once sealed
nothing. A frozen record that another corrects is never sealed, nor signed any more.
"""

from collections.abc import Callable

from django.db.models import Model

from tests_app.models import (
    Certificate,
    DrawdownFunction,
    DrawdownTest,
    EditionText,
    FunctionLine,
    FunctionTest,
    InstrumentUse,
    Line,
    PressureTest,
    ProgrammeCopy,
    PumpReading,
    PumpTest,
    Recharge,
    Record,
    Recording,
    Signature,
    Step,
    TypedReading,
)
from trail.guards import Guard, append_only, row_guard, truncate_guard

_RECORD = Record._meta.db_table
_STEP = Step._meta.db_table
_MESSAGE = "a signed record never changes: correct it by a record that supersedes it"
_SEAL_COLUMNS = frozenset({"sealed_at", "passed", "content", "sha256", "previous_sha256"})


def _frozen(row: str) -> str:
    """SQL: the record `row` hangs on directly is frozen."""
    return (
        f'EXISTS (SELECT 1 FROM "{_RECORD}" AS owner '
        f'WHERE owner."id" = {row}."record_id" AND owner."frozen_at" IS NOT NULL)'
    )


def _frozen_by_step(row: str) -> str:
    """SQL: the record of the step `row` hangs on is frozen."""
    return (
        f'EXISTS (SELECT 1 FROM "{_STEP}" AS step JOIN "{_RECORD}" AS owner ON owner."id" = step."record_id" '
        f'WHERE step."id" = {row}."step_id" AND owner."frozen_at" IS NOT NULL)'
    )


def _sealed(row: str) -> str:
    return (
        f'EXISTS (SELECT 1 FROM "{_RECORD}" AS owner '
        f'WHERE owner."id" = {row}."record_id" AND owner."sealed_at" IS NOT NULL)'
    )


def _corrected(key: str) -> str:
    """SQL: another record corrects the one with that key."""
    return f'EXISTS (SELECT 1 FROM "{_RECORD}" AS later WHERE later."supersedes_id" = {key})'


def _record_guards() -> tuple[Guard, ...]:
    columns = [field.column for field in Record._meta.concrete_fields if field.column not in _SEAL_COLUMNS]
    lite = " OR ".join(f'OLD."{column}" IS NOT NEW."{column}"' for column in columns)
    full = " OR ".join(f'OLD."{column}" IS DISTINCT FROM NEW."{column}"' for column in columns)
    written = """(OLD."content" <> '' AND NEW."sealed_at" IS NULL)"""
    corrected = _corrected('OLD."id"')
    refused = f"{{changed}} OR {written} OR {corrected}"
    held = f'(OLD."sealed_at" IS NOT NULL OR (OLD."frozen_at" IS NOT NULL AND ({refused})))'
    return (
        row_guard(
            f"{_RECORD}_frozen_update",
            _RECORD,
            "UPDATE",
            when_sqlite=held.format(changed=lite),
            when_postgresql=held.format(changed=full),
            message=_MESSAGE,
        ),
        row_guard(
            f"{_RECORD}_frozen_delete",
            _RECORD,
            "DELETE",
            when_sqlite='OLD."frozen_at" IS NOT NULL',
            when_postgresql='OLD."frozen_at" IS NOT NULL',
            message=_MESSAGE,
        ),
        truncate_guard(_RECORD, _MESSAGE),
    )


def _child_guards(table: str, condition: Callable[[str], str]) -> tuple[Guard, ...]:
    """Refuse adding to, changing, moving to or from, and deleting from a frozen record."""
    tests = {
        "INSERT": condition("NEW"),
        "UPDATE": f"({condition('OLD')} OR {condition('NEW')})",
        "DELETE": condition("OLD"),
    }
    rows = tuple(
        row_guard(
            f"{table}_frozen_{operation.lower()}",
            table,
            operation,
            when_sqlite=when,
            when_postgresql=when,
            message=_MESSAGE,
        )
        for operation, when in tests.items()
    )
    return (*rows, truncate_guard(table, _MESSAGE))


def _signature_guards() -> tuple[Guard, ...]:
    table = Signature._meta.db_table
    sealed, corrected = _sealed("NEW"), _corrected('NEW."record_id"')
    closed = f"({sealed} OR {corrected})"
    return (
        append_only(table, _MESSAGE),
        row_guard(
            f"{table}_sealed_insert",
            table,
            "INSERT",
            when_sqlite=closed,
            when_postgresql=closed,
            message=_MESSAGE,
        ),
    )


def sealing_guards() -> tuple[Guard, ...]:
    """Return every guard of the signed records."""
    direct: tuple[type[Model], ...] = (
        PressureTest,
        InstrumentUse,
        Step,
        Recording,
        DrawdownTest,
        DrawdownFunction,
        Recharge,
        PumpTest,
        PumpReading,
        FunctionTest,
        FunctionLine,
    )
    by_step: tuple[type[Model], ...] = (Line, TypedReading)
    guards = [*_record_guards(), *_signature_guards()]
    guards.append(append_only(Certificate._meta.db_table, "a certificate never changes"))
    guards.append(append_only(EditionText._meta.db_table, "the text of an edition never changes: another one is added"))
    guards.append(append_only(ProgrammeCopy._meta.db_table, "a copy of the rules never changes: make the next one"))
    for model in direct:
        guards.extend(_child_guards(model._meta.db_table, _frozen))
    for model in by_step:
        guards.extend(_child_guards(model._meta.db_table, _frozen_by_step))
    return tuple(guards)
