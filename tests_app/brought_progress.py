"""How far the worker has come with a file: kept in the cache, since its rows are not committed before the end."""

from typing import Final

from django.core.cache import cache

_KEPT_SECONDS: Final = 3600


def note_progress(pk: int, done: int, of: int) -> None:
    """Keep how many rows of a file are walked."""
    cache.set(_key(pk), done * 100 // max(of, 1), _KEPT_SECONDS)


def percent_of(pk: int) -> int | None:
    """Return how far a file has come; None where nobody works on it."""
    found: int | None = cache.get(_key(pk))
    return found


def forget_progress(pk: int) -> None:
    """Forget it once the work is done."""
    cache.delete(_key(pk))


def _key(pk: int) -> str:
    return f"brought-file-{pk}"
