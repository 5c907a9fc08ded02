"""What is refused over HTTP, as problem documents (RFC 9457) that name each field with its reason and its remedy."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Final

from django.core.exceptions import NON_FIELD_ERRORS, PermissionDenied, SuspiciousOperation, ValidationError
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response

from calcs.errors import InputError
from equipment.errors import NotAllowed, Refused, Stale

CONTENT_TYPE: Final = "application/problem+json"
ADDRESS: Final = "/api/v1/#problem-"
"""Where a kind of problem is explained; completed by its word."""


@dataclass(frozen=True)
class Kind:
    """One kind of problem.

    Attributes:
        word: names it in its address.
        title: what it is, the same for every case of it.
        status: of the answer.
        meaning: when it comes and what the caller does then.
    """

    word: str
    title: str
    status: int
    meaning: str


KINDS: Final = (
    Kind("unreadable", "The call can't be read", 400, "The body is no JSON object, or a query is not known here."),
    Kind("not-signed-in", "Nobody is signed in", 401, "Send a token that is neither revoked nor run out."),
    Kind("not-allowed", "Not allowed", 403, "The person's role, or the token, does not give this right."),
    Kind("nothing-here", "There is nothing here", 404, "It does not exist, or it is out of the person's sight."),
    Kind("no-such-method", "This address does not take that method", 405, "The list of calls says which it takes."),
    Kind("not-acceptable", "No such form of the answer", 406, "Answers are JSON."),
    Kind("conflict", "It stands otherwise already", 409, "It is signed or sealed: what is signed never changes."),
    Kind("stale", "It changed since it was read", 412, "Read it again, compare, then write with its new ETag."),
    Kind("too-large", "The body is too large", 413, "Send less at a time."),
    Kind("no-such-body", "No such kind of body", 415, "Send JSON, or a form with a file where one is asked for."),
    Kind("refused", "Refused", 422, "A value or the state of things stands against it; `errors` says which and why."),
    Kind("unconditional", "The ETag is missing", 428, "Send If-Match with the ETag under which the thing was read."),
    Kind("too-often", "Asked too often", 429, "Wait as many seconds as Retry-After says."),
)
_BY_STATUS: Final[Mapping[int, Kind]] = {kind.status: kind for kind in KINDS}


class Unconditional(exceptions.APIException):
    """A write came without saying what it rests on."""

    status_code = HTTPStatus.PRECONDITION_REQUIRED
    default_detail = "Send If-Match with the ETag under which this was read, so that nobody's change is lost."


class Unreadable(exceptions.APIException):
    """The address asks what is not known here."""

    status_code = HTTPStatus.BAD_REQUEST

    def __init__(self, field: str, reason: str, remedy: str) -> None:
        super().__init__(reason)
        self.errors = [_error(field, reason, remedy)]


CONFLICTS: Final[list[type[Refused]]] = []
"""Refusals answered 409; the room above adds its own."""


def problem(status: int, detail: str, errors: list[dict[str, str]] | None = None) -> Response:
    """Return the answer that tells a problem."""
    kind = _BY_STATUS[status]
    body = {
        "type": f"{ADDRESS}{kind.word}",
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        "errors": errors or [],
    }
    return Response(body, status=status, content_type=CONTENT_TYPE)


def answer_to(error: Exception, context: Mapping[str, Any]) -> Response | None:
    """Return the problem an exception is answered with; None for one that is a fault of ours."""
    if isinstance(error, Refused | InputError):
        return _refused(error)
    if isinstance(error, ValidationError):
        return _together(HTTPStatus.UNPROCESSABLE_ENTITY, list(_of_django(error)))
    if isinstance(error, exceptions.ValidationError):
        return _together(HTTPStatus.UNPROCESSABLE_ENTITY, list(_of_serializer(error.detail)))
    if isinstance(error, Http404):
        return problem(HTTPStatus.NOT_FOUND, "There is nothing here, or nothing you may see.")
    if isinstance(error, NotAllowed):
        return problem(HTTPStatus.FORBIDDEN, error.reason, [_error("", error.reason, error.remedy)])
    if isinstance(error, PermissionDenied):
        return problem(HTTPStatus.FORBIDDEN, str(error) or "This is not allowed.")
    if isinstance(error, SuspiciousOperation):
        return problem(HTTPStatus.BAD_REQUEST, "The body can't be read.")
    if isinstance(error, exceptions.APIException):
        return _of_framework(error)
    return None


def _refused(error: Refused | InputError) -> Response:
    status = HTTPStatus.UNPROCESSABLE_ENTITY
    if isinstance(error, Stale):
        status = HTTPStatus.PRECONDITION_FAILED
    elif isinstance(error, tuple(CONFLICTS)):
        status = HTTPStatus.CONFLICT
    reason = error.reason if isinstance(error, Refused) else str(error)
    return problem(status, str(error), [_error(error.field, reason, error.remedy)])


def _of_framework(error: exceptions.APIException) -> Response:
    status = error.status_code if error.status_code in _BY_STATUS else HTTPStatus.BAD_REQUEST
    answer = problem(status, str(error.detail), getattr(error, "errors", None))
    if getattr(error, "auth_header", None):
        answer["WWW-Authenticate"] = error.auth_header  # type: ignore[attr-defined]
    if getattr(error, "wait", None):
        answer["Retry-After"] = str(int(error.wait) + 1)  # type: ignore[attr-defined]
    return answer


def _together(status: int, errors: list[dict[str, str]]) -> Response:
    said = [f"{one['field']}: {one['reason']}" if one["field"] else one["reason"] for one in errors]
    return problem(status, " ".join(said)[:1000], errors)


def _of_django(error: ValidationError) -> Iterator[dict[str, str]]:
    if not hasattr(error, "error_dict"):
        yield from (_error("", message, "Check what was sent.") for message in error.messages)
        return
    for name, messages in error.message_dict.items():
        field = "" if name == NON_FIELD_ERRORS else name
        yield from (_error(field, message, "Check this value.") for message in messages)


def _of_serializer(detail: Any, path: str = "") -> Iterator[dict[str, str]]:
    """Yield each error of a nested detail, its field as a dotted path."""
    if isinstance(detail, Mapping):
        for name, under in detail.items():
            inner = path if name in ("non_field_errors", "") else f"{path}.{name}".lstrip(".")
            yield from _of_serializer(under, inner)
    elif isinstance(detail, list):
        for place, under in enumerate(detail):
            nested = isinstance(under, Mapping | list)
            yield from _of_serializer(under, f"{path}.{place}".lstrip(".") if nested else path)
    else:
        yield _error(path, str(detail), "Check this value.")


def _error(field: str, reason: str, remedy: str) -> dict[str, str]:
    return {"field": field, "reason": reason, "remedy": remedy}
