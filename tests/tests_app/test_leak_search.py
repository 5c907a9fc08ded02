"""The leak of a failed step of a test opened from a plan is singled out in further steps, what held before left out."""

from datetime import timedelta

import pytest

from equipment.errors import Refused
from tests.builders_line_ups import PLANNED, a_plan, a_planning_world
from tests.builders_tests_app import STARTED, World, a_draft, a_heading, a_recording, a_step, good, leaking
from tests.kept import Keep
from tests_app.actions.leak_plans import find_leak
from tests_app.actions.line_up_answers import work_out
from tests_app.actions.line_up_tests import open_test_of_plan
from tests_app.models import LineUpPlan, PlanState, Step
from tests_app.queries.line_up_plans import seen
from tests_app.queries.records import steps_of
from trail.actors import System

pytestmark = pytest.mark.django_db
LATER = STARTED + timedelta(hours=2)


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    return keep(a_planning_world)


def steps_of_a_test(world: World) -> list[Step]:
    plan = a_plan(world, "Upper pipe ram", "Inner choke valve", "Outer choke valve")
    record = open_test_of_plan(
        plan,
        section=world.section,
        heading=a_heading(),
        instruments=[world.recorder],
        version=plan.version,
        by=world.supervisor,
        at=PLANNED,
    )
    return list(steps_of(record))


def searched(world: World, step: Step) -> LineUpPlan:
    plan = find_leak(step, by=world.supervisor, at=LATER)
    work_out(plan.pk, by=System.PLANNER, at=LATER)
    plan.refresh_from_db()
    return plan


def test_what_the_failed_step_tested_is_told_apart_by_valid_steps(world: World):
    first = steps_of_a_test(world)[0]
    a_recording(first.record, world, leaking(), step=first, at=LATER)
    plan = searched(world, first)
    assert (plan.state, plan.failure) == (PlanState.READY, "")
    told = plan.told_apart
    assert told["steps"] == [] or told["fewest_proven"]
    assert not any(step.faults for step in seen(plan).steps)
    ends = {
        name
        for one in told["steps"]
        for end in (one["if_it_leaks"], one["if_it_holds"])
        for name in end.get("among", ())
    }
    assert ends == (set(told["suspects"]) if told["steps"] else set())


def test_what_an_earlier_step_proved_is_not_suspected(world: World):
    first, second, *_ = steps_of_a_test(world)
    a_recording(first.record, world, good(), step=first, at=LATER)
    a_recording(first.record, world, leaking(), step=second, at=LATER)
    told = searched(world, second).told_apart
    assert not set(told["cleared"]) & set(told["suspects"])
    assert "Test plug from Below Lower pipe ram" in told["cleared"]


def test_asking_twice_gives_back_the_search_that_is_running(world: World):
    first = steps_of_a_test(world)[0]
    a_recording(first.record, world, leaking(), step=first, at=LATER)
    one = find_leak(first, by=world.supervisor, at=LATER)
    assert find_leak(first, by=world.supervisor, at=LATER) == one


def test_a_step_that_did_not_fail_has_no_leak_to_search(world: World):
    with pytest.raises(Refused, match="did not fail"):
        find_leak(steps_of_a_test(world)[0], by=world.supervisor, at=LATER)


def test_a_step_that_came_from_no_plan_says_that_its_line_up_is_not_known(world: World):
    step = a_step(a_draft(world), world, "Upper pipe ram")
    a_recording(step.record, world, leaking(), step=step, at=LATER)
    step.refresh_from_db()
    with pytest.raises(Refused, match="line-up of Step 1"):
        find_leak(step, by=world.supervisor, at=LATER)
