"""Files of the whole test: searched when they come, and again for the steps that came after them."""

import pytest

from equipment.errors import Refused
from tests.builders_tests_app import SIGNED, World, a_draft, a_recording, a_step, concluded, good, leaking
from tests_app.actions import recordings, searching
from tests_app.models import Record, Recording
from tests_app.queries.completeness import open_points

pytestmark = pytest.mark.django_db


def searched(recording: Recording, world: World) -> Recording:
    return searching.search_again(recording, by=world.supervisor, at=SIGNED)


def blocking(record: Record, words: str) -> list[str]:
    record.refresh_from_db()
    return [point.reason for point in open_points(record) if point.blocks and words in point.reason]


def test_a_file_that_comes_before_any_step_keeps_the_record_open_until_it_is_searched(world: World):
    record = a_draft(world)
    recording = a_recording(record, world, good())
    ram = a_step(record, world, "Upper pipe ram")
    assert blocking(record, "is not searched for holds yet")
    searched(recording, world)
    ram.refresh_from_db()
    assert (ram.outcome, ram.recording_id) == ("passed", recording.pk)
    assert not blocking(record, "is not searched for holds yet")
    assert blocking(record, "is not confirmed")


def test_a_file_that_comes_when_every_step_is_judged_is_searched_and_its_holds_are_asked_about(world: World):
    record = a_draft(world)
    a_recording(record, world, good(), step=a_step(record, world, "Upper pipe ram"))
    whole = a_recording(record, world, leaking().then(good(), after=60), file_name="whole.csv")
    assert [hold["why"] for hold in whole.facts["holds"]] == [
        f"{meets} step 1, the nearest to its pressure, which is judged by something else"
        for meets in ("fails", "meets")
    ]
    concluded(record, world)
    assert len(blocking(record, "assigned to no step")) == 2


def test_searching_again_gives_holds_to_new_steps_and_leaves_the_others_as_they_are(world: World):
    record = a_draft(world)
    first = a_step(record, world, "Annular")
    recording = a_recording(record, world, good(7_000).then(good(10_000), after=60))
    recordings.confirm_marks(recording, by=world.supervisor, at=SIGNED)
    first.refresh_from_db()
    stood = (first.proposed_marks, first.chosen_marks, first.verdict["high"])
    ram = a_step(record, world, "Upper pipe ram")
    again = searched(recording, world)
    first.refresh_from_db()
    ram.refresh_from_db()
    assert (first.proposed_marks, first.chosen_marks, first.verdict["high"]) == stood
    assert (ram.outcome, ram.chosen_marks["confirmed"]) == ("passed", False)
    assert [hold["step"] for hold in again.facts["holds"]] == [1, 2]
    assert again.facts["holds"][0]["why"] == "step 1 is judged on it"


def test_a_hold_one_step_is_judged_on_is_proposed_for_no_other(world: World):
    record = a_draft(world)
    a_step(record, world, "Upper pipe ram")
    recording = a_recording(record, world, good())
    lower = a_step(record, world, "Lower pipe ram")
    searched(recording, world)
    lower.refresh_from_db()
    assert (lower.evidence, lower.proposed_marks) == ("none", None)


def test_a_step_judged_by_a_file_of_its_own_keeps_it(world: World):
    record = a_draft(world)
    ram = a_step(record, world, "Upper pipe ram")
    own = a_recording(record, world, leaking(), step=ram, file_name="own.csv")
    searched(a_recording(record, world, good(), file_name="whole.csv"), world)
    ram.refresh_from_db()
    assert (ram.recording_id, ram.outcome) == (own.pk, "failed")


def test_a_file_of_one_step_is_not_searched(world: World):
    record = a_draft(world)
    own = a_recording(record, world, good(), step=a_step(record, world, "Upper pipe ram"))
    with pytest.raises(Refused, match="no recorder file of the whole test"):
        searched(own, world)


def test_without_a_step_there_is_nothing_to_search_for(world: World):
    recording = a_recording(a_draft(world), world, good())
    with pytest.raises(Refused, match="has no step"):
        searched(recording, world)
