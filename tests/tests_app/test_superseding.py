"""Correcting a signed record by a new one that refers to it."""

import json
from datetime import timedelta

import pytest

from equipment.errors import Refused
from tests.builders_tests_app import (
    SIGNED,
    STARTED,
    World,
    a_judged_draft,
    a_recording,
    a_sealed_record,
    a_step,
    good,
    leaking,
    signed,
    typed,
)
from tests_app.actions import pressure_tests, steps, superseding
from tests_app.models import Record

pytestmark = pytest.mark.django_db


def superseded(record: Record, world: World, reason: str = "The pipe size was wrong") -> Record:
    return superseding.supersede_record(record, reason=reason, by=world.supervisor, at=SIGNED + timedelta(days=1))


def test_the_correction_is_a_draft_copied_whole(world: World):
    record = a_judged_draft(world, curve=leaking())
    retest = steps.retest_step(record.steps.get(), by=world.supervisor, at=SIGNED)
    a_recording(record, world, good(), step=retest)
    typed(a_step(record, world, "Lower pipe ram"), world)
    signed(record, world)
    new = superseded(record, world)
    assert new.is_draft
    assert (new.number, new.supersedes_id, new.supersedes_reason) == (2, record.pk, "The pipe size was wrong")
    first, second, third = new.steps.order_by("order")
    assert [first.outcome, second.outcome, third.outcome] == ["failed", "passed", "passed"]
    assert second.retest_of == first
    assert {first.recording.record_id, second.recording.record_id} == {new.pk}
    assert second.recording.step == second
    assert third.typed_readings.count() == 2
    assert new.instrument_uses.count() == 1
    assert new.pressure_test.pipe_in_hole.text == "5"


def test_the_old_record_is_untouched(world: World):
    record = a_sealed_record(world)
    before = (Record.objects.filter(pk=record.pk).values().get(), record.steps.get().pk, record.recordings.get().pk)
    superseded(record, world)
    after = (Record.objects.filter(pk=record.pk).values().get(), record.steps.get().pk, record.recordings.get().pk)
    assert before == after


def test_the_sealed_correction_names_what_it_corrects(world: World):
    record = a_sealed_record(world)
    new = superseded(record, world)
    signed(new, world, at=SIGNED + timedelta(days=1))
    new.refresh_from_db()
    assert json.loads(new.content)["supersedes"] == {
        "number": record.number,
        "sha256": record.sha256,
        "reason": "The pipe size was wrong",
    }
    assert new.previous_sha256 == record.sha256


def test_a_record_is_corrected_once(world: World):
    record = a_sealed_record(world)
    superseded(record, world)
    with pytest.raises(Refused, match="corrected by Pressure test 2"):
        superseded(record, world)


def test_a_correction_given_up_leaves_room_for_another(world: World):
    record = a_sealed_record(world)
    pressure_tests.discard_record(superseded(record, world), reason="Not needed", by=world.supervisor, at=SIGNED)
    assert superseded(record, world).supersedes == record


def test_a_correction_says_why(world: World):
    with pytest.raises(Refused) as refusal:
        superseded(a_sealed_record(world), world, reason=" ")
    assert refusal.value.field == "reason"


def test_a_draft_is_changed_and_not_corrected(world: World):
    with pytest.raises(Refused, match="not signed"):
        superseded(a_judged_draft(world, at=STARTED), world)
