"""The shell of every list: narrowed, sorted, paged and exported, from a query or from rows in memory.

Everything stands in the address, so that a list can be sent to somebody as it is:
``?kind=annular&sort=-serial&page=2`` and ``&export=csv`` or ``xlsx`` for all rows that pass the filter.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import unescape
from typing import Any, Final, Generic, TypeVar

import django_filters
from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django_tables2 import RequestConfig, Table
from tablib import Dataset

Row = TypeVar("Row")

PAGE_ROWS: Final = 50
_TYPES: Final = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
FORMATS: Final = " ".join(_TYPES)
"""The export formats, as `partials/exports.html` takes them."""
_FORMULA: Final = re.compile(r"^[=+\-@\t\r]")
_NUMBER: Final = re.compile(r"^[+\-]?\d[\d,. ]*$")
_TAG: Final = re.compile(r"<[^>]+>")
_CONTROL: Final = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")


class RowFilter(forms.Form, Generic[Row]):
    """A filter over rows in memory; subclasses add fields and say in `keeps` which rows stay."""

    def keeps(self, row: Row, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays, given the cleaned values."""
        raise NotImplementedError

    def narrow(self, rows: Iterable[Row]) -> list[Row]:
        """Return the rows that stay; a value that can't be read narrows nothing and shows its error."""
        self.is_valid()
        wanted = getattr(self, "cleaned_data", {})
        return [row for row in rows if self.keeps(row, wanted)]


@dataclass(frozen=True)
class Listed:
    """A list ready for a page.

    Attributes:
        table: sorted and paged, for ``{% render_table table %}``.
        form: its filter's form for ``partials/filters.html``, or None.
        export: the answer to send instead of a page, when an export was asked for.
        count: rows that pass the filter.
    """

    table: Table
    form: forms.Form | None
    export: HttpResponse | None
    count: int

    def context(self) -> dict[str, Any]:
        """Return what the templates read."""
        return {"table": self.table, "filter_form": self.form, "count": self.count, "export_formats": FORMATS}


def listed(
    request: HttpRequest,
    rows: QuerySet[Any] | Sequence[Any],
    table_class: type[Table],
    *,
    filter_class: "type[django_filters.FilterSet] | type[RowFilter[Any]] | None" = None,
    filter_options: Mapping[str, Any] | None = None,
    table_options: Mapping[str, Any] | None = None,
    file_name: str = "list",
    page_rows: int = PAGE_ROWS,
) -> Listed:
    """Narrow, sort and page `rows` as the address asks, or export all that pass the filter.

    A queryset goes with a django-filter FilterSet, rows in memory (dataclasses) with a `RowFilter`.
    An address that asks for an unknown column, page or format gets the list as it usually is.
    """
    form, kept = _narrowed(request, rows, filter_class, filter_options or {})
    table = table_class(kept, **(table_options or {}))
    RequestConfig(request, paginate={"per_page": page_rows}).configure(table)
    wanted = request.GET.get("export", "")
    export = export_of(table, wanted, file_name) if wanted in _TYPES else None
    return Listed(table, form, export, len(table.data))


def _narrowed(
    request: HttpRequest, rows: Any, filter_class: Any, options: Mapping[str, Any]
) -> tuple[forms.Form | None, Any]:
    if filter_class is None:
        return None, rows
    if issubclass(filter_class, RowFilter):
        form = filter_class(request.GET, **options)
        return form, form.narrow(rows)
    narrowing = filter_class(request.GET, queryset=rows, request=request, **options)
    return narrowing.form, narrowing.qs


def export_of(table: Table, kind: str, file_name: str) -> HttpResponse:
    """Return every row of the table as a file of `kind`, csv or xlsx."""
    values = table.as_values()
    sheet = Dataset(headers=[_plain(head) for head in next(values)], title="List")
    for row in values:
        sheet.append([_plain(value) for value in row])
    content = sheet.export(kind)
    # The mark at the front tells a spreadsheet that the text is UTF-8; without it ° and ² come out wrong.
    content = "\ufeff" + content if isinstance(content, str) else content
    return HttpResponse(
        content,
        content_type=_TYPES[kind],
        headers={"Content-Disposition": f'attachment; filename="{file_name}.{kind}"'},
    )


def _plain(value: Any) -> Any:
    """Return a cell that no spreadsheet runs as a formula or chokes on."""
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes")
    if not isinstance(value, str):
        return value
    text = _CONTROL.sub("", unescape(_TAG.sub("", value)) if hasattr(value, "__html__") else value)
    return f"'{text}" if _FORMULA.match(text) and not _NUMBER.match(text) else text
