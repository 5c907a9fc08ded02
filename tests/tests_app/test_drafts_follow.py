"""A draft's required pressures follow the section and the components they rest on; what is signed stays."""

import pytest

from equipment.actions import components, wells
from equipment.errors import Refused
from equipment.models import HoleSection
from tests import builders
from tests.builders_tests_app import World, a_draft, a_sealed_record, a_step, a_world, typed
from tests.kept import Keep
from tests_app.models import Line, Outcome, Record, Step
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    """A rig that may test to MASP plus a margin: 5,000 psi is worked out from the section's figures."""
    return keep(lambda: a_world(section={"masp_margin_approval": "Permit 12"}))


def required(step: Step) -> str:
    return str(Line.objects.get(step=step).required_high)


def facts(world) -> dict:
    return {"by": world.supervisor, "at": builders.DAY}


def test_an_amended_section_moves_what_a_draft_must_show(world):
    step = a_step(a_draft(world), world, "Upper pipe ram")
    before = required(step)
    wells.amend_section(world.section, total_depth="12000 ft", **facts(world))
    assert required(step) != before
    entry = TrailEntry.objects.filter(event="record.requirements-followed").get()
    assert (entry.actor, entry.rig_number) == (world.supervisor, world.rig.pk)
    assert before in str(entry.before)
    assert required(step) in str(entry.after)


def test_what_was_judged_is_judged_again(world):
    """A hold of 10,080 psi passes what a wellhead of 9,000 psi may see."""
    step = typed(a_step(a_draft(world), world, "Upper pipe ram"), world)
    assert step.outcome == Outcome.PASSED
    wells.amend_section(
        world.section, masp_margin_approval="", wellhead_rated_working_pressure="9000 psi", **facts(world)
    )
    step.refresh_from_db()
    assert step.outcome == Outcome.FAILED


def test_a_draft_whose_figures_stay_is_left_alone(world):
    draft = a_step(a_draft(world), world, "Upper pipe ram").record
    version = Record.objects.get(pk=draft.pk).version
    wells.amend_section(world.section, name="Renamed", **facts(world))
    assert Record.objects.get(pk=draft.pk).version == version


def test_a_rating_amended_is_the_draft_s_rating(world):
    step = a_step(a_draft(world), world, "Upper pipe ram")
    component = Line.objects.get(step=step).component
    components.amend_component(component, rated_working_pressure="5000 psi", reason="Nameplate", **facts(world))
    assert Line.objects.get(step=step).component_as_tested["rated_working_pressure"] != ""
    assert "5,000" in required(step) or "5000" in required(step)


def test_a_signed_record_stays_as_it_was(world):
    step = a_sealed_record(world).steps.get()
    before = required(step)
    wells.amend_section(world.section, total_depth="12000 ft", **facts(world))
    assert required(step) == before


def test_an_amendment_a_draft_cannot_follow_is_refused_whole(world):
    step = a_step(a_draft(world), world, "Upper pipe ram")
    component = Line.objects.get(step=step).component
    with pytest.raises(Refused, match="draft that rests on this"):
        components.amend_component(component, rated_working_pressure=None, reason="Plate lost", **facts(world))
    component.refresh_from_db()
    assert component.rated_working_pressure is not None


def test_new_water_moves_the_masp_of_the_sections_and_the_drafts():
    """Mudline at 80 + 2,920 = 3,000 ft: 6,000 psi − 0.1 psi/ft × (10,000 − 3,000) ft = 5,300 psi, before 5,500."""
    rig = builders.a_rig(kind="drillship")
    builders.a_stack(rig, "subsea", positions=())
    well = builders.a_well(rig, water_depth="4920 ft")
    worked = builders.a_section(well)
    entered = builders.a_section(well, masp_basis="entered", masp="4000 psi", masp_reason="Programme.")
    wells.amend_well(well, water_depth="2920 ft", by=builders.System.DEMO, at=builders.DAY)
    figures = {section.pk: str(section.masp) for section in HoleSection.objects.filter(well=well)}
    assert figures == {worked.pk: "5,300 psi", entered.pk: "4,000 psi"}
    assert TrailEntry.objects.filter(event="section.reworked", subject_id=worked.pk).count() == 1


def test_water_a_section_cannot_stand_in_is_refused_beside_it():
    rig = builders.a_rig(kind="drillship")
    builders.a_stack(rig, "subsea", positions=())
    well = builders.a_well(rig, water_depth="4920 ft")
    builders.a_section(well, "12 1/4 in")
    with pytest.raises(Refused) as caught:
        wells.amend_well(well, water_depth="11000 ft", by=builders.System.DEMO, at=builders.DAY)
    assert caught.value.field == "water_depth"
    assert "12 1/4 in" in caught.value.reason
    with pytest.raises(Refused) as caught:
        wells.amend_well(well, water_depth=None, by=builders.System.DEMO, at=builders.DAY)
    assert caught.value.field == "water_depth"
