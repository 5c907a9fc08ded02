"""Recorder files: what is kept, how they are judged, and what is refused."""

import json
from datetime import timedelta
from typing import Any

import pytest

from equipment import files
from equipment.errors import Refused
from tests.builders_tests_app import (
    SIGNED,
    STARTED,
    World,
    a_draft,
    a_judged_draft,
    a_recording,
    a_step,
    concluded,
    good,
    leaking,
    signed,
)
from tests.recordings_made import Curve
from tests_app.actions import pressure_tests, recordings
from tests_app.documents.sheet import sheet_of
from tests_app.models import Record, Recording, Step
from tests_app.queries.completeness import open_points

pytestmark = pytest.mark.django_db


def marked(
    step: Step, recording: Recording, start_s: float, end_s: float, world: World, *, reason: str = "Pump was bled"
) -> Step:
    return recordings.choose_marks(
        step, recording=recording, start_s=start_s, end_s=end_s, reason=reason, by=world.supervisor, at=SIGNED
    )


def span(marks: dict[str, Any]) -> dict[str, float]:
    return {key: marks[key] for key in ("start_s", "end_s")}


def blocking(record: Record, words: str) -> list[str]:
    record.refresh_from_db()
    return [point.reason for point in open_points(record) if point.blocks and words in point.reason]


def withdrawn(recording: Recording, world: World, reason: str = "Wrong test") -> Recording:
    return recordings.withdraw_recording(recording, reason=reason, by=world.supervisor, at=SIGNED)


def refused(world: World, content: str | bytes, **facts: str) -> Refused:
    record = a_draft(world)
    step = a_step(record, world, "Upper pipe ram")
    with pytest.raises(Refused) as refusal:
        a_recording(record, world, content, step=step, **facts)
    assert not record.recordings.exists()
    step.refresh_from_db()
    assert step.evidence == "none"
    return refusal.value


def test_the_file_is_kept_as_received_under_its_hash(world: World):
    content = good().csv().encode()
    record = a_draft(world)
    recording = a_recording(record, world, content, step=a_step(record, world, "Upper pipe ram"), file_name="run 3.csv")
    assert files.fetch(recording.sha256) == content
    assert (recording.file_name, recording.size) == ("run 3.csv", len(content))


def test_the_file_stays_when_the_draft_is_given_up(world: World):
    record = a_judged_draft(world)
    pressure_tests.discard_record(record, reason="Wrong well", by=world.supervisor, at=SIGNED)
    assert files.fetch(record.recordings.get().sha256)


def test_what_is_known_of_the_file_is_kept_beside_a_reduced_curve(world: World):
    recording = a_judged_draft(world).recordings.get()
    assert recording.facts["samples"] == len(good().t)
    assert (recording.facts["unit"], recording.facts["median_interval_s"]) == ("psi", 1.0)
    assert recording.facts["started_at"] == STARTED.isoformat()
    assert 0 < len(recording.curve["t"]) == len(recording.curve["p"]) <= 2002


def test_a_step_is_judged_as_soon_as_its_file_is_there(world: World):
    step = a_judged_draft(world).steps.get()
    assert (step.outcome, step.evidence) == ("passed", "recording")
    assert step.lines.get().outcome == "passed"
    high = step.verdict["high"]
    assert high["passes"]
    assert high["duration_s"] >= 180
    assert high["min_pressure"] == pytest.approx(69.6e6, rel=0.01)
    assert step.concluded_at == STARTED + timedelta(seconds=high["end_s"])


def test_a_failed_hold_says_why_on_the_rigs_clock(world: World):
    step = a_judged_draft(world, curve=leaking()).steps.get()
    assert step.outcome == "failed"
    (reason,) = step.verdict["high"]["reasons"]
    assert "of the 3 min needed; fell to 9,9" in reason
    assert "at 06:0" in reason, "12:00 UTC is 06:00 in Chicago"


