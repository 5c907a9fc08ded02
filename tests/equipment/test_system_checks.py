"""What is found not right about a pressure system, and what stops planning on it."""

from typing import Any

import pytest

from equipment.actions import pressure_systems
from equipment.models import PressureSystem, Stack
from equipment.queries.pressure_systems import contents_of
from equipment.queries.system_checks import Finding, findings
from equipment.queries.system_places import usual_pipe_strings
from tests.builders import DAY, a_component, a_filled_stack, a_position, a_rig, a_stack, an_installation
from tests.builders_pressure_systems import a_pressure_system
from trail.actors import System

pytestmark = pytest.mark.django_db

SIZED = {"closes_on_smallest": "5 in", "closes_on_largest": "5 in"}


WITH_A_CHECK_VALVE = (
    ("Annular", "annular", "bore", ""),
    ("Pipe ram", "pipe-ram", "bore", ""),
    ("Kill valve", "kill-valve", "kill-side", "Pipe ram"),
    ("Kill check valve", "check-valve", "kill-side", "Pipe ram"),
)


def a_sized_stack() -> Stack:
    """A surface stack whose rams close on 5 in."""
    stack = a_stack(a_rig())
    for position in stack.positions.all():
        an_installation(position, a_component(stack.rig, position.kind, **SIZED))
    return stack


def found(system: PressureSystem) -> list[Finding]:
    return findings(contents_of(system, at=DAY))


def about(system: PressureSystem, name: str) -> list[Finding]:
    return [finding for finding in found(system) if str(finding.subject) == name]


def amend(system: PressureSystem, name: str, **facts: Any) -> None:
    cavity = system.cavities.filter(name=name).first()
    if cavity is not None:
        pressure_systems.amend_cavity(cavity, **facts, by=System.DEMO, at=DAY)
    else:
        pressure_systems.amend_element(system.elements.get(name=name), **facts, by=System.DEMO, at=DAY)


@pytest.mark.parametrize("kind", ["surface", "subsea"])
def test_nothing_of_the_usual_system_stops_planning(kind: str) -> None:
    system = a_pressure_system(a_filled_stack(a_rig(), kind))

    assert [finding for finding in found(system) if finding.stops] == []


def test_a_stack_with_sizes_and_ratings_is_found_right() -> None:
    assert found(a_pressure_system(a_sized_stack())) == []


def test_without_pump_points_or_vents_nothing_can_be_planned() -> None:
    system = a_pressure_system(a_sized_stack())
    for cavity in system.cavities.all():
        amend(system, cavity.name, is_pump_point=False, is_vent=False)

    stopping = [finding.reason for finding in found(system) if finding.stops]

    assert stopping == ["No cavity is a pump point.", "No cavity is open to the air, so no leak would ever be seen."]


def test_what_hangs_on_nothing_is_named_and_stops_planning() -> None:
    system = a_pressure_system(a_sized_stack())
    pressure_systems.add_cavity(system, name="Booster line", by=System.DEMO, at=DAY)
    pressure_systems.remove_element(system.elements.get(name="Manifold valve 1"), by=System.DEMO, at=DAY)

    reasons = {str(one.subject): one.reason for one in found(system) if one.stops}

    assert reasons == {
        "Booster line": "No element touches it.",
        "Separator and tanks": "No element touches it.",
    }


def test_a_cavity_that_ends_blind_hides_the_leak_into_it() -> None:
    system = a_pressure_system(a_sized_stack())
    amend(system, "Kill line bleed", is_vent=False)

    (finding,) = about(system, "Kill line bleed")

    assert "a leak of Kill line bleed valve into it would not be seen" in finding.reason
    assert not finding.stops


def test_an_element_without_a_rating_stops_planning() -> None:
    system = a_pressure_system(a_sized_stack(), unlisted_rating=None)

    assert {str(one.subject) for one in found(system) if one.stops} == {
        "Test plug",
        "Kill line bleed valve",
        "Port of the test joint",
    }


def test_a_leak_that_would_run_against_a_check_valve_is_told() -> None:
    stack = a_stack(a_rig(), positions=WITH_A_CHECK_VALVE)
    for position in stack.positions.all():
        an_installation(position, a_component(stack.rig, position.kind, **SIZED))
    system = a_pressure_system(stack)

    (finding,) = found(system)

    assert (str(finding.subject), finding.reason) == (
        "Kill check valve",
        "A leak of Kill valve would run against it and not be seen.",
    )


def test_a_ram_that_closes_on_none_of_the_pipe_names_the_pipe_it_needs() -> None:
    system = a_pressure_system(a_sized_stack(), pipe_strings=["none", "3.5 in"])

    (finding,) = about(system, "Upper pipe ram")

    assert finding.reason == "It closes on pipe of 5 in, which is not among the pipe."


def test_a_ram_without_sizes_on_file_is_told() -> None:
    system = a_pressure_system(a_filled_stack(a_rig()))

    (finding,) = about(system, "Upper pipe ram")

    assert "not on file" in finding.reason


def test_a_position_added_later_is_missed() -> None:
    stack = a_sized_stack()
    system = a_pressure_system(stack)
    a_position(stack, "gate-valve-manual", name="Manifold valve 2", group="manifold")
    a_position(stack, "flexible-line", name="Choke hose", group="choke-side")

    assert [(str(one.subject), one.reason) for one in found(system)] == [
        ("Manifold valve 2", "No element stands for this position."),
        ("Choke hose", "The rating of what stands there bounds no cavity."),
    ]


def test_a_valve_on_the_string_that_claims_to_close_without_pipe_is_told() -> None:
    system = a_pressure_system(a_sized_stack())
    amend(system, "Safety valve", closes_with="any")

    assert "without pipe" in about(system, "Safety valve")[0].reason


def test_the_pipe_offered_is_what_the_fixed_rams_are_made_for() -> None:
    assert usual_pipe_strings(a_sized_stack(), at=DAY) == ["none", "5 in"]
    assert usual_pipe_strings(a_filled_stack(a_rig()), at=DAY) == ["none"]
