"""Steps of a plan changed by hand: what is then no longer proved is said at once, and what is not valid, and why."""

from datetime import timedelta

import pytest

from equipment.errors import Refused
from tests.builders_line_ups import PLANNED, a_plan, a_planning_world
from tests.builders_tests_app import World
from tests.kept import Keep
from tests_app.actions.line_up_steps import (
    StepSpec,
    add_line_up,
    change_line_up,
    move_line_up,
    pin_line_up,
    remove_line_up,
)
from tests_app.errors import RecordIsStale
from tests_app.models import LineUpPlan, LineUpStep
from tests_app.queries.line_up_plans import seen
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db
LATER = PLANNED + timedelta(minutes=5)
PLUGGED = ("Test plug", "Outer kill valve", "Kill line bleed valve", "Outer choke valve", "Safety valve")


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    return keep(a_planning_world)


@pytest.fixture
def plan(world: World) -> LineUpPlan:
    return a_plan(world, "Annular", "Upper pipe ram")


def names(copies: tuple[dict[str, object], ...]) -> list[object]:
    return [copy["element"] for copy in copies]


def test_a_step_taken_out_leaves_what_it_alone_proved_unproved(world: World, plan: LineUpPlan):
    annular = next(step for step in seen(plan).steps if names(step.first) == ["Annular"])
    remove_line_up(annular.row, version=plan.version, by=world.supervisor, at=LATER)
    found = seen(plan)
    assert names(found.unproved) == ["Annular"]
    assert not found.is_fewest
    assert [step.row.order for step in found.steps] == [1]


def test_a_step_that_would_press_on_the_open_air_is_not_valid_and_says_so(world: World, plan: LineUpPlan):
    step = seen(plan).steps[0].row
    spec = StepSpec(step.pump_point, step.pipe, "7000 psi", [name for name in step.closed if name != "Test plug"])
    change_line_up(step, spec, version=plan.version, by=world.supervisor, at=LATER)
    changed = seen(plan).steps[0]
    assert any("open to the air and would be pressurised" in fault for fault in changed.faults)
    assert (changed.first, changed.row.by_hand, changed.row.is_pinned) == ((), True, True)


def test_a_step_pumped_lower_than_a_proof_needs_no_longer_gives_it(world: World, plan: LineUpPlan):
    ram = next(step for step in seen(plan).steps if names(step.first) == ["Upper pipe ram"]).row
    spec = StepSpec(ram.pump_point, ram.pipe, "9990 psi", ram.closed)
    change_line_up(ram, spec, version=plan.version, by=world.supervisor, at=LATER)
    assert names(seen(plan).unproved) == ["Upper pipe ram"]


def test_a_step_on_pipe_its_ram_does_not_close_on_is_not_valid(world: World, plan: LineUpPlan):
    ram = next(step for step in seen(plan).steps if names(step.first) == ["Upper pipe ram"]).row
    spec = StepSpec("Kill line", "none", "10000 psi", ram.closed)
    change_line_up(ram, spec, version=plan.version, by=world.supervisor, at=LATER)
    faults = next(step.faults for step in seen(plan).steps if step.row.pk == ram.pk)
    assert "Upper pipe ram does not close on an empty hole." in faults


def test_a_step_added_by_hand_proves_again_what_is_proved_and_first_what_is_not(world: World, plan: LineUpPlan):
    spec = StepSpec("Test joint", "5 in", "10000 psi", [*PLUGGED, "Upper pipe ram"])
    added = add_line_up(plan, spec, version=plan.version, by=world.supervisor, at=LATER)
    last = seen(plan).steps[-1]
    assert (last.row, names(last.first), names(last.again)) == (added, [], ["Upper pipe ram"])
    plan.refresh_from_db()
    move_line_up(added, to_order=1, version=plan.version, by=world.supervisor, at=LATER)
    assert names(seen(plan).steps[0].first) == ["Upper pipe ram"]


def test_moved_steps_keep_their_numbers_without_gaps_and_their_movements_follow(world: World):
    plan = a_plan(world)
    before = seen(plan)
    last = before.steps[-1].row
    move_line_up(last, to_order=1, version=plan.version, by=world.supervisor, at=LATER)
    after = seen(plan)
    assert [step.row.order for step in after.steps] == list(range(1, len(before.steps) + 1))
    assert after.steps[0].row.pk == last.pk
    assert set(after.steps[0].moves.close) == set(last.closed) - after.system.normally_closed


def test_every_change_counts_and_stands_in_the_trail(world: World, plan: LineUpPlan):
    step = plan.steps.get(order=1)
    pin_line_up(step, pinned=True, version=plan.version, by=world.supervisor, at=LATER)
    with pytest.raises(RecordIsStale):
        remove_line_up(step, version=plan.version, by=world.supervisor, at=LATER)
    entry = TrailEntry.objects.get(event="line-up.pinned", subject_id=step.pk)
    assert entry.before is not None
    assert entry.after is not None
    assert (entry.before["is_pinned"], entry.after["is_pinned"]) == ("False", "True")


@pytest.mark.parametrize(
    ("field", "changed"),
    [
        ("pump_point", {"pump_point": "Moon pool"}),
        ("pipe", {"pipe": "13 in"}),
        ("pressure", {"pressure": "5000"}),
        ("pressure", {"pressure": "-5000 psi"}),
        ("closed", {"closed": ["Front door"]}),
        ("closed", {"closed": ["Drilling spool"]}),
    ],
)
def test_what_names_nothing_of_the_system_is_refused_beside_its_field(
    world: World, plan: LineUpPlan, field: str, changed: dict[str, object]
):
    facts = {"pump_point": "Test joint", "pipe": "5 in", "pressure": "5000 psi", "closed": [], **changed}
    with pytest.raises(Refused) as refused:
        add_line_up(plan, StepSpec(**facts), version=plan.version, by=world.supervisor, at=LATER)  # type: ignore[arg-type]
    assert refused.value.field == field
    assert LineUpStep.objects.filter(plan=plan).count() == 2


def test_a_place_that_is_not_there_is_refused(world: World, plan: LineUpPlan):
    with pytest.raises(Refused, match="There is no place 3"):
        move_line_up(plan.steps.get(order=1), to_order=3, version=plan.version, by=world.supervisor, at=LATER)
