"""A form sent twice acts once: the second answer is the first one's."""

import time
from collections.abc import Callable
from functools import wraps
from http import HTTPStatus
from typing import Concatenate, Final, ParamSpec

from django.core.cache import cache
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]

FIELD: Final = "once"
"""Name of the hidden field with the form's own word; written by ``{% once %}``."""
_BUSY: Final = "busy"
_KEPT_SECONDS: Final = 24 * 3600
_LONGEST_KEY: Final = 64
_LOOKS: Final = 25
_BETWEEN_LOOKS_SECONDS: Final = 0.2


def once(view: View[P]) -> View[P]:
    """Let a form with a word of its own act once; a refused one may be sent again with the same word."""

    @wraps(view)
    def acted(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        word = request.POST.get(FIELD, "") if request.method == "POST" else ""
        if not word or len(word) > _LONGEST_KEY or not word.isalnum():
            return view(request, *args, **kwargs)
        key = f"once-{request.user.pk}-{word}"
        if not cache.add(key, _BUSY, _KEPT_SECONDS):
            return _answer_of_the_first(request, key)
        return _first(key, lambda: view(request, *args, **kwargs))

    return acted


def _first(key: str, act: Callable[[], HttpResponse]) -> HttpResponse:
    try:
        response = act()
    except BaseException:
        cache.delete(key)
        raise
    if isinstance(response, HttpResponseRedirect):
        cache.set(key, response.url, _KEPT_SECONDS)
    else:
        cache.delete(key)
    return response


def _answer_of_the_first(request: HttpRequest, key: str) -> HttpResponse:
    for _ in range(_LOOKS):
        where = cache.get(key)
        if where != _BUSY:
            break
        time.sleep(_BETWEEN_LOOKS_SECONDS)
    if where and where != _BUSY:
        return redirect(where)
    return render(request, "tests_app/sent_twice.html", status=HTTPStatus.CONFLICT)
