"""Readings typed in where the recorder failed: judged by the same rule, and marked so."""

from dataclasses import replace
from datetime import timedelta

import pytest

from equipment.errors import Refused
from tests.builders_tests_app import (
    HIGH,
    LOW,
    SIGNED,
    STARTED,
    World,
    a_draft,
    a_judged_draft,
    a_recording,
    a_step,
    good,
    typed,
)
from tests_app.actions import readings
from tests_app.actions.readings import HoldReading
from tests_app.models import Step

pytestmark = pytest.mark.django_db


@pytest.fixture
def step(world: World) -> Step:
    return a_step(a_draft(world), world, "Upper pipe ram")


def test_good_readings_pass_and_are_marked_as_typed(world: World, step: Step):
    judged = typed(step, world)
    assert (judged.outcome, judged.evidence, judged.verdict["evidence"]) == ("passed", "typed", "typed")
    assert judged.concluded_at == HIGH.end_at
    assert judged.lines.get().outcome == "passed"
    assert {reading.reason for reading in judged.typed_readings.all()} == {"Recorder lost power"}


def test_the_digits_stay_as_typed(world: World, step: Step):
    judged = typed(step, world, high=replace(HIGH, start_pressure="10080.50 psi"))
    assert str(judged.typed_readings.get(phase="high").start_pressure) == "10,080.50 psi"


def test_a_shorter_hold_needs_a_recorder_so_typed_readings_take_the_whole_time(world: World, step: Step):
    assert step.lines.get().hold_seconds == 180
    short = replace(HIGH, end_at=HIGH.start_at + timedelta(minutes=4))
    judged = typed(step, world, high=short)
    assert judged.outcome == "failed"
    assert judged.verdict["high"]["reasons"] == ["it was held for 4 min of the 5 min needed"]


def test_too_high_a_pressure_before_the_low_hold_fails_it(world: World, step: Step):
    judged = typed(step, world, low=replace(LOW, highest_before="620 psi"))
    assert not judged.verdict["low"]["passes"]
    assert judged.outcome == "failed"


def test_typing_again_replaces_the_readings(world: World, step: Step):
    typed(step, world, high=replace(HIGH, end_pressure="9000 psi"))
    assert typed(step, world).outcome == "passed"
    assert step.typed_readings.count() == 2


@pytest.mark.parametrize(
    ("low", "high", "field"),
    [
        (replace(LOW, highest_before=""), HIGH, "low.highest_before"),
        (replace(LOW, start_pressure="three hundred"), HIGH, "low.start_pressure"),
        (replace(LOW, start_pressure="300"), HIGH, "low.start_pressure"),
        (LOW, replace(HIGH, end_pressure=""), "high.end_pressure"),
        (LOW, replace(HIGH, end_pressure="10000 ft"), "high.end_pressure"),
        (LOW, replace(HIGH, end_pressure="-5 psi"), "high.end_pressure"),
        (replace(LOW, end_at=LOW.start_at), HIGH, "low.end_at"),
        (replace(LOW, start_at=STARTED - timedelta(hours=1)), HIGH, "low.start_at"),
        (LOW, replace(HIGH, end_at=SIGNED + timedelta(hours=1)), "high.end_at"),
    ],
)
def test_what_can_not_be_a_reading_is_refused_beside_its_field(
    world: World, step: Step, low: HoldReading, high: HoldReading, field: str
):
    with pytest.raises(Refused) as refusal:
        typed(step, world, low=low, high=high)
    assert refusal.value.field == field
    assert step.typed_readings.count() == 0


def test_readings_are_typed_in_for_a_reason(world: World, step: Step):
    with pytest.raises(Refused) as refusal:
        typed(step, world, reason=" ")
    assert refusal.value.field == "reason"


def test_a_step_judged_from_a_recording_takes_no_readings(world: World):
    with pytest.raises(Refused, match="judged from a recording"):
        typed(a_judged_draft(world).steps.get(), world)


def test_readings_are_taken_back_when_the_recording_turns_up(world: World, step: Step):
    typed(step, world)
    back = readings.take_back_readings(step, reason="File recovered", by=world.supervisor, at=SIGNED)
    assert (back.outcome, back.evidence) == ("pending", "none")
    a_recording(step.record, world, good(), step=back)
    back.refresh_from_db()
    assert back.evidence == "recording"


def test_readings_are_not_taken_back_without_a_reason_or_without_being_there(world: World, step: Step):
    with pytest.raises(Refused, match="no readings"):
        readings.take_back_readings(step, reason="None there", by=world.supervisor, at=SIGNED)
    typed(step, world)
    with pytest.raises(Refused) as refusal:
        readings.take_back_readings(step, reason="", by=world.supervisor, at=SIGNED)
    assert refusal.value.field == "reason"
