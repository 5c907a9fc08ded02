"""The pressure system of a stack: as drawn up from its positions, and as the calculations take it."""

from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from calcs.line_up_verifier import simulate
from calcs.lineups import NO_PIPE, Element, LineUp, System
from equipment.actions import pressure_systems
from equipment.errors import Refused
from equipment.models import CavityLimit, SystemElement
from equipment.queries.pressure_systems import as_system
from equipment.queries.usual_system import usual_system
from tests.builders import DAY, LONG_AGO, a_component, a_filled_stack, a_rig, a_stack, an_installation
from tests.builders_pressure_systems import a_pressure_system
from trail.actors import System as Program
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db


def element(system: System, name: str) -> Element:
    return next(element for element in system.elements if element.id == name)


def test_a_surface_stack_is_drawn_up_from_its_positions() -> None:
    system = as_system(a_pressure_system(a_filled_stack(a_rig())), at=DAY)

    assert [(e.id, *e.between) for e in system.elements] == [
        ("Annular", "Below Annular", "Bell nipple and flow line"),
        ("Upper pipe ram", "Below Upper pipe ram", "Below Annular"),
        ("Blind-shear ram", "Below Blind-shear ram", "Below Upper pipe ram"),
        ("Lower pipe ram", "Below Lower pipe ram", "Below Blind-shear ram"),
        ("Test plug", "Wellhead beneath the test plug", "Below Lower pipe ram"),
        ("Inner choke valve", "Below Blind-shear ram", "Beyond Inner choke valve"),
        ("Outer choke valve", "Beyond Inner choke valve", "Choke line"),
        ("Manifold valve 1", "Choke line", "Separator and tanks"),
        ("Inner kill valve", "Below Blind-shear ram", "Beyond Inner kill valve"),
        ("Outer kill valve", "Beyond Inner kill valve", "Kill line"),
        ("Kill line bleed valve", "Kill line", "Kill line bleed"),
        ("Port of the test joint", "Below Lower pipe ram", "Test joint"),
        ("Safety valve", "Test joint", "Above Safety valve"),
        ("Upper top-drive valve", "Above Safety valve", "Mud pumps"),
    ]
    assert system.pump_points == ("Kill line", "Test joint")
    assert "Below Blind-shear ram" in system.cavity_ratings, "the drilling spool bounds the cavity it stands in"


@pytest.mark.parametrize("kind", ["surface", "subsea"])
def test_no_step_without_pipe_is_pumped_through_the_test_joint(kind: str) -> None:
    """With or without valves of the drive on the list: what could shut the joint's top closes with pipe alone."""
    system = as_system(a_pressure_system(a_filled_stack(a_rig(), kind)), at=DAY)

    open_way = simulate(system, LineUp("Test joint", NO_PIPE, 1e6, frozenset({"Port of the test joint"})))
    shut = frozenset(element.id for element in system.elements)
    forced = simulate(system, LineUp("Test joint", NO_PIPE, 1e6, shut))

    assert open_way.faults
    assert forced.faults


def test_rams_hold_from_below_plugs_from_above_and_valves_from_both_sides() -> None:
    system = as_system(a_pressure_system(a_filled_stack(a_rig())), at=DAY)

    assert element(system, "Lower pipe ram").holds_from == {"Below Lower pipe ram"}
    assert element(system, "Test plug").holds_from == {"Below Lower pipe ram"}
    assert element(system, "Outer choke valve").holds_from == {"Beyond Inner choke valve", "Choke line"}


def test_what_closes_on_pipe_is_what_the_component_says() -> None:
    stack = a_stack(a_rig())
    ram = stack.positions.get(name="Upper pipe ram")
    sizes = {"closes_on_smallest": "5 in", "closes_on_largest": "5 in"}
    an_installation(ram, a_component(stack.rig, ram.kind, **sizes))
    for position in stack.positions.exclude(pk=ram.pk):
        an_installation(position)
    built = a_pressure_system(stack, pipe_strings=("none", "3.5 in", "127 mm"))

    system = as_system(built, at=DAY)

    assert element(system, "Upper pipe ram").closes_on == {"127 mm"}
    assert element(system, "Blind-shear ram").closes_on == {NO_PIPE}
    assert element(system, "Safety valve").closes_on == {"3.5 in", "127 mm"}, "no string, no safety valve"
    assert element(system, "Port of the test joint").closes_on == {NO_PIPE}
    assert element(system, "Outer choke valve").closes_on is None


def test_an_element_without_any_rating_is_named() -> None:
    built = a_pressure_system(a_filled_stack(a_rig()), unlisted_rating=None)

    with pytest.raises(Refused, match="Test plug, Kill line bleed valve and Port of the test joint"):
        as_system(built, at=DAY)


def test_a_stack_has_one_pressure_system() -> None:
    stack = a_filled_stack(a_rig())
    a_pressure_system(stack)

    with pytest.raises(Refused, match="drawn up already"):
        pressure_systems.draw_up(stack, usual_system(stack), pipe_strings=[], by=Program.DEMO, at=LONG_AGO)


