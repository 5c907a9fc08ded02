"""Makes the embedded product ready to start: `python -m config.prepare` makes tables, static files and the demo.

One process for all three, since starting Django costs more than any of them the second time.
"""

import hashlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import django
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import call_command
from django.core.management.base import CommandError

_STAMP: Final = ".collected"


def _sources() -> Iterator[Path]:
    for folder in settings.STATICFILES_DIRS:
        yield from sorted(path for path in Path(folder).rglob("*") if path.is_file())
    yield settings.BASE_DIR / "requirements.lock"


def static_state() -> str:
    """Return a hash that changes when a static file, or a package that brings some, does."""
    state = hashlib.sha256()
    for path in _sources():
        state.update(str(path).encode())
        state.update(path.read_bytes())
    return state.hexdigest()


def collect_static() -> None:
    """Gather and compress static files, unless nothing changed since the last time."""
    stamp = Path(settings.STATIC_ROOT) / _STAMP
    state = static_state()
    if stamp.exists() and stamp.read_text(encoding="ascii") == state:
        return
    call_command("collectstatic", interactive=False, clear=True, verbosity=0)
    stamp.write_text(state, encoding="ascii")


def main() -> int:
    """Prepare everything; a second run changes nothing and is quick."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.embedded")
    try:
        django.setup()
        call_command("migrate", interactive=False, verbosity=0)
        collect_static()
        call_command("load_demo", "--if-empty")
    except (ImproperlyConfigured, CommandError) as refusal:
        print(refusal, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
