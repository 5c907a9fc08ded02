"""Files kept as received: stored once under their SHA-256, never written over."""

import hashlib

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage


class FileMissing(LookupError):
    """A file on record is not in the store."""

    def __init__(self, sha256: str) -> None:
        super().__init__(f"The file {sha256} is on record but not in the store. Restore it from a backup.")
        self.sha256 = sha256


class FileAltered(ValueError):
    """A stored file no longer has the hash it was kept under."""

    def __init__(self, sha256: str) -> None:
        super().__init__(f"The stored file {sha256} was altered: its hash differs. Restore it from a backup.")
        self.sha256 = sha256


def _path(sha256: str) -> str:
    return f"kept/{sha256[:2]}/{sha256}"


def keep(content: bytes) -> str:
    """Store the bytes and return their SHA-256; the same bytes are stored once."""
    sha256 = hashlib.sha256(content).hexdigest()
    if not default_storage.exists(_path(sha256)):
        default_storage.save(_path(sha256), ContentFile(content))
    return sha256


def fetch(sha256: str) -> bytes:
    """Return the bytes kept under `sha256`; raises FileMissing, or FileAltered when they no longer match."""
    if not default_storage.exists(_path(sha256)):
        raise FileMissing(sha256)
    with default_storage.open(_path(sha256), "rb") as stored:
        content: bytes = stored.read()
    if hashlib.sha256(content).hexdigest() != sha256:
        raise FileAltered(sha256)
    return content
