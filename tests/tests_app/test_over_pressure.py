"""What passed the rating of a part, or fell without settling, is never a plain pass."""

import re
from dataclasses import replace

import pytest

from equipment.errors import Refused
from tests.builders_tests_app import (
    HIGH,
    LOW,
    SIGNED,
    World,
    a_draft,
    a_recording,
    a_step,
    a_world,
    concluded,
    good,
    leaking,
    typed,
)
from tests.kept import Keep
from tests.recordings_made import Curve
from tests_app.actions import recordings
from tests_app.documents.sheet import sheet_of
from tests_app.documents.snapshot import content_of
from tests_app.documents.step_copies import Local, step_content
from tests_app.models import Step
from tests_app.queries.completeness import open_points
from tests_app.queries.verdicts import apart_of, notes_of, over_rating_of

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    """A rig whose wellhead, the weakest part exposed, is rated 5,000 psi."""
    return keep(lambda: a_world(section={"wellhead_rated_working_pressure": "5000 psi"}))


@pytest.fixture
def annular(world: World) -> Step:
    return a_step(a_draft(world), world, "Annular")


def test_the_lowest_rating_exposed_and_five_percent_over_it_bound_the_high_hold(annular: Step):
    assert annular.limits["high"] == {
        "target": {"value": 5_000.0, "unit": "psi"},
        "max": {"value": 5_250.0, "unit": "psi"},
        "rating": {"value": 5_000.0, "unit": "psi"},
    }


def test_a_recording_over_the_weakest_rating_fails_the_step_and_says_so(world: World, annular: Step):
    a_recording(annular.record, world, good(10_000), step=annular)
    annular.refresh_from_db()
    assert annular.outcome == "failed"
    assert "the lowest rating exposed is 5,000 psi: over-pressured" in annular.verdict["high"]["reasons"][0]


def test_readings_over_the_weakest_rating_fail_the_step_and_say_so_once(world: World, annular: Step):
    judged = typed(annular, world, high=replace(HIGH, start_pressure="10113 psi"))
    assert judged.outcome == "failed"
    assert judged.verdict["high"]["reasons"] == [
        "10,113 psi was seen; the lowest rating exposed is 5,000 psi: over-pressured, inspect before it is relied on"
    ]


def test_a_little_over_the_rating_passes_with_a_note(world: World, annular: Step):
    a_recording(annular.record, world, good(5_000), step=annular)
    annular.refresh_from_db()
    assert annular.outcome == "passed"
    assert over_rating_of(annular.verdict).startswith("5,050 psi was seen, over the lowest rating exposed, 5,000 psi")
    assert notes_of(annular.verdict) == []


@pytest.mark.parametrize(
    ("low", "high", "field"),
    [
        (LOW, replace(HIGH, start_pressure="60001 psi"), "high.start_pressure"),
        (LOW, replace(HIGH, end_pressure="-1 psi"), "high.end_pressure"),
        (replace(LOW, highest_before="999999 psi"), HIGH, "low.highest_before"),
    ],
)
def test_a_pressure_no_test_has_is_refused_beside_its_field(world: World, annular: Step, low, high, field: str):
    with pytest.raises(Refused) as refusal:
        typed(annular, world, low=low, high=high)
    assert refusal.value.field == field


def test_a_hold_that_falls_steadily_passes_with_a_loud_note(world: World, annular: Step):
    corners = [(0, 0), (0.5, 300), (6.5, 299), (7, 5_240), (13, 5_012), (13.5, 0)]
    a_recording(annular.record, world, Curve.through(corners), step=annular)
    annular.refresh_from_db()
    assert annular.outcome == "passed"
    (note,) = notes_of(annular.verdict)
    told = re.match(
        r"The high pressure fell steadily, ([\d.]+) psi/min, and did not settle: a steady fall is a leak to be found "
        r"\(common practice\)\.",
        note,
    )
    assert told is not None
    # The judged window may begin on the last samples of the ramp, which lessens the rate a little.
    assert float(told[1]) == pytest.approx(38, rel=0.1)


