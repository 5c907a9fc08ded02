"""What would pass for a proof and is none: each is asked about before the test is signed."""

from datetime import timedelta

import pytest

from equipment.actions import components, installations
from tests import builders
from tests.builders_tests_app import DAY, STARTED, World, a_draft, a_recording, a_sealed_record, a_step, a_world, good
from tests_app.actions import pressure_tests
from tests_app.actions.steps import amend_step
from tests_app.models import Record
from tests_app.queries.open_points import open_points

pytestmark = pytest.mark.django_db


def closes_on(world: World, name: str, smallest: str = "", largest: str = "", **facts) -> None:
    component = world.at(name).installations.get().component
    facts = {"closes_on_smallest": smallest, "closes_on_largest": largest, **facts}
    components.amend_component(component, reason="Maker's manual", by=world.supervisor, at=DAY, **facts)


def said(record: Record, words: str) -> list[tuple[str, bool]]:
    record.refresh_from_db()
    return [(point.field, point.blocks) for point in open_points(record) if words in point.reason]


@pytest.mark.parametrize(("smallest", "largest"), [("5 in", "5 in"), ("3.5 in", "5.875 in")])
def test_a_ram_does_not_prove_itself_on_pipe_it_does_not_close_on(world: World, smallest: str, largest: str):
    closes_on(world, "Upper pipe ram", smallest, largest)
    record = a_draft(world, pipe_in_hole="2.875 in")
    a_step(record, world, "Upper pipe ram")
    assert said(record, "the heading says pipe of 2.875 in stands in the hole") == [("step-1", True)]


@pytest.mark.parametrize("pipe", ["5 in", "127 mm"])
def test_a_ram_on_its_own_pipe_is_not_asked_about(world: World, pipe: str):
    closes_on(world, "Upper pipe ram", "5 in", "5 in")
    record = a_draft(world, pipe_in_hole=pipe)
    a_step(record, world, "Upper pipe ram")
    assert not said(record, "closes on")


def test_a_pipe_ram_is_not_proved_without_pipe_in_the_hole(world: World):
    record = a_draft(world, pipe_in_hole="")
    a_step(record, world, "Upper pipe ram")
    assert said(record, "closes on pipe, and the heading states none") == [("step-1", True)]


def test_a_ram_that_seals_without_pipe_needs_none(world: World):
    closes_on(world, "Annular", "2.875 in", "11.5 in", closes_on_open_hole=True)
    record = a_draft(world, pipe_in_hole="")
    a_step(record, world, "Annular")
    assert not said(record, "no pipe") + said(record, "closes on")


def test_an_annular_not_on_file_for_open_hole_is_asked_for_the_pipe(world: World):
    closes_on(world, "Annular", "2.875 in", "11.5 in")
    record = a_draft(world, pipe_in_hole="")
    a_step(record, world, "Annular")
    assert said(record, "not on file as sealing with no pipe") == [("step-1", True)]


def test_sizes_not_on_file_are_asked_for_and_block_nothing(world: World):
    record = a_draft(world, pipe_in_hole="5 in")
    a_step(record, world, "Upper pipe ram")
    assert said(record, "No pipe size is on file for") == [("step-1", False)]


def test_what_lifts_the_question_of_a_blind_ram_on_pipe_is_said(world: World):
    record = a_draft(world, pipe_in_hole="5 in")
    step = a_step(record, world, "Blind-shear ram")
    told = next(point for point in open_points(record) if "closes on no pipe" in point.reason)
    assert "write in the step's remarks how the ram was closed with pipe in the hole, naming the pipe" in told.remedy
    amend_step(step, name=step.name, pump_point="Kill line", remarks="Pipe hung off", by=world.supervisor, at=STARTED)
    assert not said(record, "closes on no pipe")


def judged(world: World, *, clock: bool) -> Record:
    record = a_draft(world)
    curve = good() if clock else good().csv()
    a_recording(record, world, curve, step=a_step(record, world, "Upper pipe ram"))
    return record


def over(record: Record, world: World, after: timedelta) -> Record:
    record.refresh_from_db()
    end = STARTED + after
    return pressure_tests.conclude(record, concluded_at=end, by=world.supervisor, at=end)


@pytest.mark.parametrize("clock", [True, False])
def test_a_conclusion_long_after_the_evidence_is_asked_about(world: World, clock: bool):
    record = over(judged(world, clock=clock), world, timedelta(days=12))
    words = "after its last hold or recording ended" if clock else "its recordings, which have no clock"
    assert said(record, words) == [("concluded_at", True)]
    assert "When did the last hold end?" in next(p for p in open_points(record) if words in p.reason).remedy


@pytest.mark.parametrize("clock", [True, False])
def test_a_conclusion_some_hours_after_the_evidence_is_not(world: World, clock: bool):
    record = over(judged(world, clock=clock), world, timedelta(hours=5))
    assert not said(record, "last hold or recording") + said(record, "have no clock")


def test_remarks_that_tell_when_the_last_hold_ended_explain_a_late_conclusion(world: World):
    record = over(judged(world, clock=False), world, timedelta(days=2))
    Record.objects.filter(pk=record.pk).update(remarks="Weather; the last hold ended on the 4th at 11:50.")
    assert not said(record, "have no clock")


def test_a_test_made_for_a_finished_section_is_cautioned(world: World):
    well = world.section.well
    old = builders.a_section(well, begins_at=DAY - timedelta(days=40))
    builders.a_section(well, begins_at=DAY - timedelta(days=4))
    assert said(a_draft(world, section=old), "was being drilled when it began") == [("section", False)]
    assert not said(a_draft(world), "was being drilled"), "a section not begun yet is tested for ahead"


def api_53() -> World:
    return a_world(rig={"rules": "api53-4"}, section={"begins_at": DAY - timedelta(days=30)})


def high(record: Record, world: World, name: str = "Upper pipe ram") -> str:
    return str(a_step(record, world, name, at=record.started_at).lines.get().required_high)


@pytest.mark.parametrize("reason", ["interval", "other", "after-repair", "before-drilling-out"])
def test_what_was_never_proved_owes_the_pressure_of_its_installation(reason: str):
    # API Standard 53, 6.5.3 (from memory): RWP on installation, at least the MASP (5,000 psi here) on the interval.
    world = api_53()
    record = a_draft(world, reason=reason)
    line = a_step(record, world, "Upper pipe ram").lines.get()
    assert str(line.required_high) == "10,000 psi"
    assert any("the test on installation is owed as well" in sum_ for sum_ in line.working)


def test_what_was_proved_once_goes_on_at_the_pressure_of_the_interval():
    world = api_53()
    a_sealed_record(world, reason="installation")
    later = STARTED + timedelta(days=7)
    record = a_draft(world, at=later)
    assert high(record, world) == "5,000 psi"
    assert high(record, world, "Annular") == "7,000 psi", "its own installation is not proved by another's test"


def test_what_was_put_in_since_owes_it_anew():
    world = api_53()
    a_sealed_record(world, reason="installation")
    later = STARTED + timedelta(days=7)
    old = world.at("Upper pipe ram").installations.get()
    installations.remove_component(old, removed_at=later, reason="Worn", by=world.supervisor, at=later)
    builders.an_installation(world.at("Upper pipe ram"), old.component, installed_at=later, at=later)
    assert high(a_draft(world, at=later + timedelta(hours=1)), world) == "10,000 psi"
