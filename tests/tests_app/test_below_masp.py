"""What is tested to, or rated, less than the section's MASP is said aloud, before and after signing."""

import pytest

from equipment.models import Component
from tests.builders_tests_app import SIGNED, World, a_draft, a_step, a_world, concluded
from tests.kept import Keep
from tests_app.documents.snapshot import content_of
from tests_app.models import Record
from tests_app.queries.alarms import alarms_of, below_masp_of_needs
from tests_app.queries.completeness import open_points
from tests_app.queries.records import steps_of
from tests_app.queries.requirements import circumstances_of, needs_of

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    """A 10,000 psi stack on a section whose MASP of 8,093.8 psi passes what its annular is tested to."""
    return keep(lambda: a_world(section={"masp": "8093.8 psi", "masp_basis": "entered", "masp_reason": "Well plan"}))


def alarms(record: Record) -> list[str]:
    return [alarm.text for alarm in alarms_of(record, steps_of(record))]


ANNULAR = (
    "Annular: tested to 7,000 psi, below the MASP of 8,093.8 psi (70 % of its RWP of 10,000 psi, as its rule asks)."
)


def test_an_annular_tested_below_the_masp_is_said_in_neutral_words_everywhere(world: World):
    record = a_draft(world)
    a_step(record, world, "Annular")
    assert alarms(record) == [ANNULAR]
    told = [point for point in open_points(record) if point.reason == ANNULAR]
    assert [(point.field, point.blocks) for point in told] == [("step-1", False)]
    draft = concluded(record, world)
    draft.sealed_at = SIGNED
    assert content_of(draft)["alarms"] == [ANNULAR]


def test_a_ram_rated_below_the_masp_is_not_fit_for_the_section(world: World):
    Component.objects.filter(pk=world.at("Upper pipe ram").installations.get().component_id).update(
        rated_working_pressure_value="5000", rated_working_pressure_unit="psi"
    )
    record = a_draft(world)
    a_step(record, world, "Upper pipe ram")
    assert alarms(record) == [
        "Upper pipe ram: its RWP of 5,000 psi is below the MASP of 8,093.8 psi: not fit for the section."
    ]


def test_before_it_is_saved_a_step_shows_what_lies_below_the_masp(world: World):
    record = a_draft(world)
    needs = needs_of([(world.at("Annular"), ""), (world.at("Upper pipe ram"), "")], under=circumstances_of(record))
    assert below_masp_of_needs(needs, record.section, record.rig) == [ANNULAR]


def test_a_ram_held_at_or_over_the_masp_raises_no_alarm(world: World):
    record = a_draft(world)
    a_step(record, world, "Upper pipe ram")
    assert alarms(record) == []
