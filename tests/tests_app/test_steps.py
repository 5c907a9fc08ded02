"""Steps of a draft: adding, changing, repeating and taking them out; what is seen of their lines."""

from dataclasses import replace

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

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
)
from tests.recordings_made import Curve
from tests_app.actions import recordings, steps
from tests_app.actions.steps import LineSpec
from tests_app.documents.sheet import sheet_of
from tests_app.documents.snapshot import content_of
from tests_app.errors import RecordIsStale
from tests_app.models import Line, Record, Step
from tests_app.queries.records import failed_lines_open, steps_of

pytestmark = pytest.mark.django_db


def changed(step: Step, world: World, *names: str) -> Step:
    return steps.amend_step(
        step,
        name=step.name,
        pump_point=step.pump_point,
        lines=[LineSpec(world.at(name)) for name in names],
        by=world.supervisor,
        at=STARTED,
    )


def elements(step: Step) -> set[str]:
    return {line.position.name for line in step.lines.select_related("position")}


def noted(line: Line, world: World, **facts: object) -> Line:
    facts = {"leak_seen": True, "leak_description": "Drip at the bonnet, 1 gal/h", **facts}
    return steps.note_line(line, by=world.supervisor, at=SIGNED, **facts)  # type: ignore[arg-type]


def test_steps_are_counted_in_the_order_they_are_added(world: World):
    record = a_draft(world)
    assert [a_step(record, world, name).order for name in ("Annular", "Upper pipe ram")] == [1, 2]


def test_a_step_proves_at_least_one_element(world: World):
    with pytest.raises(Refused, match="at least one element"):
        steps.add_step(a_draft(world), name="Nothing", pump_point="", lines=[], by=world.supervisor, at=STARTED)


def test_a_step_has_a_name(world: World):
    with pytest.raises(ValidationError) as refusal:
        a_step(a_draft(world), world, "Annular", name=" ")
    assert "name" in refusal.value.message_dict


def test_an_element_is_named_once_a_step(world: World):
    with pytest.raises(Refused, match="named twice"):
        a_step(a_draft(world), world, "Annular", "Annular")


def test_a_step_that_is_not_judged_may_prove_something_else(world: World):
    step = a_step(a_draft(world), world, "Upper pipe ram", "Inner choke valve")
    changed(step, world, "Upper pipe ram", "Manifold valve 1")
    assert elements(step) == {"Upper pipe ram", "Manifold valve 1"}


def test_a_judged_step_proves_what_it_proved(world: World):
    step = a_judged_draft(world).steps.get()
    with pytest.raises(Refused, match="is judged") as refusal:
        changed(step, world, "Lower pipe ram")
    assert refusal.value.field == "lines"
    changed(step, world, "Upper pipe ram")
    assert elements(step) == {"Upper pipe ram"}


def test_what_rests_on_an_earlier_state_of_the_draft_is_not_written(world: World):
    step = a_step(a_draft(world), world, "Upper pipe ram")
    line, seen = step.lines.get(), Record.objects.get(pk=step.record_id).version
    noted(line, world, version=seen)
    with pytest.raises(RecordIsStale):
        noted(line, world, leak_description="None", version=seen)
    with pytest.raises(RecordIsStale):
        steps.amend_step(step, name="Renamed", pump_point="", version=seen, by=world.supervisor, at=STARTED)
    assert (Line.objects.get().leak_description, Step.objects.get().name) == ("Drip at the bonnet, 1 gal/h", step.name)


def test_a_step_with_evidence_is_not_taken_out(world: World):
    step = a_judged_draft(world).steps.get()
    with pytest.raises(Refused, match="has evidence"):
        steps.remove_step(step, by=world.supervisor, at=SIGNED)


def test_the_steps_after_one_taken_out_move_up(world: World):
    record = a_draft(world)
    first, second, third = (a_step(record, world, name) for name in ("Annular", "Upper pipe ram", "Lower pipe ram"))
    steps.remove_step(second, by=world.supervisor, at=STARTED)
    assert list(record.steps.order_by("order").values_list("pk", "order")) == [(first.pk, 1), (third.pk, 2)]


def test_a_failed_step_stays_and_is_repeated_by_a_new_one(world: World):
    record = a_judged_draft(world, curve=leaking())
    failed = record.steps.get()
    retest = steps.retest_step(failed, by=world.supervisor, at=SIGNED)
    assert (retest.order, retest.retest_of_id) == (2, failed.pk)
    assert elements(retest) == {"Upper pipe ram"}
    assert [line.step_id for line in failed_lines_open(record)] == [failed.pk]
    a_recording(record, world, good(), step=retest)
    assert failed_lines_open(record) == []
    failed.refresh_from_db()
    assert failed.outcome == "failed"


