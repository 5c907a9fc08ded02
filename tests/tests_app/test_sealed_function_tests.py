"""Function tests signed: frozen in every row, checked in every column, printed from what was sealed."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, models, transaction

from equipment.errors import Refused
from tests.builders_functions import (
    a_function_draft,
    a_sealed_function_test,
    concluded,
    signed,
    with_controls,
    worked,
)
from tests.builders_tests_app import World, a_world
from tests.tests_app.test_sealed_bank_tests import REFUSED, found_by_its_columns
from tests.tests_app.test_sealed_rows import WAYS
from tests_app.documents import certificate
from tests_app.documents.function_sheet import function_sheet
from tests_app.models import FunctionLine, FunctionTest, Record
from tests_app.queries import verification

pytestmark = pytest.mark.django_db

RAMS = ("Upper pipe ram", "Lower pipe ram")
CHANGES: dict[type[models.Model], dict[str, Any]] = {
    FunctionTest: {"operator": "Somebody else"},
    FunctionLine: {"completed": False},
}
SLOW = {"closing_time": "36 s", "leak_seen": True, "leak_description": "Fitting weeping."}


def sealed(world: World, facts: dict[str, dict[str, Any]] | None = None) -> Record:
    return a_sealed_function_test(world, RAMS, facts, station=with_controls(world)["Drill floor station"])


def test_it_is_sealed_as_passed_or_not_and_its_seal_holds(world: World):
    record = sealed(world)
    assert record.passed is True
    assert verification.check_seal(record).holds
    other = sealed(a_world(), {RAMS[0]: SLOW})
    assert other.passed is False
    assert verification.check_seal(other).holds


def test_what_is_missing_is_refused_at_signing(world: World):
    record = worked(a_function_draft(world, *RAMS), world)  # from no station
    concluded(Record.objects.get(pk=record.pk), world)
    with pytest.raises(Refused, match="No station is named"):
        signed(record, world)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("model", CHANGES, ids=lambda model: model.__name__)
def test_no_row_of_it_changes(
    world: World, model: type[models.Model], way: Callable[[models.Model, dict[str, Any]], None]
):
    row = model._default_manager.filter(record=sealed(world)).first()
    before = model._default_manager.filter(pk=row.pk).values().get()
    with pytest.raises(REFUSED), transaction.atomic():
        way(row, dict(CHANGES[model]))
    assert model._default_manager.filter(pk=row.pk).values().get() == before


def test_no_line_is_added_and_none_moves_in(world: World):
    record = sealed(world)
    line = record.function_lines.first()
    line.pk, line.order = None, 9
    with pytest.raises(IntegrityError, match="a signed record never changes"), transaction.atomic():
        FunctionLine.objects.bulk_create([line])
    loose = a_function_draft(world, RAMS[0]).function_lines.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        FunctionLine.objects.filter(pk=loose.pk).update(record=record, order=9)


def test_any_column_changed_behind_the_guards_is_found(world: World):
    told = found_by_its_columns(sealed(world), FunctionTest, FunctionLine)
    assert [name for name, found in told.items() if not found] == []
    assert {"FunctionTest.confirmed", "FunctionLine.closing_time_si", "FunctionLine.verdict"} <= set(told)


def test_the_report_says_what_was_worked_from_where_and_how_long_it_took(world: World):
    sheet = function_sheet(json.loads(sealed(world, {RAMS[0]: {"closing_time": "9.2 s"}}).content))
    first = sheet.rows[0]
    assert (first.name, first.worked_from, first.closed_on) == (RAMS[0], "Drill floor station", "5 in pipe")
    assert (first.closing, first.closing_limit, first.opening_limit) == ("9.2", "30", "–")
    assert [row.word for row in sheet.asked] == ["Passed", "Passed", "In turn"]
    assert "30 CFR 250.735(a), by API Standard 53, 6.3" in {rule.clause for rule in sheet.rules}


def test_a_report_of_what_is_left_failed_is_headed_so_and_prints_the_defect(world: World):
    record = sealed(world, {RAMS[0]: SLOW})
    content = json.loads(record.content)
    assert certificate.title_of(content) == "Report of function test — not passed"
    sheet = function_sheet(content)
    assert sheet.reasons == (f"{RAMS[0]}, line 1: Closing took 36 s; the rule allows 30 s.",)
    assert any("Fitting weeping." in remark.text for remark in sheet.remarks)
    pdf = certificate.render(content, sha256=record.sha256, verify_address="https://rig.test/verify/")
    assert pdf.startswith(b"%PDF")
    assert certificate.number_of(content).endswith("-FT-000001")
