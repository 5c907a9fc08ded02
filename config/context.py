"""What every page may show of the set-up."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone

from config import heartbeat


def set_up(_request: HttpRequest) -> dict[str, Any]:
    """Offer `wellhold_version` and, asked for only where a page shows it, `worker_is_silent`."""
    return {
        "wellhold_version": settings.WELLHOLD_VERSION,
        "worker_is_silent": lambda: heartbeat.is_silent(timezone.now()),
    }
