"""Pages of defects: opened from the line, worked on, closed by a retest or by the rig manager, listed and counted."""

from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from tests import builders
from tests.builders_defects import (
    LATER,
    a_defect,
    a_leaking_ram,
    a_passing_line,
    a_proven_defect,
    acted,
    disposed,
)
from tests.builders_tests_app import SIGNED, World, a_world, signed
from tests_app.actions.superseding import supersede_record
from tests_app.models import Defect, Line
from tests_app.queries.defects import DefectState, standing_of

SEEN = {
    "found_at": "2026-03-02T09:00",
    "found_by": "Rolf Anders",
    "description": "Weep at the bonnet.",
    "severity": "stops",
    "barrier": "bore",
}
BY_HAND = {
    **SEEN,
    "shown_by": "pressure",
    "pressure_from": "below",
    "pressure_number": "5000",
    "pressure_unit": "psi",
    "low_asked": "on",
}


@pytest.fixture
def ram(world: World) -> Line:
    return a_leaking_ram(world)


def page(client: Client, name: str, *args: int, status: int = 200, **query: str) -> str:
    answer = client.get(reverse(f"tests_app:{name}", args=args), query)
    assert answer.status_code == status
    return answer.content.decode()


def sent(client: Client, name: str, pk: int, status: int = 302, **posted: str) -> str:
    answer = client.post(reverse(f"tests_app:{name}", args=[pk]), posted)
    assert answer.status_code == status
    return answer.content.decode()


def as_role(world: World, role: str) -> Client:
    client = Client()
    client.force_login(builders.a_person(rig=world.rig, role=role))
    return client


def test_a_failed_line_leads_to_its_defect(web: Client, world: World, ram: Line):
    record = ram.step.record
    where = reverse("tests_app:line-defect", args=[ram.pk])
    assert where in page(web, "record", record.pk)
    form = page(web, "line-defect", ram.pk)
    assert 'value="2026-03-02T' in form, "when it was found is proposed from the test"
    sent(web, "line-defect", ram.pk, **SEEN)
    defect = Defect.objects.get()
    shown = page(web, "record", record.pk)
    assert reverse("tests_app:defect", args=[defect.pk]) in shown
    assert where not in shown
    assert "Defect 1 is open for this line already." in page(web, "line-defect", ram.pk)


def test_a_tester_opens_and_does_not_close(world: World, ram: Line):
    tester = as_role(world, "tester")
    sent(tester, "line-defect", ram.pk, **SEEN)
    defect = Defect.objects.get()
    shown = page(tester, "defect", defect.pk)
    assert "Enter what was done" not in shown
    assert "takes the rig manager" in shown
    sent(tester, "defect-act", defect.pk, status=403)
    sent(tester, "defect-dispose", defect.pk, status=403)


@pytest.mark.parametrize("field", list(SEEN))
def test_what_is_missing_is_named_beside_its_field_and_nothing_typed_is_lost(web: Client, ram: Line, field: str):
    shown = sent(web, "line-defect", ram.pk, status=422, **{**SEEN, field: ""})
    assert "Rolf Anders" in shown or field == "found_by"
    assert f'id="id_{field}_error"' in shown
    assert not Defect.objects.exists()


def test_a_defect_seen_outside_a_test_is_opened_by_hand(web: Client, world: World):
    component = world.at("Annular").installations.get().component
    form = page(web, "defect-new", world.rig.pk, of=f"component-{component.pk}")
    assert f'<option value="component-{component.pk}" selected>' in form
    refused = sent(web, "defect-new", world.rig.pk, status=422, subject=f"component-{component.pk}", **SEEN)
    assert "Nothing is chosen" in refused
    no_side = sent(
        web, "defect-new", world.rig.pk, 422, subject=f"component-{component.pk}", **{**BY_HAND, "pressure_from": ""}
    )
    assert "A pressure test is from a side." in no_side
    sent(web, "defect-new", world.rig.pk, subject=f"component-{component.pk}", **BY_HAND)
    defect = Defect.objects.get()
    assert (defect.component, defect.position.name, defect.pressure.text) == (component, "Annular", "5000")
    assert "Weep at the bonnet." in web.get(reverse("equipment:component", args=[component.pk])).content.decode()


