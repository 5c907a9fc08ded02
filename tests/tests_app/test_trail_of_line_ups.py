"""Every action on a plan of line-ups writes one entry in the trail: who did it, when, on which rig, to which plan."""

import inspect
from collections import Counter
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest

from tests.builders_line_ups import PLANNED, a_plan, a_planning_world, a_waiting_plan, keys_of
from tests.builders_tests_app import World, a_heading, a_recording, leaking
from tests.kept import Keep
from tests_app.actions import leak_plans, line_up_answers, line_up_plans, line_up_steps, line_up_tests
from tests_app.actions.line_up_steps import StepSpec
from tests_app.models import LineUpPlan, LineUpStep, Record, Step
from trail.actors import System
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db

Prepared = tuple[tuple[Any, ...], dict[str, Any]]
AT = PLANNED + timedelta(hours=2)
SPEC = StepSpec("Kill line", "5 in", "5000 psi", ("Test plug",))


@dataclass(frozen=True)
class Planned:
    """A rig whose stack has a plan of two steps, worked out."""

    world: World
    plan: LineUpPlan

    @property
    def first(self) -> LineUpStep:
        """Return the first line-up of the plan."""
        step: LineUpStep = self.plan.steps.get(order=1)
        return step


def a_planned_world() -> Planned:
    world = a_planning_world()
    return Planned(world, a_plan(world, "Inner choke valve", "Outer choke valve"))


@pytest.fixture(scope="module")
def kept_plan(keep: Keep) -> Planned:
    return keep(a_planned_world)


@pytest.fixture
def planned(kept_plan: Planned, db: None) -> Planned:
    return deepcopy(kept_plan)


def opened(planned: Planned, **who: Any) -> Record:
    return line_up_tests.open_test_of_plan(
        planned.plan,
        section=planned.world.section,
        heading=a_heading(),
        instruments=[planned.world.recorder],
        version=planned.plan.version,
        **who or {"by": planned.world.supervisor, "at": PLANNED},
    )


def a_failed_step(planned: Planned) -> Step:
    step: Step = opened(planned).steps.get(order=1)
    a_recording(step.record, planned.world, leaking(), step=step)
    return step


def making(planned: Planned) -> Prepared:
    facts = {"section": planned.world.section, "reason": "interval", "barrier": "plug"}
    return (planned.world.stack,), {**facts, "wanted": keys_of(planned.world, ["Annular"])}


def stepping(**facts: Any) -> Callable[[Planned], Prepared]:
    return lambda planned: ((planned.first,), {**facts, "version": planned.plan.version})


CASES: dict[str, tuple[str, Callable[[Planned], Prepared]]] = {
    "make_plan": ("line-up-plan.made", making),
    "ask_again": ("line-up-plan.asked-again", lambda planned: ((planned.plan,), {"version": planned.plan.version})),
    "find_leak": ("line-up-plan.leak-search-asked", lambda planned: ((a_failed_step(planned),), {})),
    "add_line_up": ("line-up.added", lambda planned: ((planned.plan, SPEC), {"version": planned.plan.version})),
    "change_line_up": ("line-up.changed", stepping(spec=SPEC)),
    "move_line_up": ("line-up.moved", stepping(to_order=2)),
    "pin_line_up": ("line-up.pinned", stepping(pinned=True)),
    "remove_line_up": ("line-up.removed", stepping()),
}
OF_MORE = {"work_out", "open_test_of_plan"}
"""What comes of itself, or does what other actions do as well; each is tried by name below."""
PARTS = {"tell_plan"}
"""Writes the entry of an action on a plan."""
MODULES = (line_up_plans, line_up_steps, line_up_tests, line_up_answers, leak_plans)
ACTIONS = {
    name: function
    for module in MODULES
    for name, function in inspect.getmembers(module, inspect.isfunction)
    if inspect.unwrap(function).__module__ == module.__name__
    and not name.startswith("_")
    and "by" in inspect.signature(function).parameters
}


def test_every_action_is_tried():
    assert set(ACTIONS) - PARTS == set(CASES) | OF_MORE


@pytest.mark.parametrize("name", sorted(CASES))
def test_an_action_writes_one_entry(planned: Planned, name: str):
    event, prepare = CASES[name]
    arguments, facts = prepare(planned)
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    row = ACTIONS[name](*arguments, **facts, by=planned.world.supervisor, at=AT)
    (entry,) = TrailEntry.objects.exclude(pk__in=before)
    assert (entry.event, entry.actor, entry.at) == (event, planned.world.supervisor, AT)
    assert entry.rig_number == planned.world.rig.pk
    subject = row or arguments[0]  # what was taken out is not given back
    assert (entry.subject_type, entry.subject_id) == (subject._meta.label_lower, subject.pk)
    assert entry.subject_label


def test_working_out_is_one_entry_in_the_planner_s_name_and_taking_the_plan_up_none(planned: Planned):
    plan = a_waiting_plan(planned.world, "Annular")
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    assert line_up_answers.work_out(plan.pk, by=System.PLANNER, at=AT)
    (entry,) = TrailEntry.objects.exclude(pk__in=before)
    assert (entry.event, entry.actor, entry.actor_name) == ("line-up-plan.worked-out", None, System.PLANNER.value)
    assert (entry.at, entry.rig_number, entry.subject_id) == (AT, planned.world.rig.pk, plan.pk)


def test_a_plan_worked_out_already_writes_none(planned: Planned):
    before = TrailEntry.objects.count()
    assert not line_up_answers.work_out(planned.plan.pk, by=System.PLANNER, at=AT)
    assert TrailEntry.objects.count() == before


def test_opening_a_test_is_one_entry_of_the_plan_and_those_of_the_test_as_if_opened_by_hand(planned: Planned):
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    record = opened(planned, by=planned.world.supervisor, at=AT)
    written = TrailEntry.objects.exclude(pk__in=before)
    told = Counter(entry.event for entry in written)
    assert told == {"record.opened": 1, "step.added": record.steps.count(), "line-up-plan.test-opened": 1}
    assert {(entry.actor, entry.at, entry.rig_number) for entry in written} == {
        (planned.world.supervisor, AT, planned.world.rig.pk)
    }
    assert written.get(event="line-up-plan.test-opened").subject_id == planned.plan.pk


def test_asking_for_a_search_that_is_running_writes_none(planned: Planned):
    step = a_failed_step(planned)
    leak_plans.find_leak(step, by=planned.world.supervisor, at=AT)
    before = TrailEntry.objects.count()
    leak_plans.find_leak(step, by=planned.world.supervisor, at=AT)
    assert TrailEntry.objects.count() == before