def test_a_low_hold_that_falls_steadily_is_told_too_with_its_largest_fall(world: World, annular: Step):
    corners = [(0, 0), (0.5, 255), (2, 349), (5.9, 251), (6.5, 5_050), (12.5, 5_050), (13, 0)]
    a_recording(annular.record, world, Curve.through(corners), step=annular)
    annular.refresh_from_db()
    assert annular.outcome == "passed"
    (note,) = notes_of(annular.verdict)
    assert note.startswith("The low pressure fell steadily, 25")
    assert (
        "begins on the ramp, so that its start and end understate the fall: the largest fall in it is 37.7 psi." in note
    )


def test_a_hold_kept_up_by_the_pump_passes_with_an_alarm(world: World, annular: Step):
    held = [(7 + beat / 2 + part, top) for beat in range(12) for part, top in ((0, 5_240), (0.48, 5_010))]
    corners = [(0, 0), (0.5, 300), (6.5, 300), *held, (13.5, 0)]
    a_recording(annular.record, world, Curve.through(corners), step=annular)
    annular.refresh_from_db()
    assert annular.outcome == "passed"
    (note,) = notes_of(annular.verdict)
    assert re.match(
        r"The high pressure was raised again 6 times inside the hold, by up to 2\d\d(\.\d)? psi: pumped", note
    )
    draft = concluded(annular.record, world)
    assert any("pumped up?" in point.reason and not point.blocks for point in open_points(draft))
    draft.sealed_at = SIGNED
    assert any("pumped up?" in alarm for alarm in content_of(draft)["alarms"])


def test_two_readings_can_not_show_that_a_fall_settled(world: World, annular: Step):
    judged = typed(annular, world, high=replace(HIGH, start_pressure="5200 psi", end_pressure="5050 psi"))
    assert judged.outcome == "passed"
    assert notes_of(judged.verdict)[0].startswith("The high pressure fell 150 psi, 30 psi/min; two readings do not")


def test_the_note_stands_among_the_advice_and_in_the_sealed_content(world: World, annular: Step):
    corners = [(0, 0), (0.5, 300), (6.5, 299), (7, 5_240), (13, 5_012), (13.5, 0)]
    a_recording(annular.record, world, Curve.through(corners), step=annular)
    told = [point for point in open_points(annular.record) if "fell steadily" in point.reason]
    assert [(point.field, point.blocks) for point in told] == [("step-1", False)]
    draft = concluded(annular.record, world)
    draft.sealed_at = SIGNED
    content = content_of(draft)
    assert any("fell steadily" in alarm for alarm in content["alarms"])
    assert any("fell steadily" in note for note in content["steps"][0]["notes"])
    assert any("over the lowest rating exposed" in note for note in content["steps"][0]["notes"])


def test_typed_readings_show_on_paper_the_hold_they_were_judged_by(world: World, annular: Step):
    judged = typed(annular, world, high=replace(HIGH, start_pressure="5020 psi", end_pressure="5010 psi"))
    assert annular.lines.get().hold_seconds == 180
    content = step_content(judged, local=Local.of(world.rig), proved_by={})
    assert (content["limits"]["hold_s"], content["lines"][0]["hold_s"]) == (300, 300)
    assert content["lines"][0]["working"][-1] == "Readings typed in, no recorder file: the hold is 5 min."


def marked(step: Step, world: World, start_s: float, end_s: float) -> Step:
    return recordings.choose_marks(
        step,
        recording=step.record.recordings.get(),
        start_s=start_s,
        end_s=end_s,
        reason="Only this part",
        by=world.supervisor,
        at=SIGNED,
    )


PEAK = Curve.through([(0, 0), (0.5, 6_000), (1, 0), (2, 0)])


