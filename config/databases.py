"""How the program uses its databases, whichever profile it runs under."""

from typing import Any, Final

# WAL lets readers go on while one writes. FULL makes a committed record survive a power cut: a certificate may be
# handed over the moment its row is sealed, so the faster NORMAL, which can lose the last commits, is not for us.
_SQLITE_PRAGMAS: Final = ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON")
_BUSY_SECONDS: Final = 20


def tuned(database: dict[str, Any], *, pragmas: tuple[str, ...] = _SQLITE_PRAGMAS) -> dict[str, Any]:
    """Return the settings with what the program relies on added.

    SQLite's transactions begin IMMEDIATE: one that first reads and then writes would otherwise fail at once with
    "database is locked" when another wrote in between, whatever the busy timeout.
    """
    if database["ENGINE"] != "django.db.backends.sqlite3":
        return database
    options = {
        "timeout": _BUSY_SECONDS,
        "transaction_mode": "IMMEDIATE",
        "init_command": ";".join(f"PRAGMA {pragma}" for pragma in pragmas),
    }
    return {**database, "OPTIONS": options}
