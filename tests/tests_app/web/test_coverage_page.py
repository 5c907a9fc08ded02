"""The coverage page: what was never proved stands out, and the list narrows, sorts and is exported as every other."""

import pytest
from django.test import Client
from django.urls import reverse

from tests.builders_tests_app import World, a_sealed_record


@pytest.fixture
def address(world: World) -> str:
    a_sealed_record(world)
    return reverse("tests_app:stack-coverage", args=[world.stack.pk])


def test_each_side_names_the_test_and_step_that_proved_it_or_that_none_did(web: Client, address: str):
    page = web.get(address).content.decode()
    assert "Upper pipe ram" in page
    assert "step 1" in page
    assert "10,000" in page
    assert "Never proved here" in page


def test_the_list_narrows_to_what_was_proved(web: Client, address: str):
    found = web.get(address, {"state": "proved"}).context["table"]
    assert [row.record.covered.position.name for row in found.rows] == ["Upper pipe ram"]


def test_what_was_never_proved_was_not_proved_before_a_day_either(web: Client, address: str):
    found = web.get(address, {"before": "2020-01-01"}).context["table"]
    assert {row.record.key for row in found.rows} <= {"never", "unasked"}


def test_the_export_holds_every_row_with_the_pressure_as_a_number(web: Client, address: str):
    lines = web.get(address, {"export": "csv", "state": "proved"}).content.decode("utf-8-sig").splitlines()
    assert lines[0].startswith("State,Barrier,Pressure,Asked,")
    assert len(lines) == 2
    assert ",10000.0," in lines[1]
