"""The front page of a rig: what is due, in which order, why, and how it is narrowed and taken along."""

import re
from datetime import timedelta

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from equipment.models import StackKind
from tests import builders
from tests.builders_tests_app import STARTED, World, a_draft, a_sealed_record, a_step, leaking
from tests_app.queries.due_list import due_list
from tests_app.web.front import summary_of


def front(web: Client, world: World, **query: str) -> HttpResponse:
    return web.get(reverse("tests_app:rig", args=[world.rig.pk]), query)


def said(answer: HttpResponse) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_the_rig_is_summed_up_in_a_sentence(web: Client, world: World):
    a_sealed_record(world)
    assert re.search(r"\d+ were never tested and 1 is in date\.", said(front(web, world)))


def test_a_rig_in_date_says_that_nothing_is_overdue(world: World):
    a_sealed_record(world)
    items = [item for item in due_list(world.rig, at=STARTED + timedelta(hours=4)) if item.state == "in-date"]
    assert summary_of(items) == "Nothing is overdue and 1 is in date."


def test_a_row_gives_both_dates_its_clause_and_why(web: Client, world: World):
    record = a_sealed_record(world)
    page = said(front(web, world, text="Upper pipe ram"))
    assert "midnight at the end of 16 Mar 2026, UTC−5" in page
    assert "better before 16 Mar 2026, 10:00 UTC−5" in page
    assert "30 CFR 250.737(a)(2)" in page
    assert "Last passing test concluded" in page
    assert reverse("tests_app:record", args=[record.pk]) in front(web, world).content.decode()


def test_a_failed_test_stands_before_what_was_put_in_lately(web: Client, world: World):
    a_sealed_record(world, curve=leaking())
    fresh = world.at("Annular").installations.get()
    fresh.installed_at = STARTED
    fresh.save()
    rows = said(front(web, world)).partition("Begin the next before")[2]
    assert rows.index("Last test not passed Upper pipe ram") < rows.index("Annular preventer")


def test_tests_in_progress_are_led_to(web: Client, world: World):
    draft = a_draft(world)
    a_step(draft, world, "Upper pipe ram")
    page = front(web, world).content.decode()
    assert "Tests in progress" in page
    assert reverse("tests_app:record", args=[draft.pk]) in page
    assert "Test in progress" in page


@pytest.mark.parametrize(
    ("query", "there", "not_there"),
    [
        ({"state": "in-date"}, "Upper pipe ram", "Lower pipe ram"),
        ({"group": "kill-side"}, "Inner kill valve", "Upper pipe ram"),
        ({"text": "choke"}, "Inner choke valve", "Upper pipe ram"),
        ({"state": "nonsense"}, "Upper pipe ram", "nothing like this"),
    ],
)
def test_the_list_is_narrowed_by_the_address(
    web: Client, world: World, query: dict[str, str], there: str, not_there: str
):
    a_sealed_record(world)
    page = said(front(web, world, **query))
    assert there in page
    assert not_there not in page


def test_the_list_is_sorted_by_the_address(web: Client, world: World):
    up, down = (said(front(web, world, sort=key)) for key in ("element", "-element"))
    assert up.index("Annular") < up.index("Upper pipe ram")
    assert down.index("Upper pipe ram") < down.index("Annular preventer")


def test_the_list_is_taken_along_as_csv(web: Client, world: World):
    a_sealed_record(world)
    answer = front(web, world, export="csv", text="Upper pipe")
    rows = answer.content.decode().splitlines()
    assert answer["Content-Disposition"].startswith("attachment")
    assert len(rows) == 2
    assert "2026-03-17T00:00-05:00" in rows[1]


def test_the_list_is_taken_along_as_a_workbook(web: Client, world: World):
    assert front(web, world, export="xlsx").content.startswith(b"PK")


def test_a_component_that_cannot_be_worked_out_is_shown_and_hides_no_other(web: Client, world: World):
    world.section.masp_margin_approval = "P-1"
    world.section.begins_at = STARTED - timedelta(days=1)
    world.section.save()
    component = world.at("Lower pipe ram").installations.get().component
    component.rated_working_pressure = None
    component.save()
    page = said(front(web, world))
    assert "Cannot be worked out Lower pipe ram" in page
    assert "Upper pipe ram" in page


def test_more_components_take_no_more_queries(
    web: Client, world: World, django_assert_max_num_queries: DjangoAssertNumQueries
):
    a_sealed_record(world)
    front(web, world)
    with django_assert_max_num_queries(30) as few:
        front(web, world)
    builders.a_filled_stack(world.rig, StackKind.SUBSEA)
    with django_assert_max_num_queries(len(few)):
        front(web, world)


def test_a_person_with_one_rig_goes_straight_to_it(web: Client, world: World):
    assert web.get("/")["Location"] == reverse("tests_app:rig", args=[world.rig.pk])


def test_a_person_with_several_rigs_sees_how_each_stands(web: Client, world: World):
    other = builders.a_rig("Rig Second")
    builders.a_crew_member(other, world.supervisor)
    page = said(web.get("/"))
    assert "Rig Second" in page
    assert "Nothing that has to be tested is installed on this rig yet." in page


def test_a_person_without_a_rig_is_told_whom_to_ask(db: None):
    client = Client()
    client.force_login(builders.a_person())
    assert "Whoever administers the rig" in said(client.get("/"))


def test_the_tests_of_a_rig_are_listed_and_narrowed(web: Client, world: World):
    a_sealed_record(world)
    draft = a_draft(world)
    address = reverse("tests_app:records", args=[world.rig.pk])
    both, drafts = said(web.get(address)), said(web.get(address, {"state": "draft"}))
    assert "Test 1" in both
    assert "Test 1 " not in drafts
    assert f"Test {draft.number}" in drafts
    assert "Signed, passed" in web.get(address, {"export": "csv"}).content.decode()


def test_more_tests_take_no_more_queries(
    web: Client, world: World, django_assert_max_num_queries: DjangoAssertNumQueries
):
    address = reverse("tests_app:records", args=[world.rig.pk])
    for _ in range(2):
        a_draft(world)
    with django_assert_max_num_queries(20) as few:
        web.get(address)
    for _ in range(10):
        a_draft(world)
    with django_assert_max_num_queries(len(few)):
        web.get(address)
