"""The rules of a rig and the rule book: what is followed, how it is changed, and every clause one click away."""

import html
import re
from datetime import timedelta

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from equipment.errors import Refused
from equipment.models import CrewRole
from tests import builders
from tests.builders_tests_app import SIGNED, World, a_draft, a_sealed_record, a_step
from tests_app import rulebook
from tests_app.actions.programmes import choose_edition
from tests_app.models import Programme, Record
from tests_app.web.clauses import address_of, clauses_linked, sources_of
from tests_app.web.rule_sheets import sheet_of

EDITIONS = [edition.id for edition in rulebook.editions()]


def rules_of(web: Client, world: World, **typed: str) -> HttpResponse:
    address = reverse("tests_app:rig-rules", args=[world.rig.pk])
    return web.post(address, typed) if typed else web.get(address)


def said(answer: HttpResponse) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode())))


def test_the_page_says_what_is_followed_since_when_and_what_else_there_is(web: Client, world: World):
    page = said(rules_of(web, world))
    assert "30 CFR 250 Subpart G , as amended on 23 August 2023 Since 26 Jan 2025" in page
    for edition in rulebook.editions():
        assert edition.title in page
        assert edition.source in page
        assert sheet_of(edition).known in page


def test_a_supervisor_changes_the_rules_with_a_day_and_a_reason_that_stay(web: Client, world: World):
    answer = rules_of(web, world, edition="api53-4/2012", since="2026-03-01", reason="Contract 14")
    assert answer.status_code == 302
    page = said(rules_of(web, world))
    assert "API Standard 53 , 4th edition, November 2012 Since 1 Mar 2026" in page
    assert "instead of 30 CFR 250 Subpart G, as amended on 23 August 2023" in page
    assert "Reason: Contract 14" in page
    assert a_draft(world, at=SIGNED - timedelta(hours=1)).edition == "api53-4/2012"


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("edition", "", "Choose the rules."),
        ("edition", "moonlight/1", "Choose one of these rules."),
        ("edition", "us-ocs/2023", "Choose one of these rules."),
        ("since", "2026-03-09", "This day lies in the future."),
        ("since", "2020-01-01", "The rig has followed us-ocs/2023 since 26 Jan 2025."),
        ("since", "soon", "Enter a valid date."),
        ("reason", "", "Say why the rules change"),
    ],
)
def test_what_can_not_be_kept_is_said_beside_the_field_and_nothing_typed_is_lost(
    web: Client, world: World, field: str, typed: str, words: str
):
    right = {"edition": "api53-4/2012", "since": "2026-03-01", "reason": "Contract 14"}
    answer = rules_of(web, world, **{**right, field: typed})
    assert answer.status_code == 422
    assert words in said(answer)
    if field != "reason":
        assert "Contract 14" in answer.content.decode()
    assert Programme.objects.get(rig=world.rig).edition == "us-ocs/2023"


@pytest.mark.parametrize(
    ("role", "may"),
    [
        (CrewRole.SUPERVISOR, True),
        (CrewRole.RIG_MANAGER, True),
        (CrewRole.ADMINISTRATOR, True),
        (CrewRole.TESTER, False),
        (CrewRole.AUDITOR, False),
    ],
)
def test_who_may_choose_is_asked_and_everybody_else_only_reads(world: World, role: str, may: bool):
    client = Client()
    client.force_login(builders.a_person(rig=world.rig, role=role))
    assert ("Change the rules" in said(rules_of(client, world))) is may
    typed = {"edition": "api53-4/2012", "since": "2026-03-01", "reason": "Contract 14"}
    assert rules_of(client, world, **typed).status_code == (302 if may else 403)


@pytest.fixture
def unruled(world: World) -> World:
    Programme.objects.all().delete()
    return world


