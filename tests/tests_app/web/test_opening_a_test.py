"""Opening a test: what is filled in, what is pointed out, what is refused with nothing lost."""

from datetime import timedelta
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from equipment.actions import wells
from tests import builders
from tests.builders import DAY
from tests.builders_tests_app import STARTED, World, a_draft, a_sealed_record
from tests_app.actions import pressure_tests
from tests_app.models import Record
from tests_app.web.entry import Visit
from tests_app.web.heading_form import HeadingForm
from tests_app.web.headings import offer_for


def new_address(world: World) -> str:
    return reverse("tests_app:pressure-test-new", args=[world.rig.pk])


def typed(world: World, **changes: object) -> dict[str, object]:
    """What a tester types for a usual test."""
    return {
        "stack": world.stack.pk,
        "section": world.section.pk,
        "reason": "interval",
        "started_at": "2026-03-02T06:00",
        "fluid": "water",
        "barrier": "plug",
        "pipe_in_hole_number": "5",
        "pipe_in_hole_unit": "in",
        "control_station": "remote",
        "pump_operator": "Jo Reed",
        "plan_reference": "TP-7",
        "instruments": [world.recorder.pk],
        "remarks": "Calm sea",
        **changes,
    }


def test_a_test_is_opened_with_what_was_typed(web: Client, world: World):
    answer = web.post(new_address(world), typed(world))
    record = Record.objects.get()
    assert answer.status_code == 302
    assert answer["Location"] == reverse("tests_app:record", args=[record.pk])
    assert record.started_at == STARTED
    test = record.pressure_test
    assert (test.control_station, test.pump_operator, str(test.pipe_in_hole)) == ("remote", "Jo Reed", "5 in")
    assert [use.instrument for use in record.instrument_uses.all()] == [world.recorder]


def test_the_next_test_is_filled_in_from_the_last_and_takes_the_other_station(web: Client, world: World):
    a_sealed_record(world)
    page = web.get(new_address(world)).content.decode()
    assert '<option value="remote" selected>' in page
    assert 'data-repeat-of="drill-floor"' in page
    assert "Filled in from test 1" in page


def test_the_instruments_say_how_their_calibration_stands(web: Client, world: World):
    builders.an_instrument(world.rig, serial="OLD-1", calibration_due_on=builders.DAY.date().replace(month=2, day=1))
    page = web.get(new_address(world)).content.decode()
    assert "calibrated until 1 Feb 2026, expired 29 days ago" in page


@pytest.mark.parametrize(
    ("field", "given", "said"),
    [
        ("started_at", "yesterday", "not a date and time"),
        ("started_at", "2026-03-02T23:00", "begins in the future"),
        ("started_at", "2026-03-08T02:30", "never came"),
        ("pipe_in_hole_number", "five", "is not a number"),
        ("pipe_in_hole_number", "NaN", "is not a number"),
        ("section", "", "Choose the hole section"),
        ("control_station", "moon", "Select a valid choice"),
        ("stack", "999999", "Select a valid choice"),
        ("instruments", ["999999"], "Select a valid choice"),
    ],
)
def test_a_refusal_stands_on_the_page_with_all_that_was_typed(
    web: Client, world: World, field: str, given: object, said: str
):
    answer = web.post(new_address(world), typed(world, **{field: given}))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert "Jo Reed" in page
    assert "Calm sea" in page
    assert not Record.objects.exists()


def test_a_form_sent_twice_opens_one_test(web: Client, world: World):
    sent = typed(world, once="0123456789abcdef")
    first, second = web.post(new_address(world), sent), web.post(new_address(world), sent)
    assert Record.objects.count() == 1
    assert first["Location"] == second["Location"]


def test_a_refused_form_may_be_sent_again_with_the_same_word(web: Client, world: World):
    web.post(new_address(world), typed(world, once="0123456789abcdef", started_at=""))
    web.post(new_address(world), typed(world, once="0123456789abcdef"))
    assert Record.objects.count() == 1


def test_a_surface_stack_is_asked_for_no_pod(web: Client, world: World):
    assert 'name="pod"' not in web.get(new_address(world)).content.decode()


def test_a_pod_of_a_surface_stack_is_refused_where_the_rig_has_both(web: Client, world: World):
    builders.a_filled_stack(world.rig, "subsea")
    answer = web.post(new_address(world), typed(world, pod="blue"))
    assert answer.status_code == 422
    assert "Only a subsea stack has pods" in answer.content.decode()


def heading_address(record: Record) -> str:
    return reverse("tests_app:record-heading", args=[record.pk])


def test_the_heading_of_a_draft_is_changed(web: Client, world: World):
    record = a_draft(world)
    answer = web.post(heading_address(record), typed(world, version=record.version, reason="after-repair"))
    record.pressure_test.refresh_from_db()
    assert answer.status_code == 302
    assert record.pressure_test.reason == "after-repair"


def test_a_stale_heading_is_answered_409_with_who_changed_it_and_what_was_typed(web: Client, world: World):
    record = a_draft(world)
    seen = record.version
    other = builders.a_person("Mia Lund", rig=world.rig)
    offer_heading = a_heading_of(record)
    pressure_tests.amend_heading(
        record,
        section=world.section,
        heading=offer_heading,
        instruments=[world.recorder],
        version=seen,
        by=other,
        at=STARTED,
    )
    answer = web.post(heading_address(record), typed(world, version=seen, remarks="My own words"))
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Mia Lund" in page
    assert "My own words" in page
    again = web.post(heading_address(record), typed(world, version=Record.objects.get().version))
    assert again.status_code == 302


def a_heading_of(record: Record) -> pressure_tests.Heading:
    test = record.pressure_test
    return pressure_tests.Heading(
        started_at=record.started_at, reason="interval", fluid=test.fluid, barrier=test.barrier, remarks="Hers"
    )


def test_a_sealed_record_has_no_heading_to_change(web: Client, world: World):
    record = a_sealed_record(world)
    answer = web.post(heading_address(record), typed(world, version=record.version))
    assert answer.status_code == 409
    assert "nothing of this was saved" in answer.content.decode()
    assert "Jo Reed" in answer.content.decode()


def test_the_number_of_queries_does_not_grow_with_the_instruments(
    web: Client, world: World, django_assert_max_num_queries: DjangoAssertNumQueries
):
    with django_assert_max_num_queries(20) as few:
        web.get(new_address(world))
    for _ in range(20):
        builders.an_instrument(world.rig)
    with django_assert_max_num_queries(len(few)):
        web.get(new_address(world))


def test_the_offer_leaves_retired_instruments_out(world: World):
    world.recorder.retired_on = builders.DAY.date()
    world.recorder.save()
    visit = Visit(world.supervisor, world.rig, frozenset(), timezone.now())
    assert HeadingForm(offer=offer_for(visit, world.rig)).offer.instruments == []


def test_the_section_being_drilled_is_proposed_whatever_the_last_test_was_made_for(web: Client, world: World):
    a_sealed_record(world)
    wells.amend_section(world.section, begins_at=DAY - timedelta(days=40), by=world.supervisor, at=DAY)
    drilled = builders.a_section(world.section.well, begins_at=DAY - timedelta(days=1), at=DAY)
    page = web.get(new_address(world))
    assert page.context["form"].initial["section"] == drilled.pk
    said = unescape(page.content.decode())
    assert f"{drilled} (being drilled)" in said
    assert f"{world.section} (finished)" in said
