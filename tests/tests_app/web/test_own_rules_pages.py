"""The pages of a rig's own values: every figure beside its source, changed by a form, refused beside the field."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from calcs.rules import Subject, choose
from tests import builders
from tests.builders_tests_app import World
from tests_app import rulebook
from tests_app.models import ProgrammeCopy
from tests_app.queries.programmes import programme_of

ANNULAR = choose(rulebook.published("us-ocs"), Subject("annular")).rule.id


def address(name: str, world: World, query: str = "") -> str:
    return reverse(f"tests_app:{name}", args=[world.rig.pk]) + query


def figure(world: World, name: str, rule: str = ANNULAR, page: str = "own-figure") -> str:
    return address(page, world, f"?rule={rule}&figure={name}")


def posted(web: Client, world: World, name: str, **given: str) -> int:
    return web.post(figure(world, name), {"reason": "Operator's standard", **given}).status_code


def test_a_figure_is_changed_and_shown_beside_its_source(web: Client, world: World):
    assert posted(web, world, "hold", value_number="10", value_unit="min") == 302

    page = web.get(address("rig-rules", world)).content.decode()
    assert "with the rig&#x27;s own changes no. 1" in page
    assert "<strong>10 min</strong>" in page
    assert "5 min, 3 min in some cases" in page
    assert "stricter" in page
    copy = ProgrammeCopy.objects.get()
    own_page = web.get(reverse("tests_app:rules", args=[copy.edition])).content.decode()
    assert "Own values in copy no. 1" in own_page
    assert "own programme: 10 min instead of 5 min" in own_page


@pytest.mark.parametrize(
    ("name", "given", "words"),
    [
        ("interval", {"interval": "21 d", "deadline": "midnight"}, "Give the reference of the approval"),
        ("interval", {"interval": "soon", "deadline": "midnight"}, "Give for instance 14 d"),
        (
            "low-band",
            {"lowest_number": "400", "lowest_unit": "psi", "highest_number": "300", "highest_unit": "psi"},
            "max over the min",
        ),
        ("high-fraction", {"percent": "70"}, "the value the source has"),
        ("high-fraction", {"percent": ""}, "required"),
        ("hold", {"value_number": "ten", "value_unit": "min"}, "is not a number"),
        ("hold", {"value_number": "10", "value_unit": "min", "reason": ""}, "Say why"),
    ],
)
def test_what_is_refused_says_why_beside_its_field_and_keeps_what_was_typed(web, world, name, given, words):
    answer = web.post(figure(world, name), {"reason": "Operator's standard", **given})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert all(f'value="{typed}"' in page for typed in given.values() if typed.isdigit())
    assert not ProgrammeCopy.objects.exists()


def test_evidence_and_pump_figures_have_forms_of_their_own(web: Client, world: World):
    edition = rulebook.published("us-ocs")
    rule = next(one for one in edition.schedule_rules if one.kind == "schedule")
    sent = {"evidence": ["volumes", "report"], "reason": "Operator's standard"}
    assert web.post(figure(world, "evidence", rule.id), sent).status_code == 302
    (kept,) = ProgrammeCopy.objects.get().changes
    assert kept["own"] == ["volumes", "report"]


def test_a_rule_of_the_rig_s_own_is_added_and_taken_back(web: Client, world: World):
    sent = {
        "title": "Elastomers of annulars changed",
        "task": "elastomer",
        "about": ["annular"],
        "interval": "1 year",
        "deadline": "midnight",
        "reason": "Owner's schedule",
    }
    assert web.post(address("own-rule-new", world), sent).status_code == 302
    (rule,) = [one.rule_id for one in rulebook.edition(programme_of(world.rig).edition).own]
    assert rule == "own-elastomers-of-annulars-changed"
    twice = web.post(address("own-rule-new", world), {**sent, "interval": "2 years"})
    assert twice.status_code in (302, 422)

    page = web.get(figure(world, "own-rule", rule)).content.decode()
    assert "Take it back" in page
    back = web.post(figure(world, "own-rule", rule, "own-take-back"), {"back-reason": "No longer owned"})
    assert back.status_code == 302
    assert programme_of(world.rig).edition == "us-ocs/2023"


def test_every_figure_is_listed_found_and_exported(web: Client, world: World):
    posted(web, world, "interval", interval="7 d", deadline="midnight")
    found = web.get(address("own-rules", world, "?words=annular+interval&which=own")).content.decode()
    assert "1 figure;" in found
    sheet = web.get(address("own-rules", world, "?export=csv")).content.decode()
    assert "Rule,Figure,Source,This rig,Compared,Clause" in sheet
    assert '"7 days, to the midnight that ends the last day",stricter,30 CFR 250.737(a)(2)' in sheet


def test_choosing_other_rules_says_which_own_values_are_left_behind(web: Client, world: World):
    posted(web, world, "hold", value_number="10", value_unit="min")
    sent = {"edition": "api53-4/2012", "since": "2026-01-01", "reason": "New contract"}
    edition = rulebook.published("api53-4").id
    day = programme_of(world.rig).chosen_at.astimezone(world.rig.zone).date().isoformat()
    page = web.post(
        address("rig-rules", world), {**sent, "edition": edition, "since": day}, follow=True
    ).content.decode()
    assert "own values of before no longer apply" in page
    assert "Own values left behind" in page


def test_no_other_rig_sees_a_copy_and_an_auditor_changes_nothing(web: Client, world: World):
    posted(web, world, "hold", value_number="10", value_unit="min")
    copy = ProgrammeCopy.objects.get()
    stranger = Client()
    stranger.force_login(builders.a_person(rig=builders.a_rig()))
    assert stranger.get(reverse("tests_app:rules", args=[copy.edition])).status_code == 404
    auditor = Client()
    auditor.force_login(builders.a_person(rig=world.rig, role="auditor"))
    assert auditor.get(reverse("tests_app:rules", args=[copy.edition])).status_code == 200
    assert auditor.get(address("own-rules", world)).status_code == 200
    assert auditor.post(figure(world, "hold"), {"value_number": "9"}).status_code == 403


def test_the_list_takes_as_many_queries_with_three_own_values_as_with_one(
    web: Client, world: World, django_assert_num_queries
):
    posted(web, world, "hold", value_number="10", value_unit="min")
    counts = []
    for page in ("own-rules", "rig-rules"):
        web.get(address(page, world))
        with CaptureQueriesContext(connection) as seen:
            web.get(address(page, world))
        counts.append(len(seen))
    posted(web, world, "interval", interval="7 d", deadline="midnight")
    posted(web, world, "high-fraction", percent="80")
    for page, count in zip(("own-rules", "rig-rules"), counts, strict=True):
        with django_assert_num_queries(count):
            web.get(address(page, world))