@pytest.mark.parametrize("name", ["tests_app:rig", "tests_app:pressure-test-new", "tests_app:rig-rules"])
def test_a_rig_without_rules_says_so_and_leads_to_them(web: Client, unruled: World, name: str):
    page = web.get(reverse(name, args=[unruled.rig.pk]))
    assert "No rules are chosen for this rig." in said(page)
    assert reverse("tests_app:rig-rules", args=[unruled.rig.pk]) in page.content.decode()


def test_without_rules_nothing_is_in_date_in_any_list_of_rigs(web: Client, unruled: World):
    a_rig = builders.a_rig("Rig Second", rules="")
    builders.a_crew_member(a_rig, unruled.supervisor)
    page = said(web.get("/"))
    # Twice for the rigs, once as a choice of the filter.
    assert page.count("No rules chosen") == 3
    assert "2 rigs cannot be fully worked out" in page


def test_without_rules_opening_a_test_is_refused_with_what_to_do(web: Client, unruled: World):
    typed = {
        "stack": unruled.stack.pk,
        "section": unruled.section.pk,
        "reason": "interval",
        "started_at": "2026-03-02T06:00",
        "fluid": "water",
        "barrier": "plug",
        "control_station": "drill-floor",
        "remarks": "Kept",
    }
    answer = web.post(reverse("tests_app:pressure-test-new", args=[unruled.rig.pk]), typed)
    assert answer.status_code == 422
    assert f"No rules are chosen for {unruled.rig.name}. Choose them on the page Rules of this rig" in said(answer)
    assert "Kept" in answer.content.decode()
    assert not Record.objects.exists()


def test_the_first_choice_needs_no_reason(web: Client, unruled: World):
    assert rules_of(web, unruled, edition="us-ocs/2023", since="2026-03-02", reason="").status_code == 302
    assert "No rules" not in said(web.get(reverse("tests_app:rig", args=[unruled.rig.pk])))


@pytest.mark.parametrize("key", EDITIONS)
def test_an_edition_is_listed_whole_and_each_of_its_clauses_has_its_place(web: Client, world: World, key: str):
    edition = rulebook.edition(key)
    page = web.get(reverse("tests_app:rules", args=[key]))
    written, text = page.content.decode(), said(page)
    assert edition.source in text
    for rule in (*edition.rules, *edition.bank_rules, *edition.schedule_rules):
        assert f'id="rule-{rule.id}"' in written
        assert rule.title in text
        for source in sources_of(rule):
            assert f'id="{address_of(source.clause, key).partition("#")[2]}"' in written
            assert source.note in text


def test_anchors_of_different_clauses_differ():
    clauses = {
        source.clause
        for one in rulebook.editions()
        for rule in (*one.rules, *one.bank_rules, *one.schedule_rules)
        for source in sources_of(rule)
    }
    assert len({address_of(clause).partition("#")[2] for clause in clauses}) == len(clauses)


def test_an_edition_nobody_ships_is_not_found(web: Client, world: World):
    assert web.get(reverse("tests_app:rules", args=["us-ocs/1888"])).status_code == 404


def test_each_clause_of_several_is_a_link_and_an_unknown_one_is_text():
    shown = clauses_linked("30 CFR 250.737(b)(1); House rule <7>", "us-ocs/2023")
    assert shown == (
        '<a href="/rules/us-ocs/2023/#clause-30-cfr-250-737-b-1">30 CFR 250.737(b)(1)</a>; House rule &lt;7&gt;'
    )


def test_clauses_are_links_where_they_are_shown(web: Client, world: World):
    record = a_sealed_record(world)
    draft = a_draft(world)
    a_step(draft, world, "Upper pipe ram")
    component = world.at("Upper pipe ram").installations.get().component
    link = 'href="/rules/us-ocs/2023/#clause-30-cfr-250-737-'
    for address in (
        reverse("tests_app:rig", args=[world.rig.pk]),
        reverse("tests_app:record", args=[record.pk]),
        reverse("tests_app:record", args=[draft.pk]),
        reverse("equipment:component", args=[component.pk]),
    ):
        assert link in web.get(address).content.decode(), address