def test_the_curve_of_the_judged_step_shows_both_holds(world: World):
    verdict = a_judged_draft(world).steps.get().verdict
    times = verdict["curve"]["t"]
    assert times[0] <= verdict["low"]["start_s"]
    assert times[-1] >= verdict["high"]["end_s"]
    assert len(times) == len(verdict["curve"]["p"]) <= 802


def test_a_file_of_the_whole_test_is_cut_and_proposed_step_by_step(world: World):
    record = a_draft(world)
    annular = a_step(record, world, "Annular")
    ram = a_step(record, world, "Upper pipe ram")
    recording = a_recording(record, world, good(7_000).then(good(10_000), after=60))
    for step in (annular, ram):
        step.refresh_from_db()
        assert (step.outcome, step.recording_id) == ("passed", recording.pk)
        assert step.chosen_marks == {**span(step.proposed_marks), "confirmed": False}
    assert annular.verdict["high"]["end_s"] < ram.verdict["low"]["start_s"]
    assert [hold["step"] for hold in recording.facts["holds"]] == [1, 2]


def test_steps_the_file_holds_nothing_for_are_left_open(world: World):
    record = a_draft(world)
    a_step(record, world, "Annular")
    ram = a_step(record, world, "Upper pipe ram")
    a_recording(record, world, good(7_000))
    ram.refresh_from_db()
    assert (ram.outcome, ram.proposed_marks) == ("pending", None)


def a_draft_with_a_loose_hold(world: World, **heading: str) -> tuple[Record, Recording]:
    record = a_draft(world, **heading)
    a_step(record, world, "Upper pipe ram")
    recording = a_recording(record, world, leaking().then(good(), after=60))
    recordings.confirm_marks(recording, by=world.supervisor, at=SIGNED)
    return concluded(record, world), recording


def test_an_attempt_assigned_to_no_step_keeps_a_record_from_being_signed(world: World):
    record, _ = a_draft_with_a_loose_hold(world)
    (reason,) = blocking(record, "assigned to no step")
    assert "Hold 1 of recorder.csv" in reason
    assert "up to 10,100 psi" in reason


def test_remarks_that_name_the_hold_let_the_record_be_signed_and_the_certificate_shows_it(world: World):
    record, _ = a_draft_with_a_loose_hold(world, remarks="HOLD 1: test hose burst, repeated.")
    assert not blocking(record, "assigned to no step")
    signed(record, world)
    record.refresh_from_db()
    content = json.loads(record.content)
    (hold,) = content["unassigned_holds"]
    assert (hold["number"], hold["file_name"], hold["passes"]) == (1, "recorder.csv", False)
    assert hold["highest"]["value"] == pytest.approx(10_100, rel=0.001)
    (shown,) = [remark for remark in sheet_of(content).remarks if remark.place.startswith("Hold 1 of recorder.csv")]
    assert "Assigned to no step" in shown.text


def test_another_holds_number_in_the_remarks_explains_nothing(world: World):
    record, _ = a_draft_with_a_loose_hold(world, remarks="Hold 12 was good.")
    assert blocking(record, "assigned to no step")


def test_a_step_judged_on_the_attempt_accounts_for_it(world: World):
    record, recording = a_draft_with_a_loose_hold(world)
    hold = recording.facts["holds"][0]
    failed = a_step(record, world, "Upper pipe ram")
    marked(failed, recording, hold["start_s"], hold["end_s"], world)
    assert not blocking(record, "assigned to no step")


