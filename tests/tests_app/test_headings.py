"""A test from opening to conclusion: numbering, heading, giving up."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from equipment.errors import Refused
from tests import builders, recordings_made
from tests.builders_tests_app import (
    CONCLUDED,
    STARTED,
    World,
    a_draft,
    a_heading,
    a_judged_draft,
    a_recording,
    a_sealed_record,
    a_step,
    a_world,
    typed,
)
from tests_app.actions import pressure_tests, programmes
from tests_app.errors import NoRules, RecordIsSealed, RecordIsStale
from tests_app.models import Programme, Record
from trail import entries

pytestmark = pytest.mark.django_db


def amended(record: Record, world: World, *, version: int | None = None, **heading: object) -> Record:
    return pressure_tests.amend_heading(
        record,
        section=world.section,
        heading=a_heading(**heading),
        instruments=[world.recorder],
        version=record.version if version is None else version,
        by=world.supervisor,
        at=CONCLUDED,
    )


def concluded(record: Record, world: World, concluded_at: datetime, *, at: datetime | None = None) -> Record:
    return pressure_tests.conclude(record, concluded_at=concluded_at, by=world.supervisor, at=at or concluded_at)


def test_records_are_numbered_on_each_rig(world: World):
    assert [a_draft(world).number, a_draft(world).number, a_draft(a_world()).number] == [1, 2, 1]


def test_a_number_taken_meanwhile_is_passed_over(world: World, monkeypatch: pytest.MonkeyPatch):
    first = a_draft(world)
    stale = iter([0])
    real = pressure_tests.highest_number
    monkeypatch.setattr(pressure_tests, "highest_number", lambda rig: next(stale, None) or real(rig))
    assert a_draft(world).number == first.number + 1


def test_the_database_holds_one_record_of_a_number(world: World):
    first, second = a_draft(world), a_draft(world)
    with pytest.raises(IntegrityError), transaction.atomic():
        Record.objects.filter(pk=second.pk).update(number=first.number)


def test_a_test_is_judged_by_the_edition_the_rig_follows(world: World):
    assert a_draft(world).edition == "us-ocs/2023"
    programmes.choose_edition(world.rig, edition="api53-4", reason="New permit", by=world.supervisor, at=STARTED)
    assert a_draft(world).edition.startswith("api53")


def test_a_draft_keeps_the_edition_it_was_opened_with(world: World):
    record = a_draft(world)
    programmes.choose_edition(world.rig, edition="api53-4", reason="New permit", by=world.supervisor, at=STARTED)
    record.refresh_from_db()
    assert record.edition == "us-ocs/2023"


def test_a_rig_without_rules_opens_no_test(world: World):
    Programme.objects.all().delete()
    with pytest.raises(NoRules) as refusal:
        a_draft(world)
    assert refusal.value.reason == f"No rules are chosen for {world.rig.name}."
    assert "Rules of this rig" in refusal.value.remedy
    assert not Record.objects.exists()


def test_rules_that_are_no_longer_in_the_book_are_none(world: World):
    Programme.objects.update(edition="us-ocs/1888")
    with pytest.raises(NoRules, match="us-ocs/1888, are not in this rule book"):
        a_draft(world)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"edition": "moonlight"}, "edition"),
        ({"edition": "us-ocs"}, "edition"),
        ({"since": STARTED + timedelta(days=1)}, "since"),
        ({"since": builders.LONG_AGO - timedelta(days=1)}, "since"),
        ({"reason": "  "}, "reason"),
    ],
)
def test_a_change_of_rules_that_can_not_be_kept_is_refused(world: World, change: dict[str, Any], field: str):
    facts = {"edition": "api53-4", "reason": "New permit", **change}
    with pytest.raises(Refused) as refusal:
        programmes.choose_edition(world.rig, **facts, by=world.supervisor, at=STARTED)
    assert refusal.value.field == field
    assert Programme.objects.get(rig=world.rig).edition == "us-ocs/2023"


def test_a_change_of_rules_says_since_when_and_why(world: World):
    since = STARTED - timedelta(days=3)
    facts = {"edition": "api53-4", "since": since, "reason": "New permit"}
    programme = programmes.choose_edition(world.rig, **facts, by=world.supervisor, at=STARTED)
    told = entries.of_subject(programme).order_by("-at").first()
    assert (programme.chosen_at, programme.chosen_by) == (since, "Ida Storm")
    assert (told.at, told.reason, told.before["edition"]) == (STARTED, "New permit", "us-ocs/2023")


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"started_at": STARTED + timedelta(days=1)}, "started_at"),
        ({"started_at": datetime(2026, 3, 2, 6)}, "started_at"),  # noqa: DTZ001 - the zone is missing on purpose
    ],
)
def test_a_start_that_can_not_be_is_refused(world: World, facts: dict[str, object], field: str):
    with pytest.raises(Refused) as refusal:
        pressure_tests.open_pressure_test(
            rig=world.rig,
            stack=world.stack,
            section=world.section,
            heading=a_heading(**facts),
            instruments=[],
            by=world.supervisor,
            at=STARTED,
        )
    assert refusal.value.field == field


@pytest.mark.parametrize("facts", [{"reason": "boredom"}, {"fluid": "tea"}, {"barrier": ""}, {"pipe_in_hole": "5 psi"}])
def test_a_heading_is_checked_field_by_field(world: World, facts: dict[str, object]):
    with pytest.raises(ValidationError) as refusal:
        a_draft(world, **facts)
    assert set(facts) == set(refusal.value.message_dict)


def test_without_a_hole_section_only_the_stump_is_tested_on(world: World):
    facts = {"rig": world.rig, "stack": world.stack, "section": None, "instruments": []}
    with pytest.raises(Refused) as refusal:
        pressure_tests.open_pressure_test(**facts, heading=a_heading(), by=world.supervisor, at=STARTED)
    assert refusal.value.field == "section"
    stump = a_heading(barrier="stump", reason="stump")
    record = pressure_tests.open_pressure_test(**facts, heading=stump, by=world.supervisor, at=STARTED)
    assert record.section is None


@pytest.mark.parametrize("strange", ["stack", "section", "instruments"])
def test_what_belongs_to_another_rig_is_refused(world: World, strange: str):
    other = a_world()
    facts = {"stack": world.stack, "section": world.section, "instruments": [world.recorder]}
    facts[strange] = {"stack": other.stack, "section": other.section, "instruments": [other.recorder]}[strange]
    with pytest.raises(Refused) as refusal:
        pressure_tests.open_pressure_test(rig=world.rig, heading=a_heading(), by=world.supervisor, at=STARTED, **facts)
    assert refusal.value.field == strange


def test_the_instrument_is_kept_as_it_stood(world: World):
    use = a_draft(world).instrument_uses.get()
    assert use.as_used["serial"] == world.recorder.serial
    assert use.as_used["calibration_due_on"] == "2027-01-15"
    assert use.as_used["range_high"] == {"value": "15000", "unit": "psi"}


def test_a_changed_heading_changes_what_must_be_shown_and_judges_again(world: World):
    record = a_judged_draft(world)
    assert record.steps.get().outcome == "passed"
    cased = amended(record, world, barrier="none")
    line = cased.steps.get().lines.get()
    assert str(line.required_high) == "8,000 psi"
    assert cased.steps.get().limits["high"]["target"] == {"value": 8000.0, "unit": "psi"}
    # The hold of over 10,000 psi now stands on casing rated 8,000 psi.
    assert line.outcome == "failed"


def test_losing_the_recorder_lengthens_the_hold_and_judges_again(world: World):
    record = a_draft(world)
    step = a_step(record, world, "Upper pipe ram")
    a_recording(record, world, recordings_made.step(low=300, high=10_100, hold=4), step=step)
    step.refresh_from_db()
    assert step.outcome == "passed"
    record.refresh_from_db()
    gauge = builders.an_instrument(world.rig, "gauge")
    pressure_tests.amend_heading(
        record,
        section=world.section,
        heading=a_heading(),
        instruments=[gauge],
        version=record.version,
        by=world.supervisor,
        at=CONCLUDED,
    )
    step.refresh_from_db()
    assert (step.outcome, step.lines.get().hold_seconds) == ("failed", 300)


def test_a_heading_that_leaves_a_step_impossible_is_refused_whole():
    world = a_world(section={"casing_internal_yield": None})
    record = a_judged_draft(world)
    with pytest.raises(Refused, match="internal yield"):
        amended(record, world, barrier="none", remarks="lost")
    record.refresh_from_db()
    assert (record.remarks, record.pressure_test.barrier) == ("", "plug")


def test_a_page_loaded_before_a_change_does_not_write_over_it(world: World):
    record = a_draft(world)
    seen = record.version
    a_step(record, world, "Annular")
    with pytest.raises(RecordIsStale) as refusal:
        amended(record, world, version=seen, remarks="from an old page")
    assert refusal.value.field == "version"


def test_a_test_concludes_after_its_start_and_not_in_the_future(world: World):
    record = a_draft(world)
    for moment in (STARTED, STARTED - timedelta(minutes=1)):
        with pytest.raises(Refused, match="after it started"):
            concluded(record, world, moment, at=CONCLUDED)
    with pytest.raises(Refused, match="in the future"):
        concluded(record, world, CONCLUDED, at=STARTED + timedelta(minutes=1))


def test_a_test_does_not_conclude_before_its_last_hold(world: World):
    record = a_draft(world)
    typed(a_step(record, world, "Upper pipe ram"), world)
    with pytest.raises(Refused, match="was still running"):
        concluded(record, world, STARTED + timedelta(minutes=5))


def test_a_draft_given_up_stays_on_file_and_takes_no_change(world: World):
    record = pressure_tests.discard_record(
        a_draft(world), reason="Opened on the wrong well", by=world.supervisor, at=STARTED
    )
    assert not record.is_draft
    with pytest.raises(Refused, match="was discarded"):
        a_step(record, world, "Annular")


def test_a_draft_is_not_given_up_without_a_reason(world: World):
    with pytest.raises(Refused) as refusal:
        pressure_tests.discard_record(a_draft(world), reason="", by=world.supervisor, at=STARTED)
    assert refusal.value.field == "reason"


def test_a_signed_record_takes_no_change_and_says_how_to_correct_it(world: World):
    record = a_sealed_record(world)
    for change in (
        lambda: amended(record, world),
        lambda: concluded(record, world, CONCLUDED),
        lambda: a_step(record, world, "Annular"),
        lambda: pressure_tests.discard_record(record, reason="Ugly", by=world.supervisor, at=CONCLUDED),
    ):
        with pytest.raises(RecordIsSealed, match="Supersede it"):
            change()
