"""What the program keeps beside its database on one machine: the secret key and the folders under `var/`."""

import os
import secrets
import tempfile
from pathlib import Path

KEY_LENGTH = 64
_OWNER_ONLY = 0o700


def kept_secret(path: Path) -> str:
    """Return the secret key kept in a file, making it the first time.

    The key is written to a file of its own and linked into place: of two processes starting together, the second to
    link loses and reads the first one's key, so that both sign with the same one.
    """
    if not path.exists():
        # mkstemp makes the file readable by its owner alone.
        descriptor, fresh = tempfile.mkstemp(dir=path.parent)
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(KEY_LENGTH))
        try:
            os.link(fresh, path)
        except FileExistsError:
            pass
        finally:
            os.unlink(fresh)
    return path.read_text(encoding="ascii").strip()


def folder(path: Path) -> Path:
    """Return the folder, making it (open to its owner alone) when it is not there."""
    path.mkdir(mode=_OWNER_ONLY, parents=True, exist_ok=True)
    return path
