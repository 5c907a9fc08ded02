"""Pages of deferrals and of tests that are not safe to make now."""

import csv
import io
import re
from datetime import timedelta

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from equipment.models import CrewRole
from tests import builders
from tests.builders_tests_app import SIGNED, World, a_sealed_record
from tests.builders_work import a_deferral, a_postponement, key_of
from tests_app.models import Deferral, Postponement

DEFERRED = {
    "granted_at": "2026-03-02T09:30",
    "until": "2026-03-20T12:00",
    "approved_by": "Karin Voss, drilling superintendent",
    "reference": "DSP-014",
    "reason": "The test plug is on its way.",
}
STUCK = {"reason": "stuck-pipe", "made_at": "2026-03-02T09:30", "explanation": "Stuck at 3,100 m across the rams."}


def plain(answer: HttpResponse) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


@pytest.fixture
def ram(world: World) -> str:
    a_sealed_record(world)
    return key_of(world, "pressure-test", "Upper pipe ram")


def address(world: World, name: str, key: str) -> str:
    return f"{reverse(f'tests_app:{name}', args=[world.rig.pk])}?key={key}"


def test_a_deferral_is_granted_from_the_row_it_is_about(web, world, ram):
    page = plain(web.get(address(world, "deferral-new", ram)))
    assert "Defer: pressure test of Upper pipe ram" in page
    assert "midnight at the end of 16 Mar 2026" in page
    answer = web.post(address(world, "deferral-new", ram), DEFERRED)
    row = Deferral.objects.get()
    assert answer["Location"] == reverse("tests_app:deferral", args=[row.pk])
    shown = plain(web.get(answer["Location"]))
    for words in ("In force", "Karin Voss, drilling superintendent", "17 Mar 2026", "The test plug is on its way."):
        assert words in shown


def test_a_refused_deferral_says_it_beside_the_field_and_keeps_what_was_typed(web, world, ram):
    refused = web.post(address(world, "deferral-new", ram), {**DEFERRED, "until": "2026-03-10T12:00"})
    assert refused.status_code == 422
    assert "It is not due before midnight at the end of 16 Mar 2026" in str(refused.context["form"].errors["until"])
    assert "The test plug is on its way." in refused.content.decode()
    assert not Deferral.objects.exists()


def test_a_deferral_is_withdrawn_on_its_page(web, world, ram):
    web.post(address(world, "deferral-new", ram), DEFERRED)
    row = Deferral.objects.get()
    where = reverse("tests_app:deferral-withdraw", args=[row.pk])
    assert web.post(where, {"reason": ""}).status_code == 422
    assert "Withdrawn." in plain(web.post(where, {"reason": "The plug came."}, follow=True))


def test_a_test_not_safe_to_make_is_noted_called_for_and_ended(web, world, ram):
    page = plain(web.get(address(world, "postponement-new", ram)))
    assert "Not safe to test now: Upper pipe ram" in page
    assert "30 CFR 250.738(c)" in page
    refused = web.post(address(world, "postponement-new", ram), {**STUCK, "reason": "weather"})
    assert refused.status_code == 422
    web.post(address(world, "postponement-new", ram), STUCK)
    row = Postponement.objects.get()
    own = reverse("tests_app:postponement", args=[row.pk])
    assert "on the first trip out" in plain(web.get(own))

    early = web.post(reverse("tests_app:postponement-call", args=[row.pk]), {"call-called_at": "2026-03-01T09:30"})
    assert early.status_code == 422
    web.post(reverse("tests_app:postponement-call", args=[row.pk]), {"call-called_at": "2026-03-02T09:45"})
    assert "Called for" in plain(web.get(own))
    ended = {"end-ended_at": "2026-03-02T10:00", "end-reason": "Pipe freed and test made."}
    assert "Pipe freed and test made." in plain(
        web.post(reverse("tests_app:postponement-end", args=[row.pk]), ended, follow=True)
    )


def test_where_the_rules_let_no_test_wait_the_page_says_so_and_offers_no_form(web, world):
    overhaul = key_of(world, "overhaul", "Annular")
    page = plain(web.get(address(world, "postponement-new", overhaul)))
    assert "Only tests wait for safety, and an overhaul is none." in page
    assert "What happened" not in page
    assert web.post(address(world, "postponement-new", overhaul), STUCK).status_code == 422


def test_the_list_shows_what_is_in_force_first_and_exports(web, world, ram):
    annular = key_of(world, "pressure-test", "Annular")
    a_deferral(world, ram, at=SIGNED, until=SIGNED + timedelta(days=20))
    ended = a_deferral(world, annular, at=SIGNED - timedelta(days=10))
    a_postponement(world, annular, at=SIGNED)
    where = reverse("tests_app:deferrals", args=[world.rig.pk])
    found = web.get(where)
    assert [row.record.words for row in found.context["table"].rows] == ["In force", "Waits", "Run out"]
    only = web.get(where, {"state": "run-out"})
    assert [row.record.row for row in only.context["table"].rows] == [ended]
    rows = list(csv.DictReader(io.StringIO(web.get(where, {"export": "csv"}).content.decode("utf-8-sig"))))
    assert {row["Which"] for row in rows} == {"Deferral", "Not safe to test"}


@pytest.mark.parametrize("role", [CrewRole.AUDITOR, CrewRole.TESTER, CrewRole.ADMINISTRATOR])
def test_whoever_may_not_defer_looks_and_changes_nothing(world, ram, role):
    row = a_postponement(world, ram, at=SIGNED)
    client = Client()
    client.force_login(builders.a_person(rig=world.rig, role=role))
    assert client.get(reverse("tests_app:deferrals", args=[world.rig.pk])).status_code == 200
    assert client.get(reverse("tests_app:postponement", args=[row.pk])).status_code == 200
    assert client.post(address(world, "deferral-new", ram), DEFERRED).status_code == 403
    for name in ("call", "end"):
        assert client.post(reverse(f"tests_app:postponement-{name}", args=[row.pk]), {}).status_code == 403


def test_nobody_from_elsewhere_learns_what_there_is(world, ram):
    row = a_deferral(world, ram, at=SIGNED, until=SIGNED + timedelta(days=20))
    client = Client()
    client.force_login(builders.a_person(rig=builders.a_rig()))
    for where in (
        reverse("tests_app:deferral", args=[row.pk]),
        reverse("tests_app:deferrals", args=[world.rig.pk]),
        address(world, "deferral-new", ram),
        address(world, "postponement-new", ram),
    ):
        assert client.get(where).status_code == 404
