"""Bringing in files of rows: tried out without a trace, then all or nothing, lossless in both directions."""

import csv
import io
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction
from openpyxl import Workbook, load_workbook

from accounts.models import User
from equipment import files
from equipment.actions import components, installations
from equipment.errors import NotAllowed, Refused
from equipment.models import Component, CrewRole, Installation, Rig, Stack
from tests import builders
from tests.builders import DAY, LONG_AGO
from tests.kept import Keep
from tests_app.actions import bringing_in, brought_tests
from tests_app.actions.obligations import reconciling_once
from tests_app.documents.sheet_files import MOST_ROWS
from tests_app.documents.sheet_forms import FORMS, export_sheet, template_sheet
from tests_app.models import BroughtFile, BroughtTest, FileState, SheetKind
from tests_app.queries import brought
from tests_app.queries.brought import Result, counts_of
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db
HOUR, A_DAY = timedelta(hours=1), timedelta(days=1)
COMPONENTS, INSTALLATIONS, TESTS = SheetKind.COMPONENTS, SheetKind.INSTALLATIONS, SheetKind.TESTS
PLACES = (("Upper pipe ram", "pipe-ram", "bore", ""), ("Annular", "annular", "bore", ""))
RAM = {
    "Kind": "Pipe ram",
    "Serial number": "PR-1",
    "Rated working pressure": "10000.50",
    "Rated working pressure, unit": "psi",
}
STAY = {"Stack": "Main", "Position": "Upper pipe ram", "Kind": "pipe-ram", "Serial number": "PR-1"}
PAST = {
    "Test": "Pressure test", "Kind": "Pipe ram", "Serial number": "PR-1", "Pressure from": "From below",
    "Began at": "2026-02-20 06:00", "Over at": "2026-02-20 06:45", "Passed": "yes",
    "High pressure held": "10050", "High pressure held, unit": "psi",
    "Tested by": "Rolf Anders, Northfield Well Services", "Certificate": "PT-0147",
}  # fmt: skip


def a_yard(name: str) -> tuple[Rig, Stack, User]:
    """A rig without components, with a stack of two places."""
    rig = builders.a_rig(name)
    stack = builders.a_stack(rig, positions=PLACES)
    stack.name = "Main"
    stack.save()
    return rig, stack, builders.a_person(rig=rig)


@pytest.fixture(scope="module")
def yards(keep: Keep) -> tuple[tuple[Rig, Stack, User], tuple[Rig, Stack, User]]:
    return keep(lambda: (a_yard("Old rig"), a_yard("New rig")))


@pytest.fixture
def rig(yards: Any, db: None) -> Rig:
    return Rig.objects.get(pk=yards[0][0].pk)


@pytest.fixture
def person(yards: Any, db: None) -> User:
    return User.objects.get(pk=yards[0][2].pk)


def sheet_of(*rows: dict[str, str]) -> bytes:
    heads = list(dict.fromkeys(head for row in rows for head in row))
    out = io.StringIO()
    writer = csv.DictWriter(out, heads)
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def given(rig: Rig, person: User, sheet: str, *rows: dict[str, str]) -> BroughtFile:
    return tried(rig, person, sheet, sheet_of(*rows))


def tried(rig: Rig, person: User, sheet: str, content: bytes) -> BroughtFile:
    file = bringing_in.receive_file(rig, sheet=sheet, name=f"{sheet}.csv", content=content, by=person, at=DAY)
    return bringing_in.try_out(file, by=person, at=DAY)


def brought_in(file: BroughtFile, person: User) -> BroughtFile:
    return bringing_in.bring_in(bringing_in.confirm_file(file, by=person, at=DAY), by=person, at=DAY)


def refusal(file: BroughtFile) -> dict[str, Any]:
    (row,) = (one for one in file.results if one["result"] == Result.REFUSED)
    return row


def test_trying_out_tells_of_each_row_and_leaves_no_trace(rig: Rig, person: User):
    builders.a_component(rig, serial="PR-9", rwp="5000 psi")
    before = TrailEntry.objects.filter(event="component.registered").count()
    file = given(
        rig, person, COMPONENTS, RAM, {**RAM, "Serial number": "PR-9"}, {"Kind": "Pipe ram", "Serial number": "PR-9"}
    )
    assert [one["result"] for one in file.results] == ["add", "refused", "refused"]
    first = file.results[1]
    assert (first["row"], first["field"]) == (3, "Rated working pressure")
    assert "5000 psi, not 10000.50 psi" in first["reason"]
    assert "own page" in first["remedy"]
    assert not Component.objects.filter(serial="PR-1").exists()
    assert TrailEntry.objects.filter(event="component.registered").count() == before


