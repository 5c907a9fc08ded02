"""Makes the embedded product ready to start: `python -m config.prepare` makes tables, static files and the demo.

One process for all three, since starting Django costs more than any of them the second time.
"""

import hashlib
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import django
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import call_command
from django.core.management.base import CommandError

_STAMP: Final = ".collected"
_NAMES: Final = "staticfiles.json"


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
    """Gather and compress static files, unless nothing changed since the last time.

    A server may be running on them: they are gathered beside, then each takes its place whole. What pages loaded
    earlier refer to stays.
    """
    root = Path(settings.STATIC_ROOT)
    stamp, state = root / _STAMP, static_state()
    if stamp.exists() and stamp.read_text(encoding="ascii") == state:
        return
    root.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="static-", dir=root.parent) as beside:
        # A process of its own: which folder to gather into is settled once, when the settings are read.
        subprocess.run(
            [sys.executable, "-m", "django", "collectstatic", "--noinput", "--verbosity", "0"],
            cwd=settings.BASE_DIR,
            env={**os.environ, "WELLHOLD_STATIC": beside},
            check=True,
        )
        put_in_place(Path(beside), root)
    stamp.write_text(state, encoding="ascii")


def put_in_place(gathered: Path, root: Path) -> None:
    """Move every gathered file to its place under `root`, each in one stroke; the list of names last."""
    files = sorted(path for path in gathered.rglob("*") if path.is_file())
    for path in sorted(files, key=lambda path: path.name == _NAMES):
        place = root / path.relative_to(gathered)
        place.parent.mkdir(parents=True, exist_ok=True)
        path.replace(place)


def main() -> int:
    """Prepare everything; a second run changes nothing and is quick."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.embedded")
    try:
        django.setup()
        call_command("migrate", interactive=False, verbosity=0)
        call_command("load_rules", verbosity=0)
        collect_static()
        call_command("load_demo", "--if-empty")
    except (ImproperlyConfigured, CommandError, subprocess.CalledProcessError) as refusal:
        print(refusal, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
