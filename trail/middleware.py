"""Notes where each request came from, for the trail."""

import uuid
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from trail.entries import Origin, origin


class OriginMiddleware:
    """Gives each request an id and keeps its remote address for the entries written during it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        token = origin.set(Origin(uuid.uuid4(), request.META.get("REMOTE_ADDR") or None))
        try:
            return self.get_response(request)
        finally:
            origin.reset(token)