def test_a_component_of_another_rig_is_no_choice(web: Client, world: World):
    foreign = builders.a_component(builders.a_rig(), kind="annular")
    refused = sent(web, "defect-new", world.rig.pk, status=422, subject=f"component-{foreign.pk}", **BY_HAND)
    assert "Select a valid choice" in refused or "not one of the available" in refused


def test_work_is_entered_and_a_retest_closes_it(web: Client, world: World, ram: Line):
    defect = a_defect(world, ram)
    work = {"work-done_at": "2026-03-02T10:00", "work-done": "Seals renewed.", "work-done_by": "Rolf Anders"}
    assert "Fill it in" in sent(web, "defect-act", defect.pk, status=422, **{**work, "work-done": ""})
    sent(web, "defect-act", defect.pk, **work, **{"work-puts_right": "on"})
    assert "Put right, not proven yet" in page(web, "defect", defect.pk)
    line = a_passing_line(world)
    with time_machine.travel(LATER + timedelta(hours=6), tick=False):
        web.force_login(world.supervisor)
        shown = page(web, "defect", defect.pk)
        assert f'value="pressure-{line.pk}"' in shown
        assert "no later test of what failed" in sent(
            web, "defect-prove", defect.pk, status=422, **{"retest-line": "pressure-0"}
        )
        sent(web, "defect-prove", defect.pk, **{"retest-line": f"pressure-{line.pk}"})
        assert "What closed it" in page(web, "defect", defect.pk)
    assert standing_of(defect).state is DefectState.PROVEN


def test_a_test_that_proves_nothing_says_why(web: Client, world: World, ram: Line):
    defect = a_defect(world, ram)
    a_passing_line(world, pipe_in_hole="3.5 in")
    shown = page(web, "defect", defect.pk)
    assert "it was closed on another pipe" in shown
    assert "Close by this test" not in shown


def test_the_rig_manager_closes_it_as_approved(web: Client, world: World, ram: Line):
    defect = a_defect(world, ram)
    given = {
        "dispose-disposition": "out-of-use",
        "dispose-approved_by": "Karin Voss, superintendent",
        "dispose-reference": "MOC-1",
        "dispose-reason": "Scrapped.",
    }
    sent(web, "defect-dispose", defect.pk, status=403, **given)
    manager = as_role(world, "rig-manager")
    assert "not accepted as it is" in sent(
        manager, "defect-dispose", defect.pk, status=422, **{**given, "dispose-disposition": "as-it-is"}
    )
    sent(manager, "defect-dispose", defect.pk, **given)
    assert "MOC-1" in page(web, "defect", defect.pk)


def test_reports_stand_with_their_dates_and_how_surely_they_are_known(web: Client, world: World, ram: Line):
    defect = a_defect(world, ram)
    shown = page(web, "defect", defect.pk)
    assert "midnight at the end of 1 Apr 2026" in shown
    assert "from memory: check it" in shown
    report = {"report-rule_id": "ocs-failure", "report-done_at": "2026-03-02T10:00", "report-reference": "LTR-9"}
    sent(web, "defect-report", defect.pk, **report)
    assert "LTR-9" in page(web, "defect", defect.pk)


def test_a_rig_whose_rules_ask_no_report_says_so(web: Client, world: World, ram: Line):
    defect = a_defect(world, ram)
    other = builders.a_rig(rules="us-blm")
    person = builders.a_person(rig=other)
    component = builders.a_component(other, kind="annular")
    client = Client()
    client.force_login(person)
    sent(client, "defect-new", other.pk, subject=f"component-{component.pk}", **BY_HAND)
    shown = page(client, "defect", Defect.objects.exclude(pk=defect.pk).get().pk)
    assert "gives no time for reporting a failure" in shown


def test_it_is_judged_anew_with_a_reason(web: Client, world: World, ram: Line):
    defect = a_defect(world, ram)
    assert "Defects that stop operations" in page(web, "rig", world.rig.pk)
    told = {"judge-severity": "limits", "judge-barrier": "bore"}
    assert "Fill it in" in sent(web, "defect-judge", defect.pk, status=422, **told, **{"judge-reason": ""})
    sent(web, "defect-judge", defect.pk, **told, **{"judge-reason": "The lower ram covers it."})
    assert "The lower ram covers it." in page(web, "defect", defect.pk)
    assert "Defects that stop operations" not in page(web, "rig", world.rig.pk)


