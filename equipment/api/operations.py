"""The calls of the API as decorators: a view says what it takes, shows and does; all else is the same everywhere.

A decorated method gets what was asked and returns rows: `reads` one, `lists` many; `acts` gets the document it takes
and does one thing with it; `amends` gets besides the mark the caller rests on.
"""

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime
from functools import cache, partial, wraps
from http import HTTPStatus
from typing import Any, Final

import django_filters
from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils import timezone
from django.utils.text import slugify
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.authentication import SessionAuthentication
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from accounts.models import User
from equipment.actions.kept_answers import Answered, answered_once
from equipment.api import marks, paging
from equipment.api.authentication import MayAct, PersonThrottle, TokenAuthentication, WritingThrottle
from equipment.api.documents import AsciiRenderer, DocumentTooLarge, StrictDocumentParser
from equipment.api.problems import CONTENT_TYPE, Unreadable, answer_to
from equipment.api.shapes import Problem

Handler = Callable[..., Any]
Given = Callable[[], dict[str, Any]]
"""Reads the document of a call; asked for once the right is sure, so that who has none learns nothing else."""
Serializer = type[serializers.BaseSerializer[Any]]

_KEY: Final = "Idempotency-Key"
_LONGEST_KEY: Final = 200
_ENVELOPE_BYTES: Final = 256_000
_HEADER: Final = OpenApiParameter.HEADER
_IF_MATCH: Final = OpenApiParameter(
    "If-Match", str, _HEADER, description="The ETag under which it was read; another one by now is answered 412."
)
_IF_MATCH_NEEDED: Final = OpenApiParameter(
    "If-Match", str, _HEADER, required=True, description="The ETag under which it was read; without one 428."
)
_ONCE: Final = OpenApiParameter(
    _KEY,
    {"type": "string", "minLength": 1, "maxLength": _LONGEST_KEY, "pattern": "^[!-~]+$"},
    _HEADER,
    description="Sent again with the same key within a day, the call acts no more and is answered as the first time.",
)
_PAGES: Final = (
    OpenApiParameter(paging.CURSOR, str, description="As `next` or `previous` of a page gives it."),
    OpenApiParameter(
        paging.LIMIT,
        {"type": "integer", "minimum": 1, "maximum": paging.MOST, "default": paging.USUAL},
        description="Rows of a page.",
    ),
)


class View(APIView):
    """What every address of the API shares: who calls, how often, and how a refusal reads."""

    authentication_classes = (TokenAuthentication, SessionAuthentication)
    permission_classes = (MayAct,)
    renderer_classes: Sequence[type[BaseRenderer]] = (AsciiRenderer,)
    parser_classes: Sequence[type[BaseParser]] = (StrictDocumentParser,)
    throttle_classes = (PersonThrottle, WritingThrottle)

    def initial(self, request: Request, *args: Any, **keys: Any) -> None:
        """Refuse a body over the limit by what it says of its size, before a byte of it is read."""
        most = settings.WELLHOLD_MAX_RECORDING_BYTES + _ENVELOPE_BYTES
        if int(request.META.get("CONTENT_LENGTH") or 0) > most:
            raise DocumentTooLarge(settings.WELLHOLD_MAX_RECORDING_BYTES)
        super().initial(request, *args, **keys)

    def get_exception_handler(self) -> Callable[..., Response | None]:
        """Answer refusals as problem documents."""
        return answer_to

    @property
    def at(self) -> datetime:
        """Return the moment of the call; the clock is read once."""
        if not hasattr(self, "_at"):
            self._at = timezone.now()
        return self._at


def caller(request: Request) -> User:
    """Return the person who calls: nobody else gets past the door."""
    assert isinstance(request.user, User)
    return request.user


def problems(*statuses: int) -> dict[Any, Any]:
    """Return the refusals every call may be answered with, and those of these statuses, for its description."""
    return {(status, CONTENT_TYPE): OpenApiResponse(Problem) for status in (400, 401, 403, 404, 406, 429, *statuses)}


def _described(summary: str, description: str, responses: Mapping[Any, Any], **more: Any) -> Callable[[Handler], Any]:
    name = slugify(summary).replace("-", "_")
    # mypy: the library leaves what it returns open
    return extend_schema(
        operation_id=name, summary=summary, description=description or summary, responses=dict(responses), **more
    )


def _to(view: Any, method: Handler) -> Handler:
    return wraps(method)(view)


