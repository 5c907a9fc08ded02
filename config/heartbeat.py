"""Whether the worker lives: it leaves a mark each minute, and anybody may ask how old the last one is.

The mark is in the cache that all processes share. A worker that stopped makes no noise of its own: certificates are
simply not drawn and deadlines not looked at. So its silence is shown.
"""

from datetime import datetime, timedelta
from typing import Final

from django.core.cache import cache

# Two marks may be missed while a long certificate is drawn; a third means something is wrong.
SILENT_AFTER: Final = timedelta(minutes=3)
_KEY: Final = "worker-heard"
_KEPT: Final = timedelta(days=30)


def leave_mark(at: datetime) -> None:
    """Note that the worker lived at this moment."""
    cache.set(_KEY, at, timeout=_KEPT.total_seconds())


def last_heard() -> datetime | None:
    """Return when the worker was last heard, or None when never."""
    heard: datetime | None = cache.get(_KEY)
    return heard


def is_silent(at: datetime) -> bool:
    """Return whether the worker was not heard for too long, or never."""
    heard = last_heard()
    return heard is None or at - heard > SILENT_AFTER