@pytest.mark.parametrize("peak_first", [True, False])
def test_no_marks_on_a_steps_own_file_hide_its_peak(world: World, annular: Step, peak_first: bool):
    curve = PEAK.then(good(5_000)) if peak_first else good(5_000).then(PEAK)
    a_recording(annular.record, world, curve, step=annular)
    judged = marked(annular, world, *((121, 1_020) if peak_first else (0, 890)))
    assert judged.outcome == "failed"
    assert judged.verdict["low"]["passes"]
    assert "outside the part marked; the lowest rating exposed is 5,000 psi" in judged.verdict["high"]["reasons"][0]
    assert max(judged.verdict["curve"]["p"]) == pytest.approx(6_000 * 6894.757, rel=1e-4), "the paper shows the peak"


def test_a_peak_before_the_first_steps_window_in_a_file_of_the_whole_test_fails_it(world: World, annular: Step):
    ram = a_step(annular.record, world, "Upper pipe ram")
    a_recording(annular.record, world, PEAK.then(good(5_000)).then(good(5_000), after=60))
    annular.refresh_from_db()
    ram.refresh_from_db()
    assert (annular.outcome, ram.outcome) == ("failed", "passed")


def test_a_peak_between_two_windows_stays_with_one_step_or_the_other_wherever_the_marks_go(world: World, annular: Step):
    ram = a_step(annular.record, world, "Upper pipe ram")
    a_recording(annular.record, world, good(5_000).then(PEAK, after=60).then(good(5_000)))
    ram.refresh_from_db()
    proposed = ram.proposed_marks
    outcomes = []
    for start in (880, 960, 1_000, proposed["start_s"]):
        marked(ram, world, start, proposed["end_s"])
        outcomes.append({step.outcome for step in annular.record.steps.all()})
    assert all("failed" in outcome for outcome in outcomes)


def test_the_pressure_of_a_stronger_step_beside_it_fails_no_step_and_is_said(world: World):
    strong = a_world()
    draft = a_draft(strong)
    weak = a_step(draft, strong, "Annular")
    weak.limits["high"] |= {"rating": {"value": 7_500, "unit": "psi"}, "max": {"value": 7_875, "unit": "psi"}}
    weak.save()
    a_step(draft, strong, "Upper pipe ram")
    a_recording(draft, strong, good(7_000).then(leaking(10_000), after=60).then(good(10_000), after=60))
    weak.refresh_from_db()
    assert weak.outcome == "passed"
    assert apart_of(weak.verdict).startswith("10,100 psi was seen")
    assert any("taken for another step's" in point.reason for point in open_points(draft))


def test_a_judged_file_set_aside_keeps_what_it_had_been_judged_and_its_over_pressure(world: World, annular: Step):
    record = annular.record
    bad = a_recording(record, world, good(9_500), step=annular, file_name="first.csv")
    recordings.withdraw_recording(bad, reason="Recorder was of another rig", by=world.supervisor, at=SIGNED)
    a_recording(record, world, good(5_000), step=annular)
    annular.refresh_from_db()
    assert annular.outcome == "passed"
    draft = concluded(record, world)
    assert any("over-pressured by first.csv, set aside since" in point.reason for point in open_points(draft))
    draft.sealed_at = SIGNED
    content = content_of(draft)
    assert any("over-pressured by first.csv, set aside since: 9,595 psi was seen" in one for one in content["alarms"])
    told = next(row.had_judged for row in sheet_of(content).files if row.withdrawn)
    assert told.startswith("It had been judged: not passed, step 1 (Annular)")
    assert "over-pressured" in told


@pytest.mark.parametrize("reason", ["r", "xx", "12 34", "- - -"])
def test_what_was_judged_is_not_set_aside_nor_typed_for_a_reason_that_says_nothing(
    world: World, annular: Step, reason: str
):
    with pytest.raises(Refused) as refusal:
        typed(annular, world, reason=reason)
    assert refusal.value.field == "reason"
    judged = a_recording(annular.record, world, good(5_000), step=annular)
    with pytest.raises(Refused) as refusal:
        recordings.withdraw_recording(judged, reason=reason, by=world.supervisor, at=SIGNED)
    assert refusal.value.field == "reason"
