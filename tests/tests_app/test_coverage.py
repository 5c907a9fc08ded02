"""Each barrier and side of a stack says by which signed step it was last proved since it stands there."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calcs.units import Quantity
from equipment.actions import installations
from tests import builders
from tests.builders_tests_app import (
    STARTED,
    World,
    a_draft,
    a_judged_draft,
    a_recording,
    a_sealed_record,
    a_step,
    a_world,
    concluded,
    good,
    leaking,
    signed,
)
from tests_app.actions.superseding import supersede_record
from tests_app.models import PressureFrom
from tests_app.queries.coverage import Covered, coverage_of

pytestmark = pytest.mark.django_db
LATER = STARTED + timedelta(days=5)
LOOKED = STARTED + timedelta(days=12)


def of(world: World, name: str, side: str = "below") -> Covered:
    found = {(one.position.name, str(one.side)): one for one in coverage_of(world.stack, at=LOOKED)}
    return found[name, side]


def test_a_signed_step_proves_its_elements_from_their_side_at_its_pressure(world: World):
    record = a_sealed_record(world)
    ram = of(world, "Upper pipe ram")
    assert (ram.step, ram.failed, ram.is_asked) == (record.steps.get(), None, True)
    assert ram.held == Quantity(10_000.0, "psi")
    assert ram.proved_at == record.concluded_at


def test_what_no_signed_test_proved_stands_there_as_never_proved(world: World):
    a_judged_draft(world)
    assert of(world, "Upper pipe ram").step is None
    assert of(world, "Lower pipe ram").step is None


def test_a_later_step_it_did_not_pass_stands_beside_the_one_that_proved_it(world: World):
    first = a_sealed_record(world)
    failed = a_sealed_record(world, curve=leaking(), at=LATER)
    ram = of(world, "Upper pipe ram")
    assert (ram.step, ram.failed) == (first.steps.get(), failed.steps.get())


def test_a_failure_repaired_and_repeated_in_the_same_test_is_proved_by_the_repeat(world: World):
    record = a_draft(world)
    first = a_step(record, world, "Upper pipe ram")
    a_recording(record, world, leaking(), step=first, at=STARTED + timedelta(hours=1))
    again = a_step(record, world, "Upper pipe ram", name="Upper pipe ram again", retest_of=first)
    a_recording(record, world, good(), step=again, at=STARTED + timedelta(hours=2))
    signed(concluded(record, world), world)
    ram = of(world, "Upper pipe ram")
    assert (ram.step, ram.failed) == (again, None)


def test_what_proved_the_component_before_it_was_changed_proves_the_new_one_nothing(world: World):
    a_sealed_record(world)
    position = world.at("Upper pipe ram")
    standing = position.installations.get()
    installations.remove_component(standing, by=world.supervisor, at=LATER, removed_at=LATER, reason="Worn")
    spare = builders.a_component(world.rig, "pipe-ram", closes_on_smallest="5 in", closes_on_largest="5 in")
    builders.an_installation(position, spare, installed_at=LATER, at=LATER)
    assert of(world, "Upper pipe ram").step is None


def test_a_corrected_test_proves_as_its_correction_says(world: World):
    first = a_sealed_record(world)
    correction = supersede_record(first, reason="The wrong file was attached", by=world.supervisor, at=LATER)
    signed(concluded(correction, world), world, at=LATER + timedelta(hours=1))
    ram = of(world, "Upper pipe ram")
    assert ram.step is not None
    assert ram.step.record_id == correction.pk


def test_a_side_the_rules_do_not_name_is_shown_once_somebody_pressed_on_it(world: World):
    sides = [one.side for one in coverage_of(world.stack, at=LOOKED) if one.position.name == "Inner choke valve"]
    assert sides == [PressureFrom.WELL_SIDE]
    record = a_draft(world)
    only = a_step(record, world, "Inner choke valve", side="far-side")
    a_recording(record, world, good(), step=only, at=STARTED + timedelta(hours=1))
    signed(concluded(record, world), world)
    far = of(world, "Inner choke valve", "far-side")
    assert (far.step, far.is_asked) == (only, False)


def test_a_side_the_rules_name_is_asked_for_though_it_is_not_the_usual_one():
    """30 CFR 250.737(a)(2) and (b) as this house states them: valves above the uppermost ram, from both sides."""
    subsea = a_world("subsea")
    sides = [one.side for one in coverage_of(subsea.stack, at=LOOKED) if one.position.name == "Gas bleed valve"]
    assert sides == [PressureFrom.WELL_SIDE, PressureFrom.FAR_SIDE]


def test_as_many_queries_are_made_for_many_tests_as_for_one(world: World):
    a_sealed_record(world)
    with CaptureQueriesContext(connection) as one:
        coverage_of(world.stack, at=LOOKED)
    a_sealed_record(world, at=LATER)
    with CaptureQueriesContext(connection) as two:
        coverage_of(world.stack, at=LOOKED)
    assert len(one) == len(two)
