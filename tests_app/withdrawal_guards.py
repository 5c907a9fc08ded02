"""Guards of work done, deferrals, postponements, defects and what was brought in.

They are written once; then only withdrawn, called for, confirmed or ended, each once, and a defect judged anew.
"""

from collections.abc import Sequence

from django.db.models import Model

from tests_app.models import (
    BroughtFile,
    BroughtTest,
    Completion,
    Defect,
    DefectAction,
    DefectClosing,
    DefectReport,
    Deferral,
    Postponement,
)
from trail.guards import Guard, append_only, row_guard, truncate_guard


def withdrawal_guards() -> tuple[Guard, ...]:
    """Return every guard of these rows."""
    withdrawal = ("withdrawn_at", "withdrawn_by", "withdrawn_reason")
    return (
        *_guards(Completion, (withdrawal,), "work entered never changes: withdraw it and enter it anew"),
        *_guards(Deferral, (withdrawal,), "a deferral never changes: withdraw it and enter it anew"),
        *_guards(
            Postponement,
            (("called_at", "called_by"), ("ended_at", "ended_by", "ended_reason")),
            "a postponement never changes: end it and enter it anew",
        ),
        *_guards(
            BroughtTest,
            (("confirmed_at", "confirmed_by", "confirmed_reference"), withdrawal),
            "a test brought in never changes: withdraw it and bring it in anew",
        ),
        *_brought_file_guards(),
        *_defect_guards(),
    )


def _brought_file_guards() -> tuple[Guard, ...]:
    """Refuse deleting a file that was brought in, and changing what came; how it was tried out may be written anew."""
    kept = ("rig_id", "sheet", "name", "sha256", "size", "row_count", "received_at", "received_by")
    return _kept_guards(BroughtFile._meta.db_table, kept, "a file stays as it was received: set it aside")


def _defect_guards() -> tuple[Guard, ...]:
    """Refuse deleting a defect, and changing anything of it but how it is judged; what hangs on it is only added to."""
    table = Defect._meta.db_table
    message = "a defect never changes: add what was done about it, or have it closed"
    judged = ("severity", "barrier")
    fixed = [str(field.column) for field in Defect._meta.concrete_fields if field.column not in judged]
    added = (append_only(model._meta.db_table, message) for model in (DefectAction, DefectReport, DefectClosing))
    return (*_kept_guards(table, fixed, message), *added)


def _kept_guards(table: str, fixed: Sequence[str], message: str) -> tuple[Guard, ...]:
    """Refuse deleting, and changing any of the fixed columns."""
    return (
        row_guard(
            f"{table}_written_once",
            table,
            "UPDATE",
            when_sqlite=_any_changed(fixed, "IS NOT"),
            when_postgresql=_any_changed(fixed, "IS DISTINCT FROM"),
            message=message,
        ),
        row_guard(f"{table}_kept", table, "DELETE", when_sqlite="1", when_postgresql="true", message=message),
        truncate_guard(table, message),
    )


def _guards(model: type[Model], written_later: Sequence[tuple[str, ...]], message: str) -> tuple[Guard, ...]:
    """Refuse deleting, and every change but the first writing of each group of columns, a moment leading it.

    Once the last group is written nothing changes any more.
    """
    table = model._meta.db_table
    later = {column for group in written_later for column in group}
    fixed = [str(field.column) for field in model._meta.concrete_fields if field.column not in later]
    return (
        row_guard(
            f"{table}_written_once",
            table,
            "UPDATE",
            when_sqlite=_changed(fixed, written_later, "IS NOT"),
            when_postgresql=_changed(fixed, written_later, "IS DISTINCT FROM"),
            message=message,
        ),
        row_guard(f"{table}_kept", table, "DELETE", when_sqlite="1", when_postgresql="true", message=message),
        truncate_guard(table, message),
    )


def _changed(fixed: Sequence[str], written_later: Sequence[tuple[str, ...]], differs: str) -> str:
    """SQL: a column that never changes does, or a group is written a second time or without its moment."""
    conditions = [_any_changed(fixed, differs)]
    conditions.append(f'OLD."{written_later[-1][0]}" IS NOT NULL')
    for moment, *others in written_later:
        touched = " OR ".join(f'OLD."{column}" {differs} NEW."{column}"' for column in (moment, *others))
        conditions.append(f'(({touched}) AND (OLD."{moment}" IS NOT NULL OR NEW."{moment}" IS NULL))')
    return " OR ".join(conditions)


def _any_changed(columns: Sequence[str], differs: str) -> str:
    """SQL: one of the columns changes."""
    return " OR ".join(f'OLD."{column}" {differs} NEW."{column}"' for column in columns)
