"""Files with several pressure columns: which one is the test's is asked, kept and never guessed."""

import json

import pytest

from equipment.errors import Refused
from tests.builders_tests_app import (
    SIGNED,
    World,
    a_draft,
    a_recording,
    a_step,
    concluded,
    good,
    leaking,
    signed,
    typed,
)
from tests.recordings_made import Curve
from tests_app.actions import channels, recordings, searching
from tests_app.models import Record, Recording, Step
from tests_app.queries.completeness import open_points
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db

PUMP, IDLE = "Test pump (psi)", "Standpipe (bar)"


@pytest.fixture
def step(world: World) -> Step:
    return a_step(a_draft(world), world, "Upper pipe ram")


def two_columns(first: Curve, second: Curve | None = None, *, heads: tuple[str, str] = (IDLE, PUMP)) -> str:
    """A file with an idle column before the one that was tested, unless another is given."""
    idle = second.p if second else first.p * 0 + 1.5
    rows = (f"{t:.0f},{other:.2f},{p:.2f}" for t, other, p in zip(first.t, idle, first.p, strict=True))
    return "\n".join([f"Time (s),{heads[0]},{heads[1]}", *rows]) + "\n"


def chosen(recording: Recording, channel: str, world: World, reason: str = "") -> Recording:
    return channels.choose_channel(recording, channel=channel, reason=reason, by=world.supervisor, at=SIGNED)


def blocking(record: Record, words: str) -> list[str]:
    record.refresh_from_db()
    return [point.reason for point in open_points(record) if point.blocks and words in point.reason]


def test_nothing_is_judged_before_a_column_is_chosen_and_the_record_stays_open(world: World, step: Step):
    recording = a_recording(step.record, world, two_columns(good()), step=step)
    step.refresh_from_db()
    assert (recording.channel, step.evidence, step.verdict) == ("", "none", None)
    assert blocking(step.record, "several pressure columns")


def test_each_column_is_kept_with_its_unit_and_what_it_shows(world: World, step: Step):
    recording = a_recording(step.record, world, two_columns(good()), step=step)
    idle, pump = recording.facts["choices"]
    assert (idle["name"], idle["unit"], idle["highest"]) == (IDLE, "bar", pytest.approx(150_000))
    assert (pump["name"], pump["unit"], pump["first"]) == (PUMP, "psi", 0.0)
    assert pump["highest"] == pytest.approx(10_100 * 6894.757, rel=1e-6)


def test_the_column_chosen_is_judged_and_the_trail_keeps_the_choice(world: World, step: Step):
    recording = chosen(a_recording(step.record, world, two_columns(good()), step=step), PUMP, world)
    step.refresh_from_db()
    assert (recording.channel, step.outcome) == (PUMP, "passed")
    assert not blocking(step.record, "several pressure columns")
    entry = TrailEntry.objects.get(event="recording.channel-chosen")
    assert (entry.before["channel"], entry.after["channel"]) == ("", PUMP)
    assert entry.after["steps"] == {str(step): ["passed", None]}


def test_another_column_needs_a_reason_and_judges_anew(world: World, step: Step):
    recording = chosen(a_recording(step.record, world, two_columns(good()), step=step), PUMP, world)
    with pytest.raises(Refused) as refusal:
        chosen(recording, IDLE, world)
    assert refusal.value.field == "reason"
    chosen(recording, IDLE, world, "Sensors were swapped")
    step.refresh_from_db()
    assert step.outcome == "failed"


def test_the_certificate_says_which_column_was_read_and_why_not_the_one_before(world: World, step: Step):
    recording = chosen(a_recording(step.record, world, two_columns(good()), step=step), IDLE, world)
    chosen(recording, PUMP, world, "The first was the standpipe")
    record = concluded(step.record, world)
    signed(record, world)
    record.refresh_from_db()
    (file,) = json.loads(record.content)["files"]
    assert f"channel {PUMP}, not {IDLE}: The first was the standpipe" in file["facts"]


def test_a_whole_tests_holds_are_searched_in_the_column_chosen_and_anew_in_another(world: World):
    record = a_draft(world)
    ram = a_step(record, world, "Upper pipe ram")
    other = "Gauge B (psi)"
    whole = a_recording(record, world, two_columns(good(), leaking(), heads=(other, PUMP)))
    assert whole.facts["holds"] == []
    whole = chosen(whole, PUMP, world)
    recordings.confirm_marks(whole, by=world.supervisor, at=SIGNED)
    ram.refresh_from_db()
    assert (ram.outcome, ram.chosen_marks["confirmed"]) == ("passed", True)
    chosen(whole, other, world, "Gauge B is the calibrated one")
    ram.refresh_from_db()
    assert ram.outcome != "passed"
    assert not (ram.chosen_marks or {}).get("confirmed")


def test_a_column_that_can_not_be_read_is_shown_and_refused(world: World, step: Step):
    content = two_columns(good(), heads=("Riser (psia)", PUMP))
    recording = a_recording(step.record, world, content, step=step)
    assert "absolute" in recording.facts["choices"][0]["refused"]
    with pytest.raises(Refused) as refusal:
        chosen(recording, "Riser (psia)", world)
    assert refusal.value.field == "channel"
    step.refresh_from_db()
    assert step.evidence == "none"


def test_a_column_the_file_has_not_is_refused_with_those_it_has(world: World, step: Step):
    recording = a_recording(step.record, world, two_columns(good()), step=step)
    with pytest.raises(Refused, match=r"Its columns are: Standpipe \(bar\); Test pump \(psi\)"):
        chosen(recording, "Choke", world)


def test_a_file_without_its_column_chosen_proves_nothing_by_marks_or_search(world: World, step: Step):
    whole = a_recording(step.record, world, two_columns(good()))
    with pytest.raises(Refused, match="none is chosen yet"):
        recordings.choose_marks(step, recording=whole, start_s=0, end_s=900, by=world.supervisor, at=SIGNED)
    with pytest.raises(Refused, match="none is chosen yet"):
        searching.search_again(whole, by=world.supervisor, at=SIGNED)


def test_a_step_judged_by_readings_meanwhile_is_not_judged_twice(world: World, step: Step):
    recording = a_recording(step.record, world, two_columns(good()), step=step)
    typed(step, world)
    with pytest.raises(Refused, match="is judged already"):
        chosen(recording, PUMP, world)


def test_a_file_set_aside_unread_stays_on_the_certificate(world: World, step: Step):
    recording = a_recording(step.record, world, two_columns(good()), step=step)
    recordings.withdraw_recording(recording, reason="Not this test's", by=world.supervisor, at=SIGNED)
    a_recording(step.record, world, good(), step=step)
    record = concluded(step.record, world)
    signed(record, world)
    record.refresh_from_db()
    aside = json.loads(record.content)["files"][0]
    assert aside["withdrawn"]
    assert "no channel chosen" in aside["facts"]