def test_the_list_is_narrowed_sorted_and_exported(web: Client, world: World):
    a_proven_defect(world)
    annular = world.at("Annular").installations.get().component
    sent(web, "defect-new", world.rig.pk, subject=f"component-{annular.pk}", **{**BY_HAND, "severity": "limits"})
    shown = page(web, "defects", world.rig.pk)
    assert shown.index("Annular, ") < shown.index("Upper pipe ram, "), "what is open stands first"
    assert "Upper pipe ram, " not in page(web, "defects", world.rig.pk, state="any-open")
    assert "Annular, " not in page(web, "defects", world.rig.pk, state="proven")
    assert "Annular, " not in page(web, "defects", world.rig.pk, kind="pipe-ram")
    assert "Annular, " not in page(web, "defects", world.rig.pk, report="late")
    assert page(web, "defects", world.rig.pk, sort="-found", since="bad", page="99")
    exported = page(web, "defects", world.rig.pk, export="csv")
    assert "Bonnet seal, batch B-77" in exported
    assert exported.count("\n") == 3


def test_failed_lines_without_a_defect_stand_beside_the_list(web: Client, world: World, ram: Line):
    shown = page(web, "defects", world.rig.pk)
    assert "1 failed line of sealed tests without a defect" in shown
    a_defect(world, ram)
    assert "without a defect" not in page(web, "defects", world.rig.pk)


def test_rates_are_shown_with_their_limits_and_exported(web: Client, world: World, ram: Line):
    disposed(world, a_defect(world, ram), at=SIGNED + timedelta(hours=1))
    shown = page(web, "failure-rates", world.rig.pk)
    assert "Pipe ram" in shown
    assert "no defect" in shown
    assert "1 of 1" in shown
    exported = page(web, "failure-rates", world.rig.pk, export="csv")
    assert "Days between defects, lower limit" in exported
    assert page(web, "failure-rates", world.rig.pk, since="2026-03-05", until="2026-03-01")
    assert page(web, "failure-rates", world.rig.pk, until="9999-12-31")


def test_the_number_of_questions_does_not_grow_with_the_defects(
    web: Client, world: World, ram: Line, django_assert_max_num_queries
):
    acted(world, a_defect(world, ram))
    annular = world.at("Annular").installations.get().component
    with django_assert_max_num_queries(200) as asked:
        page(web, "defects", world.rig.pk)
    few = len(asked)
    for _ in range(3):
        sent(web, "defect-new", world.rig.pk, subject=f"component-{annular.pk}", **BY_HAND)
    with django_assert_max_num_queries(few):
        page(web, "defects", world.rig.pk)


def test_a_closing_that_fell_away_is_told(web: Client, world: World):
    defect = a_proven_defect(world)
    closed_in = standing_of(defect).closing.line.step.record
    corrected = supersede_record(closed_in, reason="Other chart.", by=world.supervisor, at=LATER + timedelta(hours=7))
    signed(corrected, world, at=LATER + timedelta(hours=8))
    shown = page(web, "defect", defect.pk)
    assert "It is open again." in shown


def test_an_auditor_reads_and_another_rig_sees_nothing(world: World, ram: Line):
    defect = a_defect(world, ram)
    auditor, stranger = as_role(world, "auditor"), as_role(a_world(), "rig-manager")
    reading = [("defects", world.rig.pk), ("failure-rates", world.rig.pk), ("defect", defect.pk)]
    opening = [("defect-new", world.rig.pk), ("line-defect", ram.pk)]
    sending = [(f"defect-{name}", defect.pk) for name in ("act", "report", "judge", "prove", "dispose")]
    for name, key in reading:
        assert 'method="post" action="/defects/' not in page(auditor, name, key)
    for name, key in opening:
        page(auditor, name, key, status=403)
    for name, key in sending:
        sent(auditor, name, key, status=403)
        sent(stranger, name, key, status=404)
    for name, key in (*reading, *opening):
        page(stranger, name, key, status=404)
