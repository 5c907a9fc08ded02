"""Planning a test on the pages: what it requires, the plan, its changes with what they cost, the test and the sheet."""

from io import BytesIO

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from tests.builders_line_ups import a_plan, a_planning_world, a_waiting_plan, keys_of
from tests.builders_tests_app import SIGNED, World
from tests_app.models import LineUpPlan, Record


@pytest.fixture
def world(db: None) -> World:
    return a_planning_world()


@pytest.fixture
def plan(world: World) -> LineUpPlan:
    return a_plan(world, "Annular", "Upper pipe ram", at=SIGNED)


def address(plan: LineUpPlan, name: str = "line-up") -> str:
    return reverse(f"tests_app:{name}", args=[plan.pk])


def test_what_a_test_requires_stands_beside_each_element_with_how_it_is_due(web: Client, world: World):
    page = web.get(reverse("tests_app:line-up-new", args=[world.rig.pk])).content.decode()
    assert "Upper pipe ram" in page
    assert "Never tested" in page
    assert "from the far side, not asked by the rules" in page


def test_a_plan_asked_for_waits_for_the_worker_and_its_page_asks_again(web: Client, world: World):
    asked = {"stack": world.stack.pk, "section": world.section.pk, "reason": "interval", "barrier": "plug"}
    answer = web.post(
        reverse("tests_app:line-up-new", args=[world.rig.pk]), {**asked, "wanted": keys_of(world, ["Annular"])}
    )
    plan = LineUpPlan.objects.get()
    assert answer["Location"] == address(plan)
    page = web.get(address(plan)).content.decode()
    assert "waits for the background worker" in page
    assert f'hx-get="{address(plan, "line-up-state")}"' in page


def test_nothing_ticked_is_refused_beside_the_list_with_all_else_kept(web: Client, world: World):
    asked = {"stack": world.stack.pk, "section": "", "reason": "stump", "barrier": "stump"}
    answer = web.post(reverse("tests_app:line-up-new", args=[world.rig.pk]), asked)
    assert answer.status_code == 422
    assert "Tick at least one element" in answer.content.decode()
    assert not LineUpPlan.objects.exists()


def test_a_stack_without_a_pressure_system_leads_to_where_it_is_drawn_up(web: Client, world: World):
    other = type(world.stack).objects.create(rig=world.rig, name="Spare stack", kind="surface")
    page = web.get(reverse("tests_app:line-up-new", args=[world.rig.pk]), {"stack": other.pk}).content.decode()
    assert reverse("equipment:system", args=[other.pk]) in page


def test_the_page_says_how_few_steps_there_are_and_what_each_proves(web: Client, plan: LineUpPlan):
    page = web.get(address(plan)).content.decode()
    assert "2 steps. No plan has fewer: that is proved." in page
    assert "These two stand in series" in page


def test_a_step_taken_out_makes_the_page_name_what_is_no_longer_proved(web: Client, plan: LineUpPlan):
    step = plan.steps.get(order=1)
    web.post(reverse("tests_app:line-up-step-remove", args=[step.pk]), {"version": plan.version})
    page = web.get(address(plan)).content.decode()
    assert "No longer proved by any step, 1:" in page
    assert "which do not prove everything" in page


def test_a_form_of_a_page_older_than_the_plan_is_told_so_and_changes_nothing(web: Client, plan: LineUpPlan):
    step = plan.steps.get(order=1)
    sent = {"version": plan.version - 1}
    page = web.post(reverse("tests_app:line-up-step-remove", args=[step.pk]), sent, follow=True).content.decode()
    assert "Somebody changed this record after you opened it" in page
    assert plan.steps.count() == 2


def test_before_it_is_saved_a_line_up_says_what_it_would_prove_and_leave_unproved(web: Client, plan: LineUpPlan):
    step = plan.steps.get(order=1)
    tried = {
        "pump_point": step.pump_point,
        "pipe": step.pipe,
        "pressure_number": "100",
        "pressure_unit": "psi",
        "closed": step.closed,
        "version": plan.version,
        "step": step.pk,
    }
    part = web.get(address(plan, "line-up-try"), tried).content.decode()
    assert "proves nothing of what was asked at this pressure" in part
    assert "The plan would not prove" in part


def test_a_refused_line_up_keeps_what_was_typed(web: Client, plan: LineUpPlan):
    sent = {
        "pump_point": "Moon pool",
        "pipe": "5 in",
        "pressure_number": "abc",
        "pressure_unit": "psi",
        "version": plan.version,
    }
    answer = web.post(address(plan, "line-up-step-new"), sent)
    assert answer.status_code == 422
    assert 'value="abc"' in answer.content.decode()


def test_the_test_is_opened_with_the_steps_of_the_plan(web: Client, world: World, plan: LineUpPlan):
    form = web.get(address(plan, "line-up-test")).context["form"]
    sent = {
        "section": world.section.pk,
        "reason": "interval",
        "started_at": "2026-03-02T10:00",
        "fluid": "water",
        "barrier": "plug",
        "pipe_in_hole_number": "5",
        "pipe_in_hole_unit": "in",
        "plan_reference": form.initial["plan_reference"],
        "version": plan.version,
    }
    answer = web.post(address(plan, "line-up-test"), sent)
    record = Record.objects.get()
    assert answer["Location"] == reverse("tests_app:record", args=[record.pk])
    assert record.steps.count() == 2
    assert "Opened as a test" in web.get(address(plan)).content.decode()


def test_the_sheet_has_a_page_a_step_with_cautions_and_boxes_to_fill(web: Client, plan: LineUpPlan):
    pages = PdfReader(BytesIO(web.get(address(plan, "line-up-sheet")).content)).pages
    texts = [" ".join(page.extract_text().split()) for page in pages]
    assert "Bleed to zero, and see it at zero" in texts[0]
    starts = [number for number, text in enumerate(texts) if "Step 1 of 2" in text or "Step 2 of 2" in text]
    assert starts == [1, 2]
    for text in texts[1:3]:
        assert "Closed:" in text
        assert "Bled to zero at" in text
        assert "Signed" in text


def test_the_list_names_each_plan_with_its_steps(web: Client, world: World, plan: LineUpPlan):
    a_waiting_plan(world, "Annular", at=SIGNED)
    rows = web.get(reverse("tests_app:line-ups", args=[world.rig.pk]), {"state": "ready"}).context["table"].rows
    assert [(row.record.number, row.record.step_count) for row in rows] == [(plan.number, 2)]