def test_a_file_with_a_refused_row_comes_in_not_at_all_and_stays_on_file(rig: Rig, person: User):
    content = sheet_of(RAM, {**RAM, "Serial number": "PR-2", "Rated working pressure": "10000000"})
    file = tried(rig, person, COMPONENTS, content)
    assert counts_of(file) == {"add": 1, "same": 0, "refused": 1}
    with pytest.raises(Refused, match="all or nothing"):
        bringing_in.confirm_file(file, by=person, at=DAY)
    assert not rig.components.exists()
    assert files.fetch(file.sha256) == content


def test_what_changed_since_the_trial_gives_up_the_whole_file(rig: Rig, person: User):
    file = given(rig, person, COMPONENTS, {**RAM, "Serial number": "PR-0"}, RAM)
    bringing_in.confirm_file(file, by=person, at=DAY)
    builders.a_component(rig, serial="PR-1", rwp="5000 psi")
    after = bringing_in.bring_in(file, by=person, at=DAY)
    assert (after.state, refusal(after)["field"]) == (FileState.TRIED, "Rated working pressure")
    assert [one.serial for one in rig.components.all()] == ["PR-1"]


def test_every_row_has_its_own_entry_in_the_trail_and_the_file_one(rig: Rig, person: User):
    file = brought_in(given(rig, person, COMPONENTS, RAM, {**RAM, "Serial number": "PR-2"}), person)
    assert file.state == FileState.BROUGHT_IN
    entries = TrailEntry.objects.filter(rig_number=rig.pk, actor=person)
    assert entries.filter(event="component.registered").count() == 2
    assert entries.get(event="brought-file.brought-in").after["sha256"] == file.sha256
    assert str(rig.components.get(serial="PR-1").rated_working_pressure) == "10,000.50 psi"


def test_a_file_is_brought_in_once_however_often_it_is_run(rig: Rig, person: User):
    file = brought_in(given(rig, person, COMPONENTS, RAM), person)
    assert bringing_in.bring_in(file, by=person, at=DAY).state == FileState.BROUGHT_IN
    assert rig.components.count() == 1
    for act in (bringing_in.confirm_file, bringing_in.try_again, bringing_in.set_aside_file):
        with pytest.raises(Refused):
            act(file, by=person, at=DAY)


def a_full_rig(rig: Rig, stack: Stack, person: User) -> None:
    """Components with every kind of awkward text, one retired after a stay, one standing; tests of both outcomes."""
    upper = stack.positions.get(name="Upper pipe ram")
    with reconciling_once():
        gone = builders.a_component(
            rig, serial="=1+1", maker="'@x", remarks='Two\nlines, "quoted"; -5', rwp="690.0 bar"
        )
        installations.record_stay(
            gone, upper, installed_at=LONG_AGO, removed_at=DAY - 90 * A_DAY, reason="Worn", by=person, at=DAY
        )
        components.retire_component(gone, reason="+Worn", retired_at=DAY - 80 * A_DAY, by=person, at=DAY)
        here = builders.a_component(
            rig, serial="'PR 2", nominal_bore="13.6250 in", closing_ratio=Decimal("7.10"), closes_on_smallest="5 in",
            closes_on_largest="5.5 in", closing_volume="12.50 gal", temperature_class="−18 °C to 121 °C",
        )  # fmt: skip
        builders.an_installation(upper, here, installed_at=DAY - 60 * A_DAY + timedelta(seconds=7))
        for hours, passed in ((30, True), (20, False)):
            over = DAY - hours * HOUR
            brought_tests.bring_in_test(
                here, what="pressure-test", pressure_from="below", started_at=over - HOUR, concluded_at=over,
                passed=passed, high_pressure="10050.0 psi", low_pressure="1.80 MPa", tested_by="-R. Anders",
                certificate_number=f"PT-{hours}", by=person, at=DAY,
            )  # fmt: skip


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_rig_given_out_and_brought_in_elsewhere_is_the_same_and_a_second_time_changes_nothing(yards: Any, kind: str):
    (old, stack, _), (new, _, person) = yards
    a_full_rig(old, stack, person)
    for sheet in SheetKind.values:
        out = export_sheet(old, sheet, kind)
        file = tried(new, person, sheet, out)
        assert [one for one in file.results if one["result"] != Result.ADD] == []
        assert brought_in(file, person).state == FileState.BROUGHT_IN
        assert cells_of(export_sheet(new, sheet, kind), kind) == cells_of(out, kind)
        assert {one["result"] for one in tried(new, person, sheet, out).results} == {Result.SAME}
    moved = new.components.get(serial="=1+1")
    assert (moved.maker, moved.remarks) == ("'@x", 'Two\nlines, "quoted"; -5')
    assert Installation.objects.filter(position__stack__rig=new).count() == 2


