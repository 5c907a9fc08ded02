"""Lists of what is brought in: the rows of a file, the files of a rig, and its tests of elsewhere."""

from collections.abc import Mapping
from typing import Any, Final

import django_filters
import django_tables2 as tables
from django import forms
from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from calcs.units import Dimension
from equipment.web.columns import NUMERIC, ListTable, MomentColumn, QuantityColumn
from equipment.web.lists import RowFilter
from tests_app.models import BROUGHT_TESTS, BroughtFile, BroughtTest, FileState, SheetKind
from tests_app.queries.brought import Result

RESULTS: Final[Mapping[str, str]] = {
    Result.REFUSED: "Refused",
    Result.ADD: "Add",
    Result.SAME: "Unchanged, on file already",
}
Row = Mapping[str, Any]


class ResultFilter(RowFilter[Row]):
    """What becomes of a row, and words in it."""

    result = forms.ChoiceField(label="What happens", required=False, choices=[("", "Any"), *RESULTS.items()])
    text = forms.CharField(label="Words of the row", required=False)

    def keeps(self, row: Row, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        words = str(wanted.get("text", "")).lower()
        return wanted.get("result", "") in ("", row["result"]) and words in str(row["what"]).lower()


class ResultTable(ListTable):
    """What becomes of each row of a file."""

    row = tables.Column("In the file", attrs={"td": {"class": "nowrap"}})
    result = tables.Column("What happens")
    what = tables.Column("Begins with")
    field = tables.Column("Column")
    reason = tables.Column("Why not")
    remedy = tables.Column("What to do")

    class Meta:
        empty_text = "No row passes this filter."
        default = "–"

    def render_row(self, value: int) -> str:
        """Return the row as a spreadsheet counts it."""
        return f"Row {value:,}"

    def value_row(self, value: int) -> int:
        """Return the number for an export."""
        return value

    def render_result(self, value: str) -> SafeString | str:
        """Return what happens in words, with a mark where it is refused."""
        return state("not-passed", RESULTS[value]) if value == Result.REFUSED else RESULTS[value]

    def value_result(self, value: str) -> str:
        """Return the words for an export."""
        return RESULTS[value]


class FileFilter(django_filters.FilterSet):
    """What its rows are, and how it stands."""

    sheet = django_filters.ChoiceFilter(label="Rows", choices=SheetKind.choices, empty_label="All")
    state = django_filters.ChoiceFilter(label="State", choices=FileState.choices, empty_label="Any")
    name = django_filters.CharFilter(label="File name", lookup_expr="icontains")

    class Meta:
        model = BroughtFile
        fields: tuple[str, ...] = ()


class FileTable(ListTable):
    """The files given on a rig."""

    name = tables.Column("File", linkify=lambda record: reverse("tests_app:brought-file", args=[record.pk]))
    sheet = tables.Column("Rows")
    row_count = tables.Column("How many", attrs=NUMERIC)
    state = tables.Column("State")
    received_at = MomentColumn("Given")
    received_by = tables.Column("By")
    brought_in_at = MomentColumn("Brought in")

    class Meta:
        empty_text = "No file was given yet, or none passes this filter."
        default = "–"


_STATES: Final[Mapping[str, tuple[str, str, Q]]] = {
    "waiting": ("waiting", "Not confirmed", Q(confirmed_at__isnull=True, withdrawn_at__isnull=True)),
    "confirmed": ("passed", "Confirmed by paper", Q(confirmed_at__isnull=False, withdrawn_at__isnull=True)),
    "withdrawn": ("superseded", "Withdrawn", Q(withdrawn_at__isnull=False)),
}


def state_of(test: BroughtTest) -> tuple[str, str]:
    """Return the key of the mark that tells how a test stands on file, and its words."""
    if test.withdrawn_at is not None:
        return _STATES["withdrawn"][:2]
    return _STATES["confirmed" if test.confirmed_at is not None else "waiting"][:2]


class BroughtTestFilter(django_filters.FilterSet):
    """Which test, of what, how it stands on file, and when it was."""

    what = django_filters.ChoiceFilter(label="Test", choices=BROUGHT_TESTS, empty_label="All")
    standing = django_filters.ChoiceFilter(
        label="On file as",
        method="of_state",
        empty_label="Any",
        choices=[(key, words) for key, (_, words, _) in _STATES.items()],
    )
    text = django_filters.CharFilter(label="Serial, certificate or by whom", method="named")
    since = django_filters.DateFilter(
        label="On or after",
        field_name="concluded_at",
        lookup_expr="date__gte",
        widget=forms.DateInput({"type": "date"}),
    )
    until = django_filters.DateFilter(
        label="On or before",
        field_name="concluded_at",
        lookup_expr="date__lte",
        widget=forms.DateInput({"type": "date"}),
    )

    class Meta:
        model = BroughtTest
        fields: tuple[str, ...] = ()

    def of_state(self, queryset: QuerySet[BroughtTest], _: str, value: str) -> QuerySet[BroughtTest]:
        """Narrow to one state."""
        return queryset.filter(_STATES[value][2])

    def named(self, queryset: QuerySet[BroughtTest], _: str, value: str) -> QuerySet[BroughtTest]:
        """Narrow to words of the serial, the certificate or who tested."""
        found = Q(component__serial__icontains=value) | Q(certificate_number__icontains=value)
        return queryset.filter(found | Q(tested_by__icontains=value))


class BroughtTestTable(ListTable):
    """Tests made elsewhere."""

    certificate_number = tables.Column(
        "Certificate", linkify=lambda record: reverse("tests_app:brought-test", args=[record.pk])
    )
    what = tables.Column("Test")
    component = tables.Column("Of", order_by=("component__kind", "component__serial"))
    concluded = MomentColumn("Over", accessor="concluded_at")
    high = QuantityColumn(
        Dimension.PRESSURE, "High", accessor="high_pressure", order_by=("high_pressure_si",), places=1
    )
    passed = tables.Column("Result then")
    tested_by = tables.Column("Tested by")
    standing = tables.Column("On file as", accessor="pk", orderable=False)

    class Meta:
        empty_text = "No test of elsewhere is on file, or none passes this filter."
        default = "–"

    def render_passed(self, value: bool) -> SafeString:
        """Return how it went."""
        return state("passed" if value else "not-passed")

    def value_passed(self, value: bool) -> str:
        """Return the same for an export."""
        return "Passed" if value else "Not passed"

    def render_standing(self, record: BroughtTest) -> SafeString:
        """Return whether dates count from it."""
        return format_html("{}", state(*state_of(record)))

    def value_standing(self, record: BroughtTest) -> str:
        """Return the same for an export."""
        return state_of(record)[1]
