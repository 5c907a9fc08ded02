"""What a tester must not overlook stands open on the page, and one hold is said wherever it is said."""

from dataclasses import replace

import pytest
from django.test import Client
from django.urls import reverse

from tests.builders_tests_app import HIGH, World, a_draft, a_step, typed
from tests_app.models import Record

pytestmark = pytest.mark.django_db


@pytest.fixture
def draft(world: World) -> Record:
    world.section.masp = "8093.8 psi"
    world.section.masp_basis = "entered"
    world.section.masp_reason = "Well plan"
    world.section.save()
    return a_draft(world)


def page_of(web: Client, record: Record) -> str:
    return " ".join(web.get(reverse("tests_app:record", args=[record.pk])).content.decode().split())


def test_the_preview_says_what_lies_below_the_masp(web: Client, world: World, draft: Record):
    answer = web.get(reverse("tests_app:step-preview", args=[draft.pk]), {"element": str(world.at("Annular").pk)})
    assert "Annular: tested to 7,000 psi, below the MASP of 8,093.8 psi" in answer.content.decode()


def test_a_step_judged_by_readings_says_the_hold_it_was_judged_by(web: Client, world: World, draft: Record):
    step = a_step(draft, world, "Upper pipe ram")
    assert "each held <strong>3 min</strong> by a recorder in calibration, 5 min where" in page_of(web, draft)
    typed(step, world, high=replace(HIGH, start_pressure="10200 psi", end_pressure="10020 psi"))
    page = page_of(web, draft)
    assert "each held <strong>5 min</strong>." in page
    assert "3 min</strong>" not in page
    assert "two readings do not show that it settled" in page
    assert "10,200 psi was seen, over the lowest rating exposed" in page
