"""The page of a draft of any kind of test, with a refused form in its place."""

from collections.abc import Callable, Mapping
from http import HTTPStatus
from typing import Any, Final

from django.http import HttpRequest, HttpResponse

from tests_app.models import Record, RecordKind
from tests_app.web import record_page
from tests_app.web.bank_page import drawdown_page, pump_page
from tests_app.web.entry import Visit
from tests_app.web.function_page import function_page
from tests_app.web.record_page import Bound, no_draft_page
from tests_app.web.refusals import status_of

_BY_KIND: Final[Mapping[str, Callable[..., HttpResponse]]] = {
    RecordKind.DRAWDOWN: drawdown_page,
    RecordKind.PUMP: pump_page,
    RecordKind.FUNCTION: function_page,
}
_NONE_BOUND: Final[Bound] = {}


def draft_page(
    request: HttpRequest, visit: Visit, record: Record, bound: Bound = _NONE_BOUND, **options: Any
) -> HttpResponse:
    """Show the draft of a test; `bound` holds a refused form in its place."""
    if record.kind == RecordKind.PRESSURE:
        return record_page.draft_page(request, visit, record, bound, **options)
    form = next(iter(bound.values()), None)
    if not record.is_draft:
        return no_draft_page(request, visit, record, form)
    status = status_of(form) if form is not None else HTTPStatus.OK
    return _BY_KIND[record.kind](request, visit, record, bound, status=status)
