"""ETags: the mark of a row as it stands, by which a write says what it rests on (RFC 9110, section 13)."""

from functools import singledispatch
from typing import Final

from django.db import models
from rest_framework.request import Request

from equipment.api.problems import Unconditional
from equipment.errors import Stale
from equipment.queries.versions import digest

ANY: Final = "*"


@singledispatch
def mark_of(row: object) -> str:
    """Return the mark of what is shown; empty for what has none. Rooms above register theirs."""
    return digest(row) if isinstance(row, models.Model) else ""


def etag_of(row: object) -> str:
    """Return the ETag of what is shown, or nothing."""
    mark = mark_of(row)
    return f'"{mark}"' if mark else ""


def seen_in(request: Request) -> str:
    """Return the mark the caller rests on; empty where none is named. ``*`` rests on nothing but being there."""
    sent = request.headers.get("If-Match", "").strip()
    return "" if sent == ANY else sent.removeprefix("W/").strip('"')


def require_seen(request: Request, row: object) -> str:
    """Return the mark the caller rests on; raises Unconditional without one, Stale for another than it has now."""
    if not request.headers.get("If-Match", "").strip():
        raise Unconditional
    return refuse_stale(request, row)


def refuse_stale(request: Request, row: object) -> str:
    """Return the mark the caller rests on, if any; raises Stale for another than the row has now."""
    seen = seen_in(request)
    if seen and seen != mark_of(row):
        raise Stale("", "This changed since it was read.", "Read it again, compare, and write with its new ETag.")
    return seen
