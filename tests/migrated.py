"""A test database on SQLite that begins as a copy of one migrated before.

Working through every migration takes longer than most files of tests, and each process that tests does it. The copy is
named after all that decides what comes of it; `migrate` still runs over it and sets the guards anew.
"""

import hashlib
import os
import shutil
from pathlib import Path
from typing import Final

from django.apps import apps
from django.conf import settings
from django.db.backends.base.base import BaseDatabaseWrapper

_KEPT_IN: Final = Path(settings.BASE_DIR) / ".pytest_cache" / "migrated"


def begun_from_copy(connection: BaseDatabaseWrapper) -> bool:
    """Put the copy where the test database will be looked for; False where there is none, or it can't be copied."""
    if connection.vendor != "sqlite":
        return False
    try:
        shutil.copyfile(_copy(), connection.creation._get_test_db_name())
    except FileNotFoundError:
        return False
    return True


def keep_copy(connection: BaseDatabaseWrapper) -> None:
    """Keep a copy of the database just migrated, in place of older ones; processes side by side each make the same."""
    copy = _copy()
    if connection.vendor != "sqlite" or copy.exists():
        return
    _KEPT_IN.mkdir(parents=True, exist_ok=True)
    for older in _KEPT_IN.glob("*.sqlite3"):
        older.unlink(missing_ok=True)
    unfinished = copy.with_suffix(f".{os.getpid()}")
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(unfinished)])
    unfinished.replace(copy)


def _copy() -> Path:
    decided_by = hashlib.sha256()
    folders = (Path(config.path) / "migrations" for config in apps.get_app_configs())
    for file in sorted(file for folder in folders for file in folder.glob("*.py")):
        decided_by.update(str(file).encode() + file.read_bytes())
    return _KEPT_IN / f"{decided_by.hexdigest()[:16]}.sqlite3"