def cells_of(content: bytes, kind: str) -> list[list[Any]]:
    if kind == "csv":
        return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))
    sheet = load_workbook(io.BytesIO(content)).worksheets[0]
    assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)
    return [[cell.value for cell in row] for row in sheet.iter_rows()]


def test_no_cell_given_out_is_a_formula(yards: Any):
    rig, stack, person = yards[0]
    a_full_rig(rig, stack, person)
    cells = [
        cell for sheet in SheetKind.values for row in cells_of(export_sheet(rig, sheet, "csv"), "csv") for cell in row
    ]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
    assert "'=1+1" in cells


def test_what_a_spreadsheet_makes_of_numbers_and_days_is_read(rig: Rig, person: User):
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.append(
        ["Kind", "Serial number", "Nominal bore", "Nominal bore, unit", "Manufactured on", "Seals with no pipe"]
    )
    sheet.append(["annular", 4471, 13.625, "in", DAY.replace(tzinfo=None, hour=0, minute=0) - 400 * A_DAY, True])
    sheet.append([])
    out = io.BytesIO()
    book.save(out)
    brought_in(tried(rig, person, COMPONENTS, out.getvalue()), person)
    (found,) = rig.components.all()
    assert (found.serial, str(found.nominal_bore), found.closes_on_open_hole) == ("4471", "13.625 in", True)
    assert found.manufactured_on == (DAY - 400 * A_DAY).date()


def test_a_formula_is_refused_with_its_cell(rig: Rig, person: User):
    book = Workbook()
    book.worksheets[0].append(["Kind", "Serial number"])
    book.worksheets[0].append(["annular", "=1+1"])
    out = io.BytesIO()
    book.save(out)
    with pytest.raises(Refused, match="Cell B2 holds a formula"):
        tried(rig, person, COMPONENTS, out.getvalue())


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "is empty"),
        (b"Kind,Serial number\n", "no row"),
        (b"Kind,Colour\nannular,red\n", "“Colour” is not known"),
        (b"Kind,Maker\nannular,x\n", "“Serial number” is missing"),
        (b"Kind,Serial number\nannular,A,B\n", "Row 2 has 3 cells"),
        (b'Kind,Serial number\nannular,"A\n', "near line"),
        (b"PK\x03\x04 broken", "can't be read as XLSX"),
        (b"\x00\x01\x02", "neither CSV nor XLSX"),
        (b"Kind,Serial number\n" + b"annular,A\n" * (MOST_ROWS + 1), "more than 1,000 rows"),
        (b"x" * 5_000_001, "larger than 5 MB"),
    ],
)
def test_what_is_no_sheet_or_too_large_a_one_is_refused_whole(rig: Rig, person: User, content: bytes, why: str):
    with pytest.raises(Refused, match=why) as refused:
        tried(rig, person, COMPONENTS, content)
    assert refused.value.remedy
    assert not BroughtFile.objects.exists()


@pytest.mark.parametrize(
    ("sheet", "row", "field", "why"),
    [
        (COMPONENTS, {"Kind": "Rocket", "Serial number": "A"}, "Kind", "none of the words known"),
        (COMPONENTS, {"Kind": "Annular preventer", "Serial number": " "}, "Serial number", "is empty"),
        (COMPONENTS, {**RAM, "Rated working pressure, unit": ""}, "Rated working pressure", "no unit"),
        (COMPONENTS, {**RAM, "Manufactured on": "2031-01-01"}, "Manufactured on", "in the future"),
        (COMPONENTS, {**RAM, "Retired at": "2026-01-01 10:00"}, "Why retired", "reason is missing"),
        (INSTALLATIONS, {**STAY, "Stack": "Other", "Installed at": "2026-01-01 10:00"}, "Stack", "no stack named"),
        (INSTALLATIONS, {**STAY, "Position": "Top", "Installed at": "2026-01-01 10:00"}, "Position", "no position"),
        (INSTALLATIONS, {**STAY, "Installed at": "2026-01-01 10:00"}, "Serial number", "Bring in the components first"),
        (TESTS, PAST, "Serial number", "on file"),
    ],
)  # fmt: skip
def test_a_refused_row_names_its_column_the_reason_and_what_to_do(
    rig: Rig, person: User, sheet: str, row: dict[str, str], field: str, why: str
):
    told = refusal(given(rig, person, sheet, row))
    assert told["field"] == field
    assert why in f"{told['reason']} {told['remedy']}"
    assert told["remedy"]


