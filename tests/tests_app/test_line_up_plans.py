"""A plan proves what was asked in the fewest steps, holds against the verifier, and is worked out once and not lost."""

import logging
from datetime import timedelta

import pytest

from calcs.lineups import LineUp, Plan
from equipment.errors import Refused
from equipment.models import PressureSystem
from tests.builders_line_ups import PLANNED, a_plan, a_planning_world, a_waiting_plan, askables, keys_of
from tests.builders_tests_app import World
from tests.kept import Keep
from tests_app.actions.line_up_answers import work_out
from tests_app.actions.line_up_plans import CLAIM_LASTS, ask_again, make_plan
from tests_app.actions.line_up_steps import pin_line_up, remove_line_up
from tests_app.errors import RecordIsStale
from tests_app.models import LineUpPlan, PlanState, Programme
from tests_app.queries import line_up_shells
from tests_app.queries.line_up_plans import outdated, seen, waiting_plans
from tests_app.tasks import plan_line_ups
from trail.actors import System
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db
PLANNER = System.PLANNER


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    return keep(a_planning_world)


def proved(plan: LineUpPlan) -> set[str]:
    return {copy["element"] for step in seen(plan).steps for copy in step.first}


def test_everything_the_rules_ask_of_the_stack_is_proved_or_said_not_to_be(world: World):
    plan = a_plan(world)
    found = seen(plan)
    asked = {one.standing.position.name for one in askables(world) if one.is_asked}
    assert plan.state == PlanState.READY
    assert proved(plan) == asked
    assert (found.unproved, found.unprovable) == ((), ())
    assert found.is_fewest


def test_valves_and_rams_in_series_take_a_step_each_and_the_plan_says_so(world: World):
    """The bound by elements in series is common practice: one closed element keeps the pressure off the next."""
    plan = a_plan(world, "Inner choke valve", "Outer choke valve", "Manifold valve 1")
    assert plan.steps.count() == 3
    assert plan.lower_bound == 3
    assert "series" in plan.because


def test_what_shuts_nothing_is_proved_with_the_cavity_it_belongs_to(world: World):
    plan = a_plan(world, "Drilling spool")
    only = seen(plan).steps[0]
    assert [copy["element"] for copy in only.first] == ["Drilling spool"]
    assert only.shown.pressurised >= {"Below Blind-shear ram"}
    assert (plan.lower_bound, seen(plan).is_fewest) == (1, True)


def test_nothing_drains_through_what_shuts_nothing(world: World):
    """A spool is no way out for a leak: the valve beside it is proved only with its far side really open."""
    plan = a_plan(world, "Upper pipe ram", "Drilling spool")
    assert "Drilling spool" not in {element.id for element in seen(plan).system.elements}
    assert proved(plan) == {"Upper pipe ram", "Drilling spool"}


def test_an_annular_is_pressed_on_no_higher_than_its_own_test(world: World):
    plan = a_plan(world)
    steps = [step for step in seen(plan).steps if "Annular" in step.row.closed]
    assert {str(step.row.pressure) for step in steps if step.first} == {"7,000 psi"}


def test_preventers_are_closed_on_the_pipe_they_close_on(world: World):
    plan = a_plan(world, "Upper pipe ram", "Blind-shear ram")
    pipes = {copy["element"]: step.row.pipe for step in seen(plan).steps for copy in step.first}
    assert pipes == {"Upper pipe ram": "5 in", "Blind-shear ram": "none"}


def test_against_the_casing_no_plug_is_closed_and_the_casing_limits_the_pressure(world: World):
    """Casing of 8,000 psi under a stack of 10,000 psi."""
    plan = a_plan(world, "Lower pipe ram", barrier="none")
    only = seen(plan).steps[0]
    assert "Test plug" not in {element.id for element in seen(plan).system.elements}
    assert str(only.row.pressure) == "8,000 psi"


def test_a_pressure_is_written_as_the_rule_states_it(world: World):
    plan = a_plan(world, "Annular")
    assert str(plan.steps.get().pressure) == "7,000 psi"
    limits = seen(plan).steps[0].limits
    assert limits is not None
    assert limits["high"]["target"] == {"value": 7000.0, "unit": "psi"}