def test_a_step_that_passed_is_not_repeated(world: World):
    step = a_judged_draft(world).steps.get()
    with pytest.raises(Refused, match="no failed line"):
        steps.retest_step(step, by=world.supervisor, at=SIGNED)


def test_a_retest_refers_to_a_step_of_the_same_test(world: World):
    failed = a_judged_draft(world, curve=leaking()).steps.get()
    with pytest.raises(Refused, match="belongs to another test"):
        a_step(a_draft(world), world, "Upper pipe ram", retest_of=failed)


def test_a_leak_fails_its_line_even_where_the_pressure_held(world: World):
    record = a_draft(world)
    step = a_step(record, world, "Upper pipe ram", "Inner choke valve")
    a_recording(record, world, good(), step=step)
    leaked = noted(step.lines.get(position=world.at("Inner choke valve")), world)
    step.refresh_from_db()
    assert (leaked.outcome, step.outcome) == ("failed", "passed")
    assert step.lines.get(position=world.at("Upper pipe ram")).outcome == "passed"
    assert elements(steps.retest_step(step, by=world.supervisor, at=SIGNED)) == {"Inner choke valve"}


def test_a_leak_that_turns_out_to_be_none_gives_the_line_its_result_back(world: World):
    line = a_judged_draft(world).steps.get().lines.get()
    noted(line, world)
    assert noted(line, world, leak_seen=False).outcome == "passed"
    line.refresh_from_db()
    assert line.leak_description == ""


def test_a_leak_is_described(world: World):
    line = a_judged_draft(world).steps.get().lines.get()
    with pytest.raises(Refused) as refusal:
        noted(line, world, leak_description="  ")
    assert refusal.value.field == "leak_description"


def test_reading_the_steps_takes_the_same_queries_for_few_and_many(world: World):
    few, many = a_draft(world), a_draft(world)
    a_step(few, world, "Annular")
    for name in ("Annular", "Upper pipe ram", "Lower pipe ram", "Inner choke valve"):
        a_step(many, world, name)
    assert queries_for(few) == queries_for(many)


def queries_for(record: Record) -> int:
    with CaptureQueriesContext(connection) as queries:
        for step in steps_of(record):
            for line in step.lines.all():
                assert line.component.kind
                assert line.position.stack.name
            assert list(step.typed_readings.all()) == list(step.recordings.all()) == list(step.retests.all()) == []
    return len(queries)


def test_a_step_whose_only_file_was_set_aside_is_taken_out_and_the_file_stays(world: World):
    record = a_judged_draft(world)
    recording = record.recordings.get()
    recordings.withdraw_recording(recording, reason="Another well's", by=world.supervisor, at=SIGNED)
    steps.remove_step(record.steps.get(), by=world.supervisor, at=SIGNED)
    recording.refresh_from_db()
    assert (record.steps.count(), recording.step_id, recording.withdrawn_at) == (0, None, SIGNED)


def test_a_largest_fall_of_the_test_plan_is_kept_judged_and_printed(world: World):
    record = a_draft(world)
    step = a_step(record, world, "Annular", max_decay="100 psi")
    assert step.limits["max_decay"] == {"value": 100.0, "unit": "psi"}
    falling = Curve.through([(0, 0), (0.5, 300), (6.5, 300), (7, 7_450), (13, 7_150), (13.5, 0)])
    target = step.limits["high"]["target"]["value"]
    a_recording(record, world, replace(falling, p=falling.p * target / 7_100), step=step)
    step.refresh_from_db()
    assert step.outcome == "failed"
    assert "more than the 100 psi allowed" in step.verdict["high"]["reasons"][0]
    again = steps.retest_step(step, by=world.supervisor, at=SIGNED)
    assert again.limits["max_decay"] == step.limits["max_decay"]
    with pytest.raises(Refused) as refusal:
        amended(step, world, max_decay="900 psi")
    assert refusal.value.field == "max_decay"
    assert amended(again, world, max_decay="").limits.get("max_decay") is None
    draft = concluded(record, world)
    draft.sealed_at = SIGNED
    notes = sheet_of(content_of(draft)).held[0].notes
    assert "Largest fall allowed in a hold, by the test plan: 100 psi." in notes


def test_a_largest_fall_that_can_not_be_read_is_refused_beside_its_field(world: World):
    for given in ("ten psi", "0 psi", "-5 psi", "5 s"):
        with pytest.raises(Refused) as refusal:
            a_step(a_draft(world), world, "Annular", max_decay=given)
        assert refusal.value.field == "max_decay"


def amended(step: Step, world: World, *, max_decay: str) -> Step:
    kept = {"name": step.name, "pump_point": step.pump_point, "max_decay": max_decay}
    return steps.amend_step(step, **kept, by=world.supervisor, at=SIGNED)