def test_installations_of_one_file_are_held_against_each_other(rig: Rig, person: User):
    brought_in(given(rig, person, COMPONENTS, RAM, {**RAM, "Serial number": "PR-2"}), person)
    first = {**STAY, "Installed at": "2026-01-01 10:00", "Removed at": "2026-01-20 10:00", "Why removed": "Worn"}
    second = {**first, "Serial number": "PR-2", "Installed at": "2026-01-10 10:00"}
    told = refusal(given(rig, person, INSTALLATIONS, first, second))
    assert (told["row"], told["field"]) == (3, "Installed at")
    later = {**second, "Installed at": "2026-01-20 10:00", "Removed at": "", "Why removed": ""}
    assert brought_in(given(rig, person, INSTALLATIONS, first, later), person).state == FileState.BROUGHT_IN


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"Over at": "2026-02-20 05:00"}, "Over at"),
        ({"Over at": "2036-02-20 05:00"}, "Over at"),
        ({"Pressure from": ""}, "Pressure from"),
        ({"High pressure held": "", "High pressure held, unit": ""}, "High pressure held"),
        ({"High pressure held": "1050000"}, "High pressure held"),
        ({"Test": "Function test"}, "Pressure from"),
        ({"Tested by": ""}, "Tested by"),
        ({"Certificate": ""}, "Certificate"),
        ({"Passed": "perhaps"}, "Passed"),
    ],
)
def test_a_past_test_that_cannot_have_been_is_refused(rig: Rig, person: User, change: dict[str, str], field: str):
    brought_in(given(rig, person, COMPONENTS, RAM), person)
    assert refusal(given(rig, person, TESTS, {**PAST, **change}))["field"] == field


def test_the_template_is_a_form_a_row_can_be_written_into(rig: Rig, person: User):
    for sheet in SheetKind.values:
        (heads,) = cells_of(template_sheet(sheet, "csv"), "csv")
        assert heads == FORMS[sheet].heads
        with pytest.raises(Refused, match="no row"):
            tried(rig, person, sheet, template_sheet(sheet, "xlsx"))


@pytest.mark.parametrize("role", [CrewRole.TESTER, CrewRole.AUDITOR])
def test_who_may_not_enter_the_rows_by_hand_may_not_bring_them_in(rig: Rig, person: User, role: str):
    file = given(rig, person, COMPONENTS, RAM)
    other = builders.a_person(rig=rig, role=role)
    assert brought.file_for(other, file.pk) == file
    with pytest.raises(NotAllowed):
        brought.file_for(other, file.pk, to_act=True)


@pytest.mark.parametrize("model", [BroughtFile, BroughtTest])
def test_the_database_keeps_what_was_brought_in_as_it_came(rig: Rig, person: User, model: Any):
    brought_in(given(rig, person, COMPONENTS, RAM), person)
    brought_in(given(rig, person, TESTS, PAST), person)
    changed = {"sha256": "0"} if model is BroughtFile else {"passed": False}
    for act in (lambda rows: rows.update(**changed), lambda rows: rows.delete()):
        with pytest.raises(DatabaseError), transaction.atomic():
            act(model.objects.filter(rig=rig, pk=model.objects.first().pk))


def test_the_command_tells_of_each_row_and_brings_in_only_what_is_confirmed(rig: Rig, person: User, tmp_path: Path):
    path = tmp_path / "rows.csv"
    path.write_bytes(sheet_of(RAM))
    told = io.StringIO()
    asked = ["bring_in", COMPONENTS, str(path), "--rig", rig.name, "--by", person.username]
    call_command(*asked, stdout=told)
    assert "Row 2, Pipe ram PR-1" in told.getvalue()
    assert not rig.components.exists()
    call_command(*asked, "--confirm", stdout=told)
    assert rig.components.get().serial == "PR-1"
    with pytest.raises(CommandError, match="on file already"):
        call_command(*asked, "--confirm", stdout=told)


def test_the_command_asks_for_the_right_to_bring_in(rig: Rig, person: User, tmp_path: Path):
    path = tmp_path / "rows.csv"
    path.write_bytes(sheet_of(RAM))
    tester = builders.a_person(rig=rig, role=CrewRole.TESTER)
    for by, why in ((tester.username, "does not allow"), ("nobody", "no person")):
        with pytest.raises(CommandError, match=why):
            call_command("bring_in", COMPONENTS, str(path), "--rig", rig.name, "--by", by)
