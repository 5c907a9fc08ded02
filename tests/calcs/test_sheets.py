"""Cells of sheets: nothing a spreadsheet runs, nothing lost on the way back, nothing that can be read two ways."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.sheet_cells import as_written, moment_cell, plain, read_amount, read_day, read_moment, written
from calcs.sheets import Column, Holds, SheetForm
from calcs.units import Dimension

CHICAGO = ZoneInfo("America/Chicago")
FORM = SheetForm(
    (Column("serial", "Serial", required=True), Column("rwp", "RWP", Holds.AMOUNT, dimension=Dimension.PRESSURE))
)


@settings(max_examples=80, deadline=None)
@given(st.text(alphabet="'=+-@\t\rab1 ", max_size=8))
def test_a_cell_runs_nowhere_and_comes_back_as_it_was(text: str):
    cell = written(text)
    # What spreadsheets take for a formula: OWASP, "CSV Injection".
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert as_written(cell) == text


@settings(max_examples=60, deadline=None)
@given(st.integers(946_684_800, 2_208_988_800), st.sampled_from(["America/Chicago", "Asia/Kolkata"]))
def test_a_moment_comes_back_on_any_clock_even_the_hour_that_comes_twice(seconds: int, zone: str):
    moment = datetime.fromtimestamp(seconds, UTC)
    assert read_moment(moment_cell(moment, ZoneInfo(zone)), CHICAGO, field="at") == moment


def test_a_time_without_offset_is_on_the_rigs_clock():
    assert read_moment("2026-07-01 12:00", CHICAGO, field="at") == datetime(2026, 7, 1, 17, tzinfo=UTC)


@pytest.mark.parametrize("wall", ["2026-11-01 01:30", "2026-03-08 02:30"])
def test_a_clock_time_that_comes_twice_or_never_is_asked_for_with_its_offset(wall: str):
    # In the United States clocks change on the first Sunday of November and the second of March: 15 U.S.C. 260a.
    with pytest.raises(InputError, match="offset"):
        read_moment(wall, CHICAGO, field="at")


@pytest.mark.parametrize("cell", ["03/04/2026", "4.3.2026", "2026-02-30", "45000", "2026-03-31 10:00"])
def test_a_day_that_can_be_read_two_ways_is_none(cell: str):
    with pytest.raises(InputError, match="2026-03-31"):
        read_day(cell, field="day")


@pytest.mark.parametrize(
    ("number", "unit", "why"),
    [("10000", "", "no unit"), ("", "psi", "no number"), ("10,000", "psi", "two ways"), ("1e4", "psi", "not a number"),
     ("5", "ft", "ft"), ("-5", "psi", "not a number")],
)  # fmt: skip
def test_a_quantity_is_a_plain_number_with_a_unit_of_its_kind(number: str, unit: str, why: str):
    with pytest.raises(InputError, match=why) as refused:
        read_amount(number, unit, Dimension.PRESSURE, field="rwp")
    assert refused.value.field == "rwp"


def test_zeros_a_spreadsheet_drops_change_nothing_and_another_unit_does():
    on_file = {"serial": "A", "rwp": read_amount("10000.50", "psi", Dimension.PRESSURE, field="rwp")}
    same = FORM.read({"Serial": "A", "RWP": "10000.5", "RWP, unit": "psi"}, CHICAGO)
    other = FORM.read({"Serial": "A", "RWP": "10000.5", "RWP, unit": "kPa"}, CHICAGO)
    assert list(FORM.differing(same, on_file, CHICAGO)) == []
    ((column, new, old),) = FORM.differing(other, on_file, CHICAGO)
    assert (column.key, new, old) == ("rwp", "10000.5 kPa", "10000.50 psi")


def test_a_column_the_file_does_not_have_is_not_compared():
    on_file = {"serial": "A", "rwp": read_amount("10", "psi", Dimension.PRESSURE, field="rwp")}
    assert list(FORM.differing(FORM.read({"Serial": "A"}, CHICAGO), on_file, CHICAGO)) == []


@pytest.mark.parametrize(
    ("heads", "why"),
    [
        (["RWP", "RWP, unit"], "“Serial” is missing"),
        (["Serial", "RWP"], "“RWP, unit” is missing"),
        (["Serial", "Colour"], "“Colour” is not known"),
        (["Serial", "Serial"], "twice"),
    ],
)
def test_heads_are_all_there_and_all_known(heads: list[str], why: str):
    with pytest.raises(InputError, match=why):
        FORM.check_heads(heads)


def test_texts_are_kept_as_every_kind_of_file_can_hold_them():
    assert plain(" a\r\nb\x07 ") == "a\nb"
    assert moment_cell(datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=1), CHICAGO).endswith("18:00:01-06:00")
