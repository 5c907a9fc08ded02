"""What each element must show, and what one hold can prove together."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calcs.units import Dimension
from equipment.actions import components, wells
from equipment.errors import Refused
from equipment.models import Position
from tests import builders
from tests.builders_tests_app import STARTED, World, a_draft, a_step, a_world
from tests_app.actions.steps import amend_step
from tests_app.models import Line, Record, Step
from tests_app.queries import requirements
from tests_app.queries.completeness import open_points
from tests_app.queries.requirements import circumstances_of, needs_of

pytestmark = pytest.mark.django_db


def only_line(step: Step) -> Line:
    return step.lines.get()


def required(world: World, name: str, *, side: str = "", **heading: object) -> Line:
    return only_line(a_step(a_draft(world, **heading), world, name, side=side))


def test_a_ram_is_held_at_its_rated_working_pressure_from_below(world: World):
    line = required(world, "Upper pipe ram")
    assert (str(line.required_low_min), str(line.required_low_max)) == ("250 psi", "350 psi")
    assert str(line.required_high) == "10,000 psi"
    assert line.pressure_from == "below"
    assert "30 CFR 250.737(b)(2)" in line.clause


def test_an_annular_is_held_at_seventy_percent_of_its_rating(world: World):
    line = required(world, "Annular")
    assert str(line.required_high) == "7,000 psi"
    assert any("70 % of the RWP of the component, 10,000 psi" in step for step in line.working)
    assert "30 CFR 250.737(b)(3)" in line.clause


def test_a_valve_is_proved_from_the_well_side_unless_said_otherwise(world: World):
    assert required(world, "Inner choke valve").pressure_from == "well-side"
    assert required(world, "Inner choke valve", side="far-side").pressure_from == "far-side"


def test_a_valve_above_the_uppermost_ram_sees_the_annulars_pressure_from_inside_and_its_own_rating_from_outside():
    world = a_world("subsea")
    inside = required(world, "Gas bleed valve", pod="blue")
    assert str(inside.required_high) == "7,000 psi"
    outside = required(world, "Gas bleed valve", side="far-side", pod="blue")
    assert str(outside.required_high) == "10,000 psi"


def test_the_wellhead_limits_what_stands_on_it():
    world = a_world(section={"wellhead_rated_working_pressure": "5000 psi"})
    line = required(world, "Upper pipe ram")
    assert str(line.required_high) == "5,000 psi"
    assert any("RWP of the wellhead 5,000 psi" in step for step in line.working)


def test_on_the_stump_neither_wellhead_nor_casing_is_in_reach():
    world = a_world(section={"wellhead_rated_working_pressure": "5000 psi"})
    assert str(required(world, "Upper pipe ram", barrier="stump", reason="stump").required_high) == "10,000 psi"


@pytest.mark.parametrize("barrier", ["none", "cup"])
def test_without_a_plug_the_casing_limits_the_test(world: World, barrier: str):
    line = required(world, "Upper pipe ram", barrier=barrier)
    assert str(line.required_high) == "8,000 psi"
    assert any("internal yield of the casing 8,000 psi" in step for step in line.working)


def test_against_casing_of_unknown_strength_nothing_is_tested():
    world = a_world(section={"casing_internal_yield": None})
    with pytest.raises(Refused, match="internal yield pressure") as refusal:
        required(world, "Upper pipe ram", barrier="none")
    assert refusal.value.field == "lines"
    assert "plug" in refusal.value.remedy


def test_masp_plus_a_margin_stands_in_for_the_rating_only_with_a_permit(world: World):
    assert str(required(world, "Upper pipe ram").required_high) == "10,000 psi"
    wells.amend_section(world.section, masp_margin_approval="Permit 14-2", by=world.supervisor, at=STARTED)
    world.section.refresh_from_db()
    line = required(world, "Upper pipe ram")
    assert line.required_high.in_unit(Dimension.PRESSURE, "psi") == pytest.approx(5500)
    assert any("MASP 5,000 psi + 500 psi" in step for step in line.working)
    assert any("Permit 14-2" in step for step in line.working)


def test_a_digital_recorder_in_calibration_allows_the_shorter_hold_on_a_surface_stack(world: World):
    assert required(world, "Upper pipe ram").hold_seconds == 180


@pytest.mark.parametrize(
    ("kind", "facts", "seconds"),
    [
        ("gauge", {}, 300),
        ("digital-recorder", {"calibration_due_on": None}, 300),
        ("chart-recorder", {"chart_hours": "4"}, 300),
        ("chart-recorder", {"chart_hours": "1"}, 180),
    ],
)
def test_without_an_eligible_recorder_the_hold_is_whole(
    world: World, kind: str, facts: dict[str, object], seconds: int
):
    other = builders.an_instrument(world.rig, kind, **facts)
    record = a_draft(world, instruments=[other])
    assert only_line(a_step(record, world, "Upper pipe ram")).hold_seconds == seconds


def test_subsea_the_hold_is_whole_whatever_records_it():
    world = a_world("subsea")
    assert required(world, "Upper pipe ram", pod="blue").hold_seconds == 300


def test_a_recorder_whose_calibration_ran_out_on_the_rigs_day_is_not_eligible(world: World):
    # STARTED is the morning of 2 March in Chicago.
    last_day = STARTED.date()
    recorder = builders.an_instrument(world.rig, calibration_due_on=last_day)
    assert requirements.is_eligible_recorder(recorder, on=last_day)
    assert not requirements.is_eligible_recorder(recorder, on=last_day.replace(day=3))


def test_a_step_is_held_to_the_highest_pressure_and_the_longest_hold_of_its_lines(world: World):
    step = a_step(a_draft(world), world, "Upper pipe ram", "Inner choke valve", "Manifold valve 1")
    assert step.limits["high"]["target"] == {"value": 10000.0, "unit": "psi"}
    assert step.limits["low"]["restart_above"] == {"value": 500.0, "unit": "psi"}
    assert step.lines.count() == 3


def test_a_weaker_element_is_told_to_a_step_of_its_own():
    world = a_world()
    weak = components.amend_component(
        world.at("Manifold valve 1").installations.get().component,
        rated_working_pressure="5000 psi",
        reason="Nameplate",
        by=world.supervisor,
        at=STARTED,
    )
    assert str(weak.rated_working_pressure) == "5,000 psi"
    with pytest.raises(Refused) as refusal:
        a_step(a_draft(world), world, "Upper pipe ram", "Manifold valve 1")
    assert refusal.value.reason == (
        "Upper pipe ram is required at 10,000 psi, but the RWP of Manifold valve 1 is 5,000 psi: "
        "one hold cannot prove both."
    )
    assert refusal.value.remedy == "Test Manifold valve 1 in a step of its own."


def test_two_preventers_closed_on_one_hold_from_below_are_refused(world: World):
    with pytest.raises(Refused, match="the lowest one closed holds the pressure off the others"):
        a_step(a_draft(world), world, "Annular", "Upper pipe ram")


def test_a_blind_ram_does_not_pass_unexplained_while_pipe_stands_in_the_hole(world: World):
    record = a_draft(world, pipe_in_hole="5 in")
    step = a_step(record, world, "Blind-shear ram")
    told = [point for point in open_points(record) if "closes on no pipe" in point.reason]
    assert [(point.field, point.blocks) for point in told] == [(f"step-{step.order}", True)]
    amend_step(
        step, name=step.name, pump_point="", remarks="Pipe pulled above the stack", by=world.supervisor, at=STARTED
    )
    assert not [point for point in open_points(record) if "closes on no pipe" in point.reason]


def test_an_exempt_element_is_refused_with_the_reason():
    world = a_world("subsea")
    with pytest.raises(Refused, match="does not seal"):
        required(world, "Casing-shear ram", pod="blue")


def test_an_empty_position_is_refused(world: World):
    with pytest.raises(Refused, match="is empty"):
        required(world, "Upper pipe ram", at=builders.LONG_AGO.replace(year=2020))


def test_a_component_without_a_rating_is_refused(world: World):
    component = world.at("Upper pipe ram").installations.get().component
    components.amend_component(
        component, rated_working_pressure=None, reason="Plate lost", by=world.supervisor, at=STARTED
    )
    with pytest.raises(Refused, match="no rated working pressure"):
        required(world, "Upper pipe ram")


def test_a_position_of_another_stack_is_refused(world: World):
    other = a_world()
    with pytest.raises(Refused, match="no position of"):
        needs_of([(other.at("Annular"), "")], under=circumstances_of(a_draft(world)))


def test_a_rating_in_bar_keeps_its_own_round_figure():
    world = a_world(rig={"display_units": "si"}, section={"wellhead_rated_working_pressure": "690 bar"})
    ram = world.at("Upper pipe ram").installations.get().component
    components.amend_component(
        ram, rated_working_pressure="690 bar", reason="Nameplate", by=world.supervisor, at=STARTED
    )
    line = required(world, "Upper pipe ram")
    assert str(line.required_high) == "690 bar"
    assert any("69,000 kPa" in step for step in line.working)


def test_the_lines_keep_the_component_as_it_stood(world: World):
    line = required(world, "Upper pipe ram")
    kept = dict(line.component_as_tested)
    assert kept["rated_working_pressure"] == {"value": "10000", "unit": "psi"}
    assert kept["position"] == "Upper pipe ram"
    components.amend_component(line.component, serial="SCRATCHED", by=world.supervisor, at=STARTED)
    line.refresh_from_db()
    assert line.component_as_tested == kept


def test_working_out_what_a_stack_must_show_takes_the_same_queries_for_few_and_many(world: World):
    record = a_draft(world)
    few = [(world.at("Annular"), "")]
    many = [(world.at(name), "") for name, kind, *_ in builders.SURFACE_POSITIONS if kind != "closing-unit"]
    assert queries_for(record, few) == queries_for(record, many)


def queries_for(record: Record, elements: list[tuple[Position, str]]) -> int:
    with CaptureQueriesContext(connection) as queries:
        needs_of(elements, under=circumstances_of(Record.objects.get(pk=record.pk)))
    return len(queries)