def reads(shows: Any, summary: str, *, description: str = "", query: Iterable[OpenApiParameter] = ()) -> Any:
    """Describe and answer a call that shows one thing; If-None-Match saves sending what the caller has."""

    def decorate(method: Handler) -> Handler:
        def view(self: View, request: Request, **keys: Any) -> Response | HttpResponse:
            refuse_strange_query(request, [parameter.name for parameter in query])
            row = method(self, request, **keys)
            etag = marks.etag_of(row)
            if etag and request.headers.get("If-None-Match") == etag:
                return Response(status=304, headers={"ETag": etag})
            return Response(_written(shows, row, self), headers={"ETag": etag} if etag else None)

        responses = {200: shows, **problems()}
        return _described(summary, description, responses, parameters=list(query))(_to(view, method))

    return decorate


def lists(
    shows: Serializer,
    summary: str,
    *,
    description: str = "",
    order: Sequence[str] = ("pk",),
    narrowed_by: type[django_filters.FilterSet] | None = None,
    key: Callable[[Any], str] | None = None,
    query: Iterable[OpenApiParameter] = (),
) -> Any:
    """Describe and answer a call that lists rows by pages, narrowed by the filter of the page that shows the same.

    The method returns a table's rows, or those with the filter's options, or rows in memory where `key` names each.
    """
    filters = parameters_of(narrowed_by) if narrowed_by else []
    known = [*(parameter.name for parameter in (*filters, *query)), paging.CURSOR, paging.LIMIT]

    def decorate(method: Handler) -> Handler:
        def view(self: View, request: Request, **keys: Any) -> Response:
            refuse_strange_query(request, known)
            rows, options = _with_options(method(self, request, **keys), narrowed_by)
            if narrowed_by is not None:
                rows = _narrowed(request, rows, narrowed_by, options)
            found, links = (
                paging.page_of_listed(request, rows, key) if key else paging.page_of_rows(request, rows, order)
            )
            return Response({**links, "results": shows(found, many=True, context={"view": self}).data})

        # mypy takes a class for unhashable here
        responses = {
            200: _page_shape(shows),  # type: ignore[arg-type]
            **problems(),
        }
        parameters = [*filters, *query, *_PAGES]
        return _described(summary, description, responses, parameters=parameters)(_to(view, method))

    return decorate


def acts(
    shows: Any, summary: str, *, takes: Any = None, description: str = "", upload: bool = False, seen: bool = False
) -> Any:
    """Describe and answer a POST: the document is read, one action called, and what came of it shown.

    If-Match is heeded where it is sent, and with `seen` asked for; an Idempotency-Key makes the call act once.
    """

    def decorate(method: Handler) -> Handler:
        def view(self: View, request: Request, **keys: Any) -> Response:
            refuse_strange_query(request, ())
            given = partial(_given, request, takes)

            def act() -> Answered:
                row = method(self, request, given, **keys)
                etag = marks.etag_of(row)
                return Answered(HTTPStatus.CREATED, _written(shows, row, self), {"ETag": etag} if etag else {})

            return _answer(_once(self, request, act))

        responses = {201: shows, **problems(409, 412, 413, 415, 422, *([428] if seen else []))}
        headers = [_IF_MATCH_NEEDED if seen else _IF_MATCH, _ONCE]
        body = {"multipart/form-data": takes} if upload else takes
        return _described(summary, description, responses, request=body, parameters=headers)(_to(view, method))

    return decorate


def amends(shows: Any, summary: str, *, takes: Any, description: str = "") -> Any:
    """Describe and answer a PATCH: only what is sent changes, and only if nobody changed it since it was read."""

    def decorate(method: Handler) -> Handler:
        def view(self: View, request: Request, **keys: Any) -> Response:
            refuse_strange_query(request, ())
            row = method(self, request, partial(_given, request, takes, some=True), **keys)
            return Response(_written(shows, row, self), headers={"ETag": marks.etag_of(row)})

        responses = {200: shows, **problems(409, 412, 413, 415, 422, 428)}
        return _described(summary, description, responses, request=takes, parameters=[_IF_MATCH_NEEDED])(
            _to(view, method)
        )

    return decorate


def removes(summary: str, *, description: str = "") -> Any:
    """Describe and answer a DELETE."""

    def decorate(method: Handler) -> Handler:
        def view(self: View, request: Request, **keys: Any) -> Response:
            method(self, request, **keys)
            return Response(status=204)

        responses = {204: None, **problems(409, 412, 422)}
        return _described(summary, description, responses, parameters=[_IF_MATCH])(_to(view, method))

    return decorate


def _written(shows: Any, row: Any, view: View) -> Any:
    return None if shows is None else shows(row, context={"view": view}).data


