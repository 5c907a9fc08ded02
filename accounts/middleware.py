"""Nobody works, and nobody signs, with a password that somebody else knows."""

from collections.abc import Callable
from typing import Final

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.urls import reverse

from accounts.models import User

_OPEN: Final = ("password-change", "sign-out")
_SAID: Final = "Your password was set by somebody else. Choose one that only you know; then all else opens."


class OwnPasswordMiddleware:
    """Lead a person whose password somebody else set to the page that changes it, whatever they ask for."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request, or lead on; a program is refused with 403."""
        user = request.user
        if not isinstance(user, User) or not user.must_change_password or request.path in map(reverse, _OPEN):
            return self.get_response(request)
        if request.path.startswith("/api/"):
            said = {"type": "about:blank", "title": "Not allowed", "status": 403, "detail": _SAID, "errors": []}
            return JsonResponse(said, status=403, content_type="application/problem+json")
        messages.warning(request, _SAID)
        return HttpResponseRedirect(reverse("password-change"))