def test_a_plan_its_verifier_refutes_is_not_shown_and_is_logged(
    world: World, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    """Stands in for a fault of the planner: the pump is lined up with everything open."""
    wrong = Plan((LineUp("Kill line", "5 in", 70e6, frozenset()),), 1)
    monkeypatch.setattr(line_up_shells, "plan", lambda *_, **__: wrong)
    plan = a_waiting_plan(world, "Annular")
    with caplog.at_level(logging.ERROR):
        work_out(plan.pk, by=PLANNER, at=PLANNED)
    plan.refresh_from_db()
    assert (plan.state, plan.steps.count()) == (PlanState.FAILED, 0)
    assert "did not stand up to verification" in plan.failure
    assert "refuted" in caplog.text


def test_a_search_that_breaks_off_is_told_on_the_plan_and_in_the_log(world: World, monkeypatch: pytest.MonkeyPatch):
    def broken(*_: object, **__: object) -> Plan:
        raise MemoryError

    monkeypatch.setattr(line_up_shells, "plan", broken)
    plan = a_waiting_plan(world, "Annular")
    work_out(plan.pk, by=PLANNER, at=PLANNED)
    plan.refresh_from_db()
    assert plan.state == PlanState.FAILED
    assert "MemoryError" in plan.failure


class TestOneWorker:
    def test_a_plan_another_worker_has_is_left_alone(self, world: World):
        plan = a_waiting_plan(world, "Annular")
        LineUpPlan.objects.filter(pk=plan.pk).update(state=PlanState.WORKING, claimed_at=PLANNED)
        assert not work_out(plan.pk, by=PLANNER, at=PLANNED + CLAIM_LASTS / 2)

    def test_a_plan_a_killed_worker_left_is_found_and_worked_out(self, world: World):
        plan = a_waiting_plan(world, "Annular")
        LineUpPlan.objects.filter(pk=plan.pk).update(state=PlanState.WORKING, claimed_at=PLANNED)
        later = PLANNED + CLAIM_LASTS + timedelta(seconds=1)
        assert waiting_plans(later, free_before=later - CLAIM_LASTS) == [plan.pk]
        assert work_out(plan.pk, by=PLANNER, at=later)

    def test_a_plan_whose_order_was_lost_is_found(self, world: World):
        plan = a_waiting_plan(world, "Annular")
        assert waiting_plans(PLANNED, free_before=PLANNED - CLAIM_LASTS) == [plan.pk]

    def test_a_task_that_runs_twice_plans_once(self, world: World):
        plan = a_waiting_plan(world, "Annular")
        plan_line_ups(plan_id=plan.pk)
        plan_line_ups(plan_id=plan.pk)
        assert TrailEntry.objects.filter(event="line-up-plan.worked-out", subject_id=plan.pk).count() == 1


class TestPlanningAgain:
    def test_pinned_steps_stay_and_the_rest_is_as_few_as_they_leave(self, world: World):
        plan = a_plan(world)
        kept = plan.steps.get(order=2)
        pin_line_up(kept, pinned=True, version=plan.version, by=world.supervisor, at=PLANNED)
        plan.refresh_from_db()
        count, shown = plan.steps.count(), (kept.pump_point, kept.pipe, str(kept.pressure), kept.closed)
        ask_again(plan, version=plan.version, by=world.supervisor, at=PLANNED)
        work_out(plan.pk, by=PLANNER, at=PLANNED)
        first = plan.steps.get(order=1)
        plan.refresh_from_db()
        assert (first.pump_point, first.pipe, str(first.pressure), first.closed) == shown
        assert (plan.steps.count(), plan.lower_bound) == (count, count)
        assert seen(plan).is_whole

    def test_the_steps_stand_until_the_new_ones_are_there(self, world: World):
        plan = a_plan(world, "Annular")
        ask_again(plan, version=plan.version, by=world.supervisor, at=PLANNED)
        assert plan.steps.count() == 1

    def test_a_page_older_than_the_plan_changes_nothing(self, world: World):
        plan = a_plan(world, "Annular")
        with pytest.raises(RecordIsStale):
            ask_again(plan, version=plan.version - 1, by=world.supervisor, at=PLANNED)

    def test_a_plan_being_worked_out_is_not_changed(self, world: World):
        plan = a_plan(world, "Annular")
        again = ask_again(plan, version=plan.version, by=world.supervisor, at=PLANNED)
        with pytest.raises(Refused, match="being worked out"):
            remove_line_up(plan.steps.get(), version=again.version, by=world.supervisor, at=PLANNED)


class TestOutdated:
    def test_a_plan_fits_what_it_was_made_for(self, world: World):
        assert outdated(a_plan(world), at=PLANNED + timedelta(hours=1)) == ""

    def test_another_figure_of_the_section_that_moves_a_pressure_is_told(self, world: World):
        plan = a_plan(world, "Lower pipe ram", barrier="none")
        type(world.section).objects.filter(pk=world.section.pk).update(
            casing_internal_yield_value="7000", casing_internal_yield_si=7000 * 6894.757293168
        )
        plan = LineUpPlan.objects.get(pk=plan.pk)
        assert "Other test pressures are required now" in outdated(plan, at=PLANNED)

    def test_a_change_of_the_pressure_system_is_told(self, world: World):
        plan = a_plan(world, "Annular")
        world.stack.pressure_system.elements.filter(name="Kill line bleed valve").update(holds_from="well-side")
        assert "pressure system was changed" in outdated(plan, at=PLANNED)


class TestRefused:
    def test_nothing_chosen(self, world: World):
        with pytest.raises(Refused) as refused:
            self.made(world, wanted=[])
        assert refused.value.field == "wanted"

    def test_a_side_that_is_not_on_the_list(self, world: World):
        with pytest.raises(Refused, match="not on the list") as refused:
            self.made(world, wanted=["999999:below"])
        assert refused.value.field == "wanted"

    def test_no_section_without_a_stump(self, world: World):
        with pytest.raises(Refused) as refused:
            self.made(world, wanted=keys_of(world), section=None)
        assert refused.value.field == "section"

    def test_a_reason_or_plug_nobody_knows(self, world: World):
        for field in ("reason", "barrier"):
            with pytest.raises(Refused) as refused:
                self.made(world, wanted=keys_of(world), **{field: "because"})
            assert refused.value.field == field

    def test_a_stack_without_a_pressure_system(self, world: World):
        wanted = keys_of(world)
        PressureSystem.objects.filter(stack=world.stack).update(stack=self.bare(world))
        world.stack.refresh_from_db()
        with pytest.raises(Refused, match="No pressure system is drawn up"):
            self.made(world, wanted=wanted)

    def test_a_rig_without_rules(self, world: World):
        wanted = keys_of(world)
        Programme.objects.filter(rig=world.rig).delete()
        with pytest.raises(Refused, match="No rules are chosen"):
            self.made(world, wanted=wanted)

    @staticmethod
    def made(world: World, **facts: object) -> LineUpPlan:
        given = {"section": world.section, "reason": "interval", "barrier": "plug", **facts}
        return make_plan(world.stack, **given, by=world.supervisor, at=PLANNED)  # type: ignore[arg-type]

    @staticmethod
    def bare(world: World) -> object:
        return type(world.stack).objects.create(rig=world.rig, name="Spare stack", kind="surface")
