"""The door of every page: only signed-in people pass, and nothing typed is lost at it."""

from collections.abc import Callable
from functools import wraps
from http import HTTPStatus
from typing import Concatenate, Final, ParamSpec

from django.conf import settings
from django.contrib.auth.views import redirect_to_login
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]

_NEVER_REPEATED: Final = frozenset({"csrfmiddlewaretoken"})
_SECRET: Final = "password"
_MOST_KEPT_FIELDS: Final = 500


def signed_in(view: View[P]) -> View[P]:
    """Let only signed-in people through; a form sent after the session ended is handed back to be sent again."""

    @wraps(view)
    def checked(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        if request.user.is_authenticated:
            return view(request, *args, **kwargs)
        if request.headers.get("HX-Request"):
            return HttpResponse(status=HTTPStatus.FORBIDDEN)
        if request.method == "POST":
            return _handed_back(request)
        return redirect_to_login(request.get_full_path())

    return checked


def _handed_back(request: HttpRequest) -> HttpResponse:
    """Return what was typed as a form that can be sent again once signed in; passwords are not written into it."""
    kept = [
        (name, value)
        for name, values in request.POST.lists()
        for value in values
        if name not in _NEVER_REPEATED and _SECRET not in name
    ]
    files = [given.name for _, given in request.FILES.items() if isinstance(given, UploadedFile)]
    secret = any(_SECRET in name for name in request.POST)
    context = {
        "kept": kept[:_MOST_KEPT_FIELDS],
        "files": files,
        "secret": secret,
        "csrf_cookie": settings.CSRF_COOKIE_NAME,
    }
    return render(request, "handed_back.html", context, status=HTTPStatus.FORBIDDEN)