def test_the_due_list_is_taken_along_with_the_clause_as_text(web: Client, world: World):
    a_sealed_record(world)
    rows = web.get(reverse("tests_app:rig", args=[world.rig.pk]), {"export": "csv"}).content.decode()
    assert "30 CFR 250.737(a)(2)" in rows
    assert "<a" not in rows


def test_requirements_on_accumulators_are_listed_with_what_they_ask_and_no_interval_made_up(web: Client, world: World):
    page = said(web.get(reverse("tests_app:rules", args=["api53-4/2012"])))
    assert "At least the greater of 200 psi over the precharge and the minimum operating pressure." in page
    assert "With every pump from precharge to rated pressure within 15 min." in page
    assert "Within 100 psi of the design, at the same gas temperature." in page
    assert "The standard leaves the interval to the owner's schedule." in page
    assert "Starts before the pressure has fallen to 90 % of rated, stops at 97 to 100 % of rated." in page
    assert "Closes within 45 s, from 18.75 in of bore." in page


def test_clauses_on_accumulators_are_links_too():
    linked = clauses_linked("API inquiry 53-12-13", "api53-4/2012")
    assert f"{reverse('tests_app:rules', args=['api53-4/2012'])}#clause-api-inquiry-53-12-13" in linked


def test_what_recurs_or_events_call_for_is_listed_in_our_own_words(web: Client, world: World):
    page = said(web.get(reverse("tests_app:rules", args=["us-ocs/2023"])))
    assert "Function test of annulars and pipe rams every seven days between pressure tests" in page
    assert "Also by a pressure test, for what it worked and from where it was worked." in page
    assert "Each control station within 7 days." in page
    assert "Called for before a test planned, by at least 72 hours." in page
    assert "Losses, an influx and stuck pipe, and no other." in page
    assert "The stack was not removed; the pressures required next are not higher" in page
    assert "70 % of the casing's internal yield." in page
    assert "At most 10 % in 30 min." in page
    waived = "Pressure test of blind-shear rams within 30 days of the last one's conclusion: before drilling out"
    assert waived in page


@pytest.mark.parametrize(
    ("key", "known"),
    [
        ("us-pa/short", "All its 9 statements are read."),
        ("no/d-010", " derived and "),
        ("us-blm/2023", "1 read, "),
    ],
)
def test_how_much_is_read_derived_and_from_memory_is_said(key: str, known: str):
    assert known in sheet_of(rulebook.edition(key)).known


def test_what_an_edition_leaves_open_is_said_and_no_date_is_made_up(web: Client, world: World):
    page = said(web.get(reverse("tests_app:rules", args=["us-az/short"])))
    assert "In force date not on file" in page
    assert "Low test Not stated in what is on file." in page
    assert "Hold No time of holding is stated in what is on file." in page
    assert "1 psi/ft of the last casing's depth" in page


@pytest.mark.parametrize("edition", ["us-pa/short", "us-la/short"])
def test_rules_that_ask_for_no_pressure_test_are_to_read_and_not_to_follow(web: Client, world: World, edition: str):
    answer = rules_of(web, world, edition=edition, since="2026-03-01", reason="Contract 14")
    assert answer.status_code == 422
    assert reverse("tests_app:rules", args=[edition]) in rules_of(web, world).content.decode()
    with pytest.raises(Refused, match="asks for no pressure test"):
        choose_edition(world.rig, edition=edition, since=SIGNED, reason="Contract 14", by=world.supervisor, at=SIGNED)


@pytest.mark.parametrize("edition", [one.id for one in rulebook.editions() if one.asks_pressure_tests])
def test_a_rig_can_follow_every_edition_that_asks_for_pressure_tests(web: Client, world: World, edition: str):
    Programme.objects.filter(rig=world.rig).update(edition=edition)
    page = web.get(reverse("tests_app:rig", args=[world.rig.pk]))
    assert page.status_code == 200
    assert "Upper pipe ram" in said(page)