def test_drawing_it_up_again_puts_the_usual_in_the_place_of_what_was_changed() -> None:
    built = a_pressure_system(a_filled_stack(a_rig()))
    pressure_systems.remove_element(built.elements.get(name="Outer choke valve"), by=Program.DEMO, at=DAY)

    pressure_systems.draw_up_afresh(
        built, usual_system(built.stack), reason="Changed by mistake.", by=Program.DEMO, at=DAY
    )

    assert built.elements.filter(name="Outer choke valve").exists()
    assert built.elements.count() == 14
    entry = TrailEntry.objects.filter(event="pressure-system.redrawn").get()
    assert "Outer choke valve" not in entry.before["elements"]
    assert "Outer choke valve between Beyond Inner choke valve and Choke line" in entry.after["elements"]


def test_a_cavity_something_stands_at_is_not_removed() -> None:
    built = a_pressure_system(a_filled_stack(a_rig()))

    with pytest.raises(Refused, match="Outer kill valve"):
        pressure_systems.remove_cavity(built.cavities.get(name="Kill line"), by=Program.DEMO, at=DAY)


def test_a_cavity_of_another_stack_is_refused_beside_its_side() -> None:
    rig = a_rig()
    built, other = (a_pressure_system(a_filled_stack(rig)) for _ in range(2))

    with pytest.raises(ValidationError) as refused:
        pressure_systems.amend_element(
            built.elements.get(name="Test plug"),
            well_side=other.cavities.get(name="Kill line"),
            by=Program.DEMO,
            at=DAY,
        )

    assert set(refused.value.message_dict) == {"well_side"}


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"name": "Test joint"}, "name"),
        ({"is_pump_point": True, "is_vent": True}, "is_pump_point"),
        ({"rating": "0 psi"}, "rating"),
    ],
    ids=["a name there is", "pumped and open", "no pressure at all"],
)
def test_a_cavity_that_cannot_be_is_refused_beside_its_field(facts: dict[str, Any], field: str) -> None:
    cavity = a_pressure_system(a_filled_stack(a_rig())).cavities.get(name="Kill line")

    with pytest.raises(Refused) as refused:
        pressure_systems.amend_cavity(cavity, **facts, by=Program.DEMO, at=DAY)

    assert refused.value.field == field


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"name": "Annular"}, "name"),
        ({"far_side": "Kill line"}, "far_side"),
        ({"position": "Annular"}, "position"),
        ({"rating": "-5 psi"}, "rating"),
    ],
    ids=["a name there is", "from a cavity into itself", "a position that has its element", "under zero"],
)
def test_an_element_that_cannot_be_is_refused_beside_its_field(facts: dict[str, Any], field: str) -> None:
    built = a_pressure_system(a_filled_stack(a_rig()))
    element = built.elements.get(name="Kill line bleed valve")
    found = {
        "far_side": lambda name: built.cavities.get(name=name),
        "position": lambda name: built.stack.positions.get(name=name),
    }
    given = {name: found.get(name, str)(value) for name, value in facts.items()}

    with pytest.raises(Refused) as refused:
        pressure_systems.amend_element(element, **given, by=Program.DEMO, at=DAY)

    assert refused.value.field == field


@pytest.mark.parametrize("pipe", ["wide", "0 in", "5 psi"])
def test_pipe_that_is_no_size_is_refused(pipe: str) -> None:
    built = a_pressure_system(a_filled_stack(a_rig()))

    with pytest.raises(ValidationError) as refused:
        pressure_systems.amend_pressure_system(built, pipe_strings=["none", pipe], by=Program.DEMO, at=DAY)

    assert set(refused.value.message_dict) == {"pipe_strings"}


@pytest.mark.parametrize("changed", ["well_side", "position"])
def test_the_database_too_holds_an_element_to_its_own_stack(changed: str) -> None:
    rig = a_rig()
    built, other = (a_pressure_system(a_filled_stack(rig)) for _ in range(2))
    other.elements.get(name="Annular").delete()
    foreign = {
        "well_side": other.cavities.get(name="Kill line"),
        "position": other.stack.positions.get(name="Annular"),
    }

    with pytest.raises(IntegrityError), transaction.atomic():
        SystemElement.objects.filter(system=built, name="Test plug").update(**{changed: foreign[changed]})


def test_the_database_too_holds_a_cavity_to_what_stands_in_its_own_stack() -> None:
    rig = a_rig()
    built, other = (a_pressure_system(a_filled_stack(rig)) for _ in range(2))
    spool = other.stack.positions.get(name="Drilling spool")
    CavityLimit.objects.filter(position=spool).delete()

    with pytest.raises(IntegrityError), transaction.atomic():
        CavityLimit.objects.create(cavity=built.cavities.get(name="Kill line"), position=spool)