def test_proposals_are_confirmed_or_moved_before_signing(world: World):
    record = a_draft(world)
    annular, ram = a_step(record, world, "Annular"), a_step(record, world, "Upper pipe ram")
    recording = a_recording(record, world, good(7_000).then(good(10_000), after=60))
    concluded(record, world)
    assert len(blocking(record, "not confirmed")) == 2
    ram.refresh_from_db()
    proposed = span(ram.proposed_marks)
    kept = marked(ram, recording, proposed["start_s"], proposed["end_s"], world, reason="")
    assert kept.chosen_marks == {**proposed, "confirmed": True}
    assert len(blocking(record, "not confirmed")) == 1
    recordings.confirm_marks(recording, by=world.supervisor, at=SIGNED)
    assert not blocking(record, "not confirmed")
    annular.refresh_from_db()
    assert annular.chosen_marks == {**span(annular.proposed_marks), "confirmed": True}
    with pytest.raises(Refused, match="waits to be confirmed"):
        recordings.confirm_marks(recording, by=world.supervisor, at=SIGNED)


def test_a_file_of_one_step_needs_no_confirmation(world: World):
    assert not blocking(a_judged_draft(world), "not confirmed")


def test_marks_are_not_moved_without_a_reason_and_the_content_keeps_it(world: World):
    record = a_judged_draft(world)
    step, recording = record.steps.get(), record.recordings.get()
    with pytest.raises(Refused, match="without a reason") as refusal:
        marked(step, recording, 5, 840, world, reason=" ")
    assert refusal.value.field == "reason"
    marked(step, recording, 5, 840, world, reason="Pump was primed first")
    signed(record, world)
    record.refresh_from_db()
    content = json.loads(record.content)
    assert content["steps"][0]["marks"]["reason"] == "Pump was primed first"
    assert any("Pump was primed first." in note for note in sheet_of(content).held[0].notes)


def test_a_peak_over_the_restart_limit_is_not_trimmed_away_by_the_marks(world: World):
    peak = Curve.through([(0, 0), (0.5, 620), (1, 300), (7, 300), (8, 10_100), (14, 10_100), (15, 0)])
    record = a_judged_draft(world, curve=peak)
    step = record.steps.get()
    assert step.outcome == "failed"
    moved = marked(step, record.recordings.get(), 90, 900, world)
    assert moved.outcome == "failed"
    assert moved.verdict["low"]["highest_before"] == pytest.approx(620 * 6894.757, rel=1e-3)


def test_recordings_longer_than_the_test_keep_it_from_being_signed(world: World):
    record = a_judged_draft(world)
    over = STARTED + timedelta(seconds=record.recordings.get().facts["duration_s"] - 119)
    pressure_tests.conclude(record, concluded_at=over, by=world.supervisor, at=SIGNED)
    assert not blocking(record, "The recordings last")
    pressure_tests.conclude(record, concluded_at=over - timedelta(seconds=2), by=world.supervisor, at=SIGNED)
    (reason,) = blocking(record, "The recordings last")
    assert "together, the test" in reason
    Record.objects.filter(pk=record.pk).update(remarks="The recorder's clock was off.")
    assert not blocking(record, "The recordings last")


def test_the_tester_moves_the_marks_and_the_proposal_is_kept(world: World):
    record = a_draft(world)
    step = a_step(record, world, "Upper pipe ram")
    recording = a_recording(record, world, good())
    step.refresh_from_db()
    proposed = step.proposed_marks
    moved = marked(step, recording, 0, 300, world)
    assert moved.proposed_marks == proposed
    assert moved.chosen_marks == {"start_s": 0, "end_s": 300, "confirmed": True, "reason": "Pump was bled"}
    assert moved.outcome == "failed", "the high hold lies outside the marks"


@pytest.mark.parametrize(("start", "end", "field"), [(300, 100, "end"), (90_000, 91_000, "start"), (0, 0.2, "end")])
def test_marks_that_hold_nothing_are_refused(world: World, start: float, end: float, field: str):
    record = a_judged_draft(world)
    with pytest.raises(Refused) as refusal:
        marked(record.steps.get(), record.recordings.get(), start, end, world)
    assert refusal.value.field == field


def test_one_hold_proves_one_step(world: World):
    record = a_draft(world)
    first, second = a_step(record, world, "Upper pipe ram"), a_step(record, world, "Lower pipe ram")
    recording = a_recording(record, world, good(), step=first)
    with pytest.raises(Refused, match="proves Step 1: Upper pipe ram already"):
        marked(second, recording, 0, recording.facts["duration_s"], world)


