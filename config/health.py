"""`/healthz`: whether this process can do its work, for load balancers and container health checks."""

from collections.abc import Callable
from typing import Final

from django.conf import settings
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse, JsonResponse

from config import heartbeat

PATH: Final = "/healthz"
_SERVICE_UNAVAILABLE: Final = 503


class HealthMiddleware:
    """Answers the health check before any other middleware.

    A health check comes from inside, over plain HTTP and by an address of the machine: the redirect to HTTPS and the
    check of the host name, both right for people, would make a healthy process look sick.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path == PATH:
            return _answer()
        return self.get_response(request)


def _answer() -> HttpResponse:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        # What the database said may hold addresses and names: it goes to the log by Django, not to the caller.
        return JsonResponse({"status": "database does not answer"}, status=_SERVICE_UNAVAILABLE)
    return JsonResponse(
        {
            "status": "ok",
            "version": settings.WELLHOLD_VERSION,
            # Told, not judged: a web server whose worker is down still takes and shows records.
            "worker_heard": heartbeat.last_heard(),
        }
    )
