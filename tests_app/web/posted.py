"""Addresses that only take a form: a reload of one, or its address typed in, leads to the page the form stands on."""

from collections.abc import Callable
from functools import wraps
from http import HTTPMethod
from typing import Concatenate, ParamSpec

from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect
from django.urls import reverse

from tests_app.models import Record, Step
from tests_app.queries import records
from tests_app.web.entry import signed_in

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]
Page = Callable[Concatenate[HttpRequest, P], str]

_LOOKS = (HTTPMethod.GET, HTTPMethod.HEAD)


def posted(page: Page[P]) -> Callable[[View[P]], View[P]]:
    """Take forms alone; who only looks is led to `page`, and signs in first as on any other."""

    def decorate(view: View[P]) -> View[P]:
        @signed_in
        def look(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            return redirect(page(request, *args, **kwargs))

        @wraps(view)
        def either(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            if request.method in _LOOKS:
                return look(request, *args, **kwargs)
            if request.method != HTTPMethod.POST:
                return HttpResponseNotAllowed([*_LOOKS, HTTPMethod.POST])
            return view(request, *args, **kwargs)

        return either

    return decorate


def page_of(record: Record, anchor: str = "") -> str:
    """Return the address of a test's page."""
    return reverse("tests_app:record", args=[record.pk]) + (f"#{anchor}" if anchor else "")


def to_record(request: HttpRequest, pk: int) -> str:
    """Return the page of a test by its key."""
    return page_of(records.record_for(request.user, pk))


def to_step(request: HttpRequest, pk: int) -> str:
    """Return the place of a step on its test's page."""
    step: Step = records.step_for(request.user, pk)
    return page_of(step.record, f"step-{step.pk}")


def to_either(request: HttpRequest, pk: int, of_step: bool) -> str:
    """Return the page of a step or of a whole test, as the key is of one or the other."""
    return to_step(request, pk) if of_step else to_record(request, pk)


def to_line(request: HttpRequest, pk: int) -> str:
    """Return the place of a line on its test's page."""
    line = records.line_for(request.user, pk)
    return page_of(line.step.record, f"line-{line.pk}")


def to_recording(request: HttpRequest, pk: int) -> str:
    """Return the place of a file on its test's page."""
    recording = records.recording_for(request.user, pk)
    return page_of(recording.record, f"file-{recording.pk}")