def test_marks_are_chosen_on_a_file_of_the_same_test(world: World):
    other = a_judged_draft(world).recordings.get()
    step = a_step(a_draft(world), world, "Upper pipe ram")
    with pytest.raises(Refused, match="not one of the test's"):
        marked(step, other, 0, 900, world)


def test_a_judged_step_takes_no_other_file(world: World):
    record = a_judged_draft(world, curve=leaking())
    with pytest.raises(Refused, match="is judged already") as refusal:
        a_recording(record, world, good(), step=record.steps.get())
    assert "in a step of its own" in refusal.value.remedy


def test_a_withdrawn_file_stays_with_its_reason_and_its_steps_are_open_again(world: World):
    record = a_judged_draft(world)
    recording = withdrawn(record.recordings.get(), world)
    step = record.steps.get()
    assert (step.outcome, step.evidence, step.verdict, step.chosen_marks) == ("pending", "none", None, None)
    assert step.lines.get().outcome == "pending"
    assert (recording.withdrawn_reason, record.recordings.count()) == ("Wrong test", 1)
    with pytest.raises(Refused, match="withdrawn already"):
        withdrawn(recording, world)


def test_a_file_is_withdrawn_for_a_reason(world: World):
    with pytest.raises(Refused) as refusal:
        withdrawn(a_judged_draft(world).recordings.get(), world, reason=" ")
    assert refusal.value.field == "reason"


def test_the_same_file_is_attached_once(world: World):
    record = a_draft(world)
    first, second = a_step(record, world, "Upper pipe ram"), a_step(record, world, "Lower pipe ram")
    a_recording(record, world, good().csv(), step=first, file_name="morning.csv")
    with pytest.raises(Refused, match=r"attached already, as morning\.csv"):
        a_recording(record, world, good().csv(), step=second)


@pytest.mark.parametrize("cut", [slice(2, None), slice(None, -1)], ids=["first line", "last line"])
def test_a_copy_of_a_file_with_a_line_cut_off_proves_no_second_step(world: World, cut: slice):
    record = a_draft(world)
    first, second = a_step(record, world, "Upper pipe ram"), a_step(record, world, "Lower pipe ram")
    lines = good().csv().splitlines()
    a_recording(record, world, "\n".join(lines), step=first)
    with pytest.raises(Refused, match="These samples prove Step 1: Upper pipe ram already") as refusal:
        a_recording(record, world, "\n".join([lines[0], *lines[1:][cut]]), step=second)
    assert refusal.value.field == "recording"
    second.refresh_from_db()
    assert second.outcome == "pending"


def test_a_file_of_another_test_of_the_rig_is_refused_and_a_copy_of_it_proves_nothing(world: World):
    other = a_judged_draft(world, curve=good().with_its_own_ramps(7))
    taken = files.fetch(other.recordings.get().sha256)
    copy = b"\n".join(taken.splitlines()[:-1])
    record = a_draft(world)
    step = a_step(record, world, "Lower pipe ram")
    with pytest.raises(Refused, match=f"belongs to Step 1: Upper pipe ram of test {other.number} already"):
        a_recording(record, world, taken, step=step)
    with pytest.raises(Refused, match=f"prove Step 1: Upper pipe ram of test {other.number} already"):
        a_recording(record, world, copy, step=step)
    whole = a_recording(record, world, copy)
    assert whole.judged_steps.get() == step
    assert blocking(record, f"the same samples as Step 1: Upper pipe ram of test {other.number}")


