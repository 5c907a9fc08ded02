"""A test opened from a plan has its steps and lines in the plan's order, and names the plan."""

from datetime import timedelta

import pytest

from equipment.errors import Refused
from tests.builders_line_ups import PLANNED, a_plan, a_planning_world
from tests.builders_tests_app import World, a_heading
from tests.kept import Keep
from tests_app.actions.line_up_steps import StepSpec, change_line_up, remove_line_up
from tests_app.actions.line_up_tests import open_test_of_plan
from tests_app.actions.pressure_tests import discard_record
from tests_app.models import LineUpPlan, Record
from tests_app.queries.completeness import open_points
from tests_app.queries.line_up_plans import seen
from tests_app.queries.line_ups import pipe_doubts
from tests_app.queries.records import steps_of

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    return keep(a_planning_world)


def opened(plan: LineUpPlan, world: World, **heading: object) -> Record:
    plan.refresh_from_db()
    return open_test_of_plan(
        plan,
        section=world.section,
        heading=a_heading(**heading),
        instruments=[world.recorder],
        version=plan.version,
        by=world.supervisor,
        at=PLANNED,
    )


def test_the_steps_stand_in_the_order_of_the_plan_each_with_the_lines_it_proves_first(world: World):
    plan = a_plan(world)
    planned = seen(plan).steps
    record = opened(plan, world)
    steps = list(steps_of(record))
    assert [step.pump_point for step in steps] == [one.row.pump_point for one in planned]
    for step, one in zip(steps, planned, strict=True):
        lines = {(line.position.pk, line.pressure_from) for line in step.lines.all()}
        assert lines == {(copy["position"], copy["pressure_from"]) for copy in one.first}
        assert one.limits is not None
        assert step.limits["high"]["target"] == one.limits["high"]["target"]
        one.row.refresh_from_db()
        assert one.row.opened_as == step


def test_the_record_names_the_plan_and_the_plan_the_record(world: World):
    plan = a_plan(world, "Annular")
    record = opened(plan, world)
    plan.refresh_from_db()
    assert (plan.record, record.pressure_test.plan_reference) == (record, f"Line-up plan {plan.number}")


def test_a_step_on_other_pipe_than_the_heading_states_says_so_in_its_remarks(world: World):
    record = opened(a_plan(world, "Upper pipe ram", "Blind-shear ram"), world, pipe_in_hole="5 in")
    remarks = {step.name: step.remarks for step in steps_of(record)}
    assert remarks == {"Upper pipe ram": "", "Blind-shear ram": "Pipe in the hole in this step: none."}
    assert [doubt for step in steps_of(record) for doubt in pipe_doubts(step) if doubt.blocks] == []


def test_a_ram_whose_step_states_pipe_it_does_not_close_on_is_doubted(world: World):
    record = opened(a_plan(world, "Blind-shear ram"), world, pipe_in_hole="")
    step = record.steps.get()
    assert pipe_doubts(step) == []
    step.remarks = "Pipe in the hole in this step: 5 in."
    assert "its remarks say pipe of 5 in" in pipe_doubts(step)[0].reason


def test_only_evidence_is_missing_from_a_test_opened_from_a_plan(world: World):
    record = opened(a_plan(world, "Annular", "Upper pipe ram"), world)
    assert {point.field.partition("-")[0] for point in open_points(record) if point.blocks} <= {
        "step",
        "concluded_at",
        "steps",
    }


def test_a_plan_with_an_open_test_stays_as_it_is(world: World):
    plan = a_plan(world, "Annular")
    opened(plan, world)
    plan.refresh_from_db()
    with pytest.raises(Refused, match="A test was opened from this plan"):
        remove_line_up(plan.steps.get(), version=plan.version, by=world.supervisor, at=PLANNED)


def test_a_plan_whose_test_was_given_up_opens_another(world: World):
    plan = a_plan(world, "Annular")
    record = opened(plan, world)
    discard_record(record, reason="Pump broke down", by=world.supervisor, at=PLANNED + timedelta(minutes=1))
    assert opened(plan, world).number == record.number + 1


class TestRefused:
    def test_a_step_that_is_not_valid(self, world: World):
        plan = a_plan(world, "Annular", "Upper pipe ram")
        step = plan.steps.get(order=1)
        spec = StepSpec(step.pump_point, step.pipe, "1000 psi", [])
        change_line_up(step, spec, version=plan.version, by=world.supervisor, at=PLANNED)
        with pytest.raises(Refused, match="Step 1 is not valid"):
            opened(plan, world)
        assert not Record.objects.exists()

    @pytest.mark.parametrize(("field", "value"), [("reason", "after-repair"), ("barrier", "cup")])
    def test_another_reason_or_plug_than_it_was_planned_for(self, world: World, field: str, value: str):
        plan = a_plan(world, "Annular")
        with pytest.raises(Refused, match="made for another section, reason or plug") as refused:
            opened(plan, world, **{field: value})
        assert refused.value.field == field

    def test_a_plan_that_no_longer_fits_the_rig(self, world: World):
        plan = a_plan(world, "Annular")
        world.stack.pressure_system.elements.filter(name="Kill line bleed valve").update(holds_from="well-side")
        with pytest.raises(Refused, match="no longer fits"):
            opened(plan, world)
