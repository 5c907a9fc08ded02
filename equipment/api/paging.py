"""Pages of a list by cursor: what is added or removed meanwhile moves no page."""

import base64
import binascii
from collections.abc import Callable, Sequence
from typing import Any, Final

from django.db.models import QuerySet
from rest_framework.exceptions import NotFound
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.utils.urls import replace_query_param

from equipment.api.problems import Unreadable

USUAL: Final = 50
MOST: Final = 200
CURSOR: Final = "cursor"
LIMIT: Final = "limit"


def _strange_cursor() -> Unreadable:
    return Unreadable(CURSOR, "This cursor is not one of this list.", "Follow `next`, or begin again without it.")


def limit_asked(request: Request) -> int:
    """Return how many rows a page is to have; raises Unreadable for what is no number from 1 to the most."""
    asked = request.query_params.get(LIMIT, str(USUAL))
    if not asked.isascii() or not asked.isdigit() or len(asked) > 4 or not 1 <= int(asked) <= MOST:
        raise Unreadable(LIMIT, "This is no number of rows.", f"Give a whole number from 1 to {MOST}.")
    return int(asked)


class _ByKey(CursorPagination):
    cursor_query_param = CURSOR

    def __init__(self, request: Request, ordering: Sequence[str]) -> None:
        self.page_size = limit_asked(request)
        self.ordering = tuple(ordering)

    def get_page_size(self, request: Request) -> int:
        return int(self.page_size or USUAL)

    def get_ordering(self, request: Request, queryset: Any, view: Any) -> tuple[str, ...]:
        return tuple(self.ordering or ())


def page_of_rows(
    request: Request, rows: QuerySet[Any], ordering: Sequence[str]
) -> tuple[list[Any], dict[str, str | None]]:
    """Return one page of a table with the addresses of the next and the previous one. The ordering ends in the key."""
    pages = _ByKey(request, ordering)
    try:
        found = pages.paginate_queryset(rows, request)
    except (NotFound, ValueError, TypeError) as error:
        raise _strange_cursor() from error
    return list(found or []), {"next": pages.get_next_link(), "previous": pages.get_previous_link()}


def page_of_listed(
    request: Request, rows: Sequence[Any], key: Callable[[Any], str]
) -> tuple[list[Any], dict[str, str | None]]:
    """Return one page of rows worked out in memory; the cursor names the last row of the page before."""
    size, after = limit_asked(request), request.query_params.get(CURSOR, "")
    begin = 0
    if after:
        keys = [key(row) for row in rows]
        begin = _place_after(keys, _decoded(after))
    page = list(rows[begin : begin + size])
    more = begin + size < len(rows)
    here = request.build_absolute_uri()
    back = None
    if begin:
        first = begin - size
        back = replace_query_param(here, CURSOR, _encoded(key(rows[first - 1])) if first > 0 else "")
    ahead = replace_query_param(here, CURSOR, _encoded(key(page[-1]))) if more else None
    return page, {"next": ahead, "previous": back}


def _place_after(keys: list[str], last: str) -> int:
    if last not in keys:
        raise _strange_cursor()
    return keys.index(last) + 1


def _encoded(key: str) -> str:
    return base64.urlsafe_b64encode(key.encode()).decode()


def _decoded(cursor: str) -> str:
    try:
        return base64.urlsafe_b64decode(cursor.encode()).decode()
    except (binascii.Error, UnicodeError) as error:
        raise _strange_cursor() from error