def test_samples_of_a_discarded_test_or_a_file_set_aside_may_prove_a_step(world: World):
    given_up = a_judged_draft(world)
    taken = files.fetch(given_up.recordings.get().sha256)
    pressure_tests.discard_record(given_up, reason="Wrong well", by=world.supervisor, at=SIGNED)
    again = a_judged_draft(world, curve=good())
    withdrawn(again.recordings.get(), world, reason="Of another test")
    kept = a_recording(again, world, taken, step=again.steps.get())
    assert kept.judged_steps.get().outcome == "passed"


def test_a_withdrawn_file_may_come_again(world: World):
    record = a_judged_draft(world)
    withdrawn(record.recordings.get(), world)
    again = a_recording(record, world, good(), step=record.steps.get())
    assert again.withdrawn_at is None


def test_a_channel_of_its_own_may_be_read_from_one_file(world: World):
    curve = good()
    rows = "\n".join(f"{t:.0f},{p:.1f},{p + i % 7:.1f}" for i, (t, p) in enumerate(zip(curve.t, curve.p, strict=True)))
    content = f"Time (s),Kill (psi),Choke (psi)\n{rows}\n"
    record = a_draft(world)
    first, second = a_step(record, world, "Upper pipe ram"), a_step(record, world, "Lower pipe ram")
    kill = a_recording(record, world, content, step=first, channel="Kill (psi)")
    choke = a_recording(record, world, content, step=second, channel=kill.facts["channels"][1])
    assert [kill.channel, choke.channel] == kill.facts["channels"]
    assert kill.sha256 == choke.sha256


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\x7fELF\x02\x01\x01\x00" + bytes(range(256)) * 8,
        "Time (s),Pressure (psi)\n",
        "Time (s),Pressure (psi)\n0,10\n1,NaN\n2,12\n",
        "hello\nworld\n",
    ],
    ids=["empty", "binary", "head alone", "not a number", "prose"],
)
def test_what_can_not_be_read_is_refused_with_a_reason(world: World, content: str | bytes):
    refusal = refused(world, content)
    assert refusal.field == "recording"
    assert refusal.reason


def test_an_unknown_unit_is_refused_beside_its_field(world: World):
    assert refused(world, "t,p\n0,1\n1,2\n2,3\n", pressure_unit="furlong").field == "pressure_unit"


def test_an_absent_channel_is_refused_beside_its_field(world: World):
    assert refused(world, good().csv(), channel="Annulus").field == "channel"


def test_a_file_over_the_limit_is_refused_before_it_is_read(world: World, settings: object):
    settings.WELLHOLD_MAX_RECORDING_BYTES = 1024 * 1024  # type: ignore[attr-defined]
    refusal = refused(world, b"0,1\n" * (512 * 1024))
    assert (refusal.field, refusal.reason) == ("recording", "The file is 2.1 MB; at most 1 MB are taken.")


def test_a_file_is_for_a_step_of_its_own_test(world: World):
    stranger = a_step(a_draft(world), world, "Upper pipe ram")
    with pytest.raises(Refused, match="belongs to another test") as refusal:
        a_recording(a_draft(world), world, good(), step=stranger)
    assert refusal.value.field == "step"


def test_a_chart_is_kept_beside_the_recording_and_nothing_is_read_from_it(world: World):
    record = a_judged_draft(world)
    chart = recordings.attach_chart(
        record,
        step=record.steps.get(),
        file_name="chart.jpg",
        content=b"\xff\xd8\xff\xe0 an invented scan",
        content_type="application/octet-stream",
        by=world.supervisor,
        at=SIGNED,
    )
    assert (chart.kind, chart.content_type) == ("chart", "image/jpeg")
    assert record.steps.get().recording.kind == "samples"


def test_a_chart_is_a_picture_or_a_pdf_by_its_content(world: World):
    with pytest.raises(Refused, match="no picture") as refusal:
        recordings.attach_chart(
            a_draft(world),
            step=None,
            file_name="chart.jpg",
            content=b"<html>not a picture</html>",
            content_type="image/jpeg",
            by=world.supervisor,
            at=SIGNED,
        )
    assert refusal.value.field == "recording"
