"""Guards: database triggers that refuse what no code may do, on SQLite and PostgreSQL alike.

Python checks give the kind message; these hold the truth. They are made anew after every migrate and
flush, since SQLite silently drops a table's triggers when a later migration rebuilds the table.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper


@dataclass(frozen=True)
class Guard:
    """One refusal on one table.

    Attributes:
        name: name of the trigger (or constraint), unique in the database.
        table: table it stands on.
        sqlite: statements that create it on SQLite.
        postgresql: statements that create it on PostgreSQL.
        drop_postgresql: statements that remove it there.
    """

    name: str
    table: str
    sqlite: tuple[str, ...]
    postgresql: tuple[str, ...]
    drop_postgresql: tuple[str, ...]

    @property
    def drop_sqlite(self) -> tuple[str, ...]:
        """Return statements removing every trigger of this guard on SQLite."""
        return tuple(f'DROP TRIGGER IF EXISTS "{_trigger_name(statement)}"' for statement in self.sqlite)


_REGISTERED: dict[str, Guard] = {}


def register(*guards: Guard) -> None:
    """Add guards to those installed after each migrate; called by each app when it is ready."""
    for guard in guards:
        _REGISTERED[guard.name] = guard


def registered() -> tuple[Guard, ...]:
    """Return all guards known."""
    return tuple(_REGISTERED.values())


def _trigger_name(statement: str) -> str:
    return statement.split('"')[1]


def _quoted(message: str) -> str:
    return message.replace("'", "''")


def row_guard(name: str, table: str, operation: str, *, when_sqlite: str, when_postgresql: str, message: str) -> Guard:
    """Refuse `operation` (INSERT, UPDATE or DELETE) on rows for which the condition holds.

    Conditions are SQL over OLD and NEW; subqueries are allowed, so PostgreSQL gets a function body.
    """
    text = _quoted(message)
    returned = "OLD" if operation == "DELETE" else "NEW"
    return Guard(
        name=name,
        table=table,
        sqlite=(
            f'CREATE TRIGGER "{name}" BEFORE {operation} ON "{table}" FOR EACH ROW WHEN {when_sqlite} '
            f"BEGIN SELECT RAISE(ABORT, '{text}'); END",
        ),
        postgresql=(
            f'CREATE OR REPLACE FUNCTION "{name}"() RETURNS trigger LANGUAGE plpgsql AS $guard$ BEGIN '
            f"IF {when_postgresql} THEN "
            f"RAISE EXCEPTION '{text.replace('%', '%%')}' USING ERRCODE = 'restrict_violation'; "
            f"END IF; RETURN {returned}; END $guard$",
            f'CREATE TRIGGER "{name}" BEFORE {operation} ON "{table}" FOR EACH ROW EXECUTE FUNCTION "{name}"()',
        ),
        drop_postgresql=(f'DROP TRIGGER IF EXISTS "{name}" ON "{table}"', f'DROP FUNCTION IF EXISTS "{name}"()'),
    )


def truncate_guard(table: str, message: str) -> Guard:
    """Refuse TRUNCATE, which skips row triggers on PostgreSQL; SQLite has no such statement."""
    name = f"{table}_no_truncate"
    return Guard(
        name=name,
        table=table,
        sqlite=(),
        postgresql=(
            f'CREATE OR REPLACE FUNCTION "{name}"() RETURNS trigger LANGUAGE plpgsql AS $guard$ BEGIN '
            f"RAISE EXCEPTION '{_quoted(message)}' USING ERRCODE = 'restrict_violation'; END $guard$",
            f'CREATE TRIGGER "{name}" BEFORE TRUNCATE ON "{table}" FOR EACH STATEMENT EXECUTE FUNCTION "{name}"()',
        ),
        drop_postgresql=(f'DROP TRIGGER IF EXISTS "{name}" ON "{table}"', f'DROP FUNCTION IF EXISTS "{name}"()'),
    )


def append_only(table: str, message: str) -> Guard:
    """Refuse every UPDATE, DELETE and TRUNCATE on a table."""
    update, delete, truncate = (
        row_guard(f"{table}_no_update", table, "UPDATE", when_sqlite="1", when_postgresql="true", message=message),
        row_guard(f"{table}_no_delete", table, "DELETE", when_sqlite="1", when_postgresql="true", message=message),
        truncate_guard(table, message),
    )
    return Guard(
        name=f"{table}_append_only",
        table=table,
        sqlite=update.sqlite + delete.sqlite,
        postgresql=update.postgresql + delete.postgresql + truncate.postgresql,
        drop_postgresql=update.drop_postgresql + delete.drop_postgresql + truncate.drop_postgresql,
    )


def _execute(connection: BaseDatabaseWrapper, statements: Iterable[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def _present(connection: BaseDatabaseWrapper) -> tuple[Guard, ...]:
    tables = set(connection.introspection.table_names())
    return tuple(guard for guard in registered() if guard.table in tables)


def lift(connection: BaseDatabaseWrapper) -> None:
    """Remove every guard. For the test suite's clean-up only: the application never calls it."""
    for guard in _present(connection):
        _execute(connection, guard.drop_sqlite if connection.vendor == "sqlite" else guard.drop_postgresql)


def install(connection: BaseDatabaseWrapper) -> None:
    """Make every guard anew; running it twice changes nothing."""
    lift(connection)
    for guard in _present(connection):
        _execute(connection, guard.sqlite if connection.vendor == "sqlite" else guard.postgresql)


def missing(connection: BaseDatabaseWrapper) -> tuple[str, ...]:
    """Return the names of guards that should stand in the database and do not."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute("SELECT tgname FROM pg_trigger UNION SELECT conname FROM pg_constraint")
        standing = {row[0] for row in cursor.fetchall()}
    wanted = {
        _trigger_name(statement)
        for guard in _present(connection)
        for statement in (guard.sqlite if connection.vendor == "sqlite" else guard.postgresql)
        if statement.startswith("CREATE TRIGGER")
    }
    return tuple(sorted(wanted - standing))


def lift_before_migrate(using: str = DEFAULT_DB_ALIAS, plan: Sequence[Any] = (), **_: Any) -> None:
    """Signal handler: take the guards off SQLite while migrations are applied; `install_after_migrate` makes them anew.

    SQLite changes a table by making another in its place, and refuses that while a guard of any table reads the one
    that is gone. A database whose migrations broke off starts nothing until they are through (config.checks).
    """
    if plan and connections[using].vendor == "sqlite":
        lift(connections[using])


def install_after_migrate(using: str = DEFAULT_DB_ALIAS, **_: Any) -> None:
    """Signal handler: make the guards anew when a migrate or a flush has ended."""
    if apps.ready:
        install(connections[using])