def _given(request: Request, takes: Any, *, some: bool = False) -> dict[str, Any]:
    if takes is None:
        return {}
    # Without a body no parser is asked: the framework hands over an empty form instead.
    read = takes(data=request.data, partial=some)
    read.is_valid(raise_exception=True)
    return dict(read.validated_data)


def _once(view: View, request: Request, act: Callable[[], Answered]) -> Answered:
    key = request.headers.get(_KEY, "")
    if not key:
        return act()
    if len(key) > _LONGEST_KEY or not key.isascii() or not key.isprintable():
        raise Unreadable(_KEY, "This is no key.", f"Send up to {_LONGEST_KEY} plain characters, such as a UUID.")
    asked = _digest(request.method or "", request.path, _fingerprint(request.data))
    return answered_once(key, asked=asked, act=act, by=caller(request), at=view.at)


def _digest(*parts: str) -> str:
    """Return the mark of a call by which its repeat is known."""
    whole = hashlib.sha256()
    for part in parts:
        whole.update(f"{len(part)}:{part}".encode())
    return whole.hexdigest()


def _answer(answered: Answered) -> Response:
    headers = dict(answered.headers) | ({"Idempotency-Replayed": "true"} if answered.repeated else {})
    return Response(answered.body, status=answered.status, headers=headers)


def _fingerprint(sent: Any) -> str:
    """Return a text that is the same for the same body: its values, and of files the hash of their content."""
    if isinstance(sent, UploadedFile):
        sent.seek(0)
        found = hashlib.sha256(sent.read()).hexdigest()
        sent.seek(0)
        return f"{sent.name}:{found}"
    if isinstance(sent, str):
        return sent
    if hasattr(sent, "lists"):
        return json.dumps([[name, [_fingerprint(one) for one in values]] for name, values in sorted(sent.lists())])
    # A password is tried slowly where it is kept; a quick hash of it beside the answer would undo that.
    return json.dumps({name: value for name, value in sent.items() if name != "password"}, sort_keys=True)


def refuse_strange_query(request: Request, known: Iterable[str]) -> None:
    """Raise Unreadable for a query that is not known: a misspelt filter would give more than was asked for."""
    names = list(known)
    for name in request.query_params:
        if name not in names:
            told = f"Known are: {', '.join(sorted(names))}." if names else "This call takes none."
            raise Unreadable(name[:80], "This query is not known here.", told)


def _with_options(found: Any, narrowed_by: object) -> tuple[Any, Mapping[str, Any]]:
    return found if narrowed_by is not None and isinstance(found, tuple) else (found, {})


def _narrowed(
    request: Request, rows: QuerySet[Any], narrowed_by: type[django_filters.FilterSet], options: Mapping[str, Any]
) -> QuerySet[Any]:
    narrowing = narrowed_by(request.query_params, queryset=rows, request=request._request, **options)
    if not narrowing.is_valid():
        name, messages = next(iter(narrowing.form.errors.items()))
        raise Unreadable(name, " ".join(messages), "Give one of the values the description of this call names.")
    return narrowing.qs


def parameters_of(narrowed_by: type[django_filters.FilterSet]) -> list[OpenApiParameter]:
    """Return the filters as the description of a call names them."""
    return [_parameter(name, one) for name, one in narrowed_by.base_filters.items()]


def _parameter(name: str, one: Any) -> OpenApiParameter:
    choices = one.extra.get("choices") if isinstance(one, django_filters.ChoiceFilter) else None
    kinds: dict[type, Any] = {
        django_filters.NumberFilter: {"type": "integer", "minimum": 0, "maximum": 10**9},
        django_filters.ModelChoiceFilter: {"type": "integer", "minimum": 1},
        django_filters.DateFilter: date,
        django_filters.BooleanFilter: bool,
    }
    kind = next((kinds[cls] for cls in type(one).__mro__ if cls in kinds), OpenApiTypes.STR)
    values = [key for key, _ in choices] if choices else None
    return OpenApiParameter(name, kind, description=str(one.label or name), enum=values)


@cache
def _page_shape(shows: Any) -> Any:
    """Return the shape of one page of rows."""
    parts: dict[str, Any] = {
        "next": serializers.CharField(allow_null=True, help_text="Address of the next page; null on the last."),
        "previous": serializers.CharField(allow_null=True, help_text="Address of the page before; null on the first."),
        "results": shows(many=True),
        "__doc__": "One page of a list.",
    }
    made: Any = type(serializers.Serializer)
    return made(f"{shows.__name__}Page", (serializers.Serializer,), parts)
