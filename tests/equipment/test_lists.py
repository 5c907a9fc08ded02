"""The shell of the lists, over rows in memory."""

import csv
import io
from dataclasses import dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import django_tables2 as tables
import pytest
from django import forms
from django.test import RequestFactory
from openpyxl import load_workbook

from calcs.units import Dimension
from equipment.models import Measured
from equipment.web.columns import DayColumn, ListTable, MomentColumn, QuantityColumn, StateColumn
from equipment.web.lists import RowFilter, listed


@dataclass(frozen=True)
class Row:
    name: str
    rated: Measured | None
    at: datetime
    day: date | None
    state: str


class RowTable(ListTable):
    name = tables.Column("Name")
    rated = QuantityColumn(Dimension.PRESSURE, "Rated pressure")
    at = MomentColumn("Tested")
    day = DayColumn("Expires")
    state = StateColumn("State")


class NameFilter(RowFilter[Row]):
    name = forms.CharField(required=False)
    least = forms.IntegerField(required=False)

    def keeps(self, row, wanted):
        return (wanted.get("name") or "").lower() in row.name.lower()


PSI = 6894.757293168361
NOON = datetime(2026, 7, 1, 17, tzinfo=UTC)
ROWS = [
    Row("Annular", Measured("5000", "psi", 5000 * PSI), NOON, date(2027, 1, 2), "in-date"),
    Row("Blind ram", None, NOON, None, "overdue"),
    Row("=cmd()|' /C calc'!A0", Measured("689.5", "bar", 68.95e6), NOON, None, "due-soon"),
]
CHICAGO = {"units": "us", "zone": ZoneInfo("America/Chicago")}


def shown(address: str, rows=ROWS, **options):
    options = {"filter_class": NameFilter, "table_options": CHICAGO, **options}
    return listed(RequestFactory().get(address), rows, RowTable, **options)


def names(result) -> list[str]:
    return [row.get_cell("name") for row in result.table.paginated_rows]


def test_rows_are_narrowed_sorted_and_paged_by_the_address():
    many = [Row(f"Ram {number:03}", None, NOON, None, "in-date") for number in range(7)] + ROWS
    result = shown("/?name=ram&sort=-name&page=2", many, page_rows=5)
    assert result.count == 8
    assert names(result) == ["Ram 001", "Ram 000", "Blind ram"]


@pytest.mark.parametrize("address", ["/?sort=nothing", "/?page=99", "/?page=x", "/?least=x", "/?export=exe"])
def test_an_address_that_asks_for_nonsense_gets_a_list_all_the_same(address: str):
    result = shown(address)
    assert result.export is None
    assert len(names(result)) == 3


def test_quantities_are_written_in_the_reader_s_units_with_the_unit_in_the_head():
    result = shown("/")
    assert "psi" in result.table.columns["rated"].header
    assert [row.get_cell("rated") for row in result.table.rows][::2] == ["5,000", "10,000"]
    metric = shown("/", table_options={**CHICAGO, "units": "si"})
    assert "kPa" in metric.table.columns["rated"].header
    assert "psi" not in metric.table.columns["rated"].header


def test_moments_stand_on_the_rig_s_clock_with_the_zone():
    assert "12:00" in shown("/").table.rows[0].get_cell("at")
    assert "UTC−5" in shown("/").table.rows[0].get_cell("at")


def test_csv_holds_every_row_that_passes_and_no_formula():
    export = shown("/?export=csv&sort=name", page_rows=1).export
    assert export.headers["Content-Disposition"] == 'attachment; filename="list.csv"'
    rows = list(csv.reader(io.StringIO(export.content.decode("utf-8-sig"))))
    assert rows[0] == ["Name", "Rated pressure, psi", "Tested", "Expires", "State"]
    assert len(rows) == 4
    assert rows[1][0].startswith("'=cmd")
    assert rows[2] == ["Annular", "5000.0", "2026-07-01T12:00-05:00", "2027-01-02", "in-date"]


def test_xlsx_holds_numbers_and_days_as_such_and_formulas_as_text():
    sheet = load_workbook(io.BytesIO(shown("/?export=xlsx").export.content)).active
    rows = list(sheet.iter_rows(values_only=True))
    assert rows[1][1] == 5000
    assert rows[1][3].strftime("%Y-%m-%d") == "2027-01-02"
    assert sheet.cell(4, 1).data_type == "s"


def test_control_characters_do_not_break_a_workbook():
    bad = [Row("Ram\x0b\x01", None, NOON, None, "in-date")]
    assert shown("/?export=xlsx", bad).export.status_code == 200
