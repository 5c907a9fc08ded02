"""Signing: what it asks for, what it seals, and how a seal is checked."""

import json
from datetime import date, timedelta

import pytest
from celery import current_app
from django.db import connection
from pytest_django import DjangoCaptureOnCommitCallbacks

from equipment import files
from equipment.actions import components, rigs
from equipment.errors import Refused
from equipment.queries.access import RIGHTS, Right
from tests import builders
from tests.builders import PASSWORD
from tests.builders_tests_app import (
    CONCLUDED,
    SIGNED,
    STARTED,
    World,
    a_draft,
    a_heading,
    a_judged_draft,
    a_recording,
    a_sealed_record,
    a_step,
    a_world,
    concluded,
    good,
    leaking,
    signed,
)
from tests_app import seals
from tests_app.actions import pressure_tests, signing, steps
from tests_app.errors import RecordIsStale, SignedAlready
from tests_app.models import Record, Signature, SigningRole
from tests_app.queries import verification
from tests_app.queries.capacities import CAPACITIES, capacities_of
from tests_app.queries.completeness import open_points
from trail import guards
from trail.entries import of_subject

pytestmark = pytest.mark.django_db


def sign(record: Record, world: World, **facts: object) -> Signature:
    facts = {
        "role": "supervisor",
        "password": PASSWORD,
        "version": record.version,
        "by": world.supervisor,
        "at": SIGNED,
        **facts,
    }
    return signing.sign_record(record, **facts)  # type: ignore[arg-type]


def test_signing_freezes_and_seals(world: World):
    record = a_sealed_record(world)
    assert record.frozen_at == record.sealed_at == SIGNED
    assert record.passed
    assert seals.sha256_of(record.content) == record.sha256
    assert seals.canonical(json.loads(record.content)) == record.content


def test_a_signature_stands_over_the_content_without_signatures(world: World):
    record = a_sealed_record(world)
    content = json.loads(record.content)
    over = seals.sha256_of(seals.signed_part(content))
    assert {signature.sha256 for signature in record.signatures.all()} == {over}
    assert content["signatures"][-1]["name"] == "Ida Storm"
    assert {one["signed_sha256"] for one in content["signatures"]} == {over}


def test_each_seal_follows_the_one_before_it_on_the_rig(world: World):
    first = a_sealed_record(world)
    second = a_sealed_record(world, at=STARTED + timedelta(days=5))
    other = a_sealed_record(a_world())
    assert (first.previous_sha256, second.previous_sha256, other.previous_sha256) == ("", first.sha256, "")


def test_the_chain_does_not_trust_the_clock(world: World):
    late = a_sealed_record(world)
    early = a_sealed_record(world, at=STARTED - timedelta(days=30))
    last = a_sealed_record(world, at=STARTED + timedelta(days=1))
    assert (early.previous_sha256, last.previous_sha256) == (late.sha256, early.sha256)


def test_a_test_with_a_line_left_failed_is_sealed_as_not_passed(world: World):
    record = a_sealed_record(world, curve=leaking())
    assert record.passed is False
    (line,) = json.loads(record.content)["open_lines"]
    assert (line["element"], line["step"]) == ("Upper pipe ram", 1)
    assert "fell to" in line["why"]


def test_a_passing_retest_makes_the_record_pass_and_shows_both(world: World):
    record = a_judged_draft(world, curve=leaking())
    retest = steps.retest_step(record.steps.get(), by=world.supervisor, at=SIGNED)
    a_recording(record, world, good(), step=retest)
    signed(record, world)
    record.refresh_from_db()
    assert record.passed
    first, second = json.loads(record.content)["steps"]
    assert (first["outcome"]["key"], first["retests"], second["retest_of"]) == ("failed", [2], 1)
    assert first["lines"][0]["proved_by_retest"] == 2


def test_the_content_says_things_as_they_stood(world: World):
    record = a_judged_draft(world)
    serial = world.at("Upper pipe ram").installations.get().component.serial
    signed(record, world)
    rigs.amend_rig(world.rig, name="Renamed", by=world.supervisor, at=SIGNED)
    component = world.at("Upper pipe ram").installations.get().component
    components.amend_component(component, serial="CHANGED", by=world.supervisor, at=SIGNED)
    record.refresh_from_db()
    content = json.loads(record.content)
    assert content["rig"]["name"] != "Renamed"
    assert content["steps"][0]["lines"][0]["component"]["serial"] == serial
    assert content["started_at"] == {"utc": "2026-03-02T12:00:00Z", "local": "2026-03-02T06:00:00-06:00"}


def test_the_same_record_gives_the_same_content_whatever_the_row_order(world: World):
    record = a_sealed_record(world)
    assert verification.rows_content(record) == verification.rows_content(Record.objects.get(pk=record.pk))


def test_the_certificate_is_asked_for_once_the_signature_is_through(
    world: World,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    monkeypatch: pytest.MonkeyPatch,
):
    sent: list[tuple[str, dict[str, int]]] = []
    monkeypatch.setattr(current_app, "send_task", lambda name, kwargs, queue: sent.append((name, kwargs)))
    record = a_judged_draft(world)
    with django_capture_on_commit_callbacks() as callbacks:
        signed(record, world)
    assert sent == [], "not before the commit"
    for callback in callbacks:
        callback()
    assert sent == [("tests_app.make_certificate", {"record_id": record.pk})]


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"password": "wrong"}, "password"),
        ({"password": ""}, "password"),
        ({"role": "cook"}, "role"),
    ],
)
def test_who_signs_is_asked_again(world: World, facts: dict[str, str], field: str):
    record = a_judged_draft(world)
    with pytest.raises(Refused) as refusal:
        sign(record, world, **facts)
    assert refusal.value.field == field
    record.refresh_from_db()
    assert record.is_draft
    assert not record.signatures.exists()


@pytest.mark.parametrize(
    ("crew_role", "allowed"),
    [
        ("tester", {"pump-operator", "witness"}),
        ("supervisor", {"supervisor", "contractor", "witness"}),
        ("rig-manager", {"contractor", "witness"}),
        ("lessee", {"lessee", "witness"}),
        ("auditor", set()),
        ("administrator", set()),
    ],
)
def test_a_person_signs_only_in_the_capacities_of_their_role(world: World, crew_role: str, allowed: set[str]):
    record = a_judged_draft(world)
    person = builders.a_person(rig=world.rig, role=crew_role)
    for role in set(SigningRole.values) - allowed:
        with pytest.raises(Refused, match="does not let you sign as") as refusal:
            sign(record, world, by=person, role=role)
        assert refusal.value.field == "role"
    assert set(capacities_of(person, world.rig)) == allowed


def test_the_lessee_s_representative_signs_as_such_under_their_own_name(world: World):
    person = builders.a_person("Oda Reif", rig=world.rig, role="lessee")
    signature = sign(a_judged_draft(world), world, by=person, role="lessee")
    assert (signature.name, signature.role) == ("Oda Reif", "lessee")


def test_running_the_program_makes_nobody_a_representative(world: World):
    superuser = builders.a_person(superuser=True)
    assert capacities_of(superuser, world.rig) == ()
    with pytest.raises(Refused, match="does not let you sign"):
        sign(a_judged_draft(world), world, by=superuser, role="lessee")
    builders.a_crew_member(world.rig, superuser, role="supervisor")
    assert set(capacities_of(superuser, world.rig)) == {"supervisor", "contractor", "witness"}


def test_the_roles_that_may_open_the_signing_page_are_those_with_a_capacity():
    assert {role for role, rights in RIGHTS.items() if Right.SIGN in rights} == set(CAPACITIES)


def test_a_step_says_where_it_was_pumped_from_before_it_is_signed(world: World):
    record = a_judged_draft(world)
    only = record.steps.get()
    steps.amend_step(only, name=only.name, pump_point="", by=world.supervisor, at=CONCLUDED)
    record.refresh_from_db()
    with pytest.raises(Refused, match="does not say where the pressure was pumped in") as refusal:
        sign(record, world)
    assert refusal.value.field == "step-1"


def test_a_test_of_what_is_closed_from_a_station_names_the_station(world: World):
    with pytest.raises(Refused, match="No control station is named") as refusal:
        sign(a_judged_draft(world, control_station=""), world)
    assert refusal.value.field == "control_station"


def test_a_valve_turned_by_hand_needs_no_control_station(world: World):
    record = a_draft(world, control_station="")
    a_step(record, world, "Safety valve")
    told = [point for point in open_points(record) if point.field == "control_station"]
    assert [point.blocks for point in told] == [False]


def test_nobody_signs_what_they_did_not_see(world: World):
    record = a_judged_draft(world)
    steps.note_line(record.steps.get().lines.get(), leak_seen=False, remarks="dry", by=world.supervisor, at=CONCLUDED)
    with pytest.raises(RecordIsStale):
        sign(record, world)


def test_a_second_press_of_the_button_is_told_of_the_first(world: World):
    record = a_judged_draft(world)
    sign(record, world)
    with pytest.raises(SignedAlready, match="already signed by Ida Storm"):
        sign(record, world)
    assert Signature.objects.count() == 1
    assert of_subject(record).filter(event="record.signed").count() == 1


def test_a_sealed_record_is_not_signed_by_another(world: World):
    record = a_sealed_record(world)
    with pytest.raises(SignedAlready, match="is sealed"):
        sign(record, world, by=builders.a_person(rig=world.rig), role="witness")


def test_a_record_without_steps_is_not_signed(world: World):
    with pytest.raises(Refused, match="no step") as refusal:
        sign(concluded(a_draft(world), world), world)
    assert refusal.value.field == "steps"


def test_a_step_without_evidence_keeps_a_record_from_being_signed(world: World):
    record = a_draft(world)
    a_step(record, world, "Annular")
    with pytest.raises(Refused, match="is not judged") as refusal:
        sign(concluded(record, world), world)
    assert refusal.value.field == "step-1"


def test_a_record_that_is_not_concluded_is_not_signed(world: World):
    record = a_draft(world)
    a_recording(record, world, good(), step=a_step(record, world, "Upper pipe ram"))
    record.refresh_from_db()
    with pytest.raises(Refused) as refusal:
        sign(record, world)
    assert refusal.value.field == "concluded_at"


def test_a_record_names_the_instrument_it_was_read_from(world: World):
    record = a_draft(world, instruments=[])
    a_recording(record, world, good(), step=a_step(record, world, "Upper pipe ram"))
    with pytest.raises(Refused) as refusal:
        sign(concluded(record, world), world)
    assert refusal.value.field == "instruments"


@pytest.mark.parametrize("due", [None, date(2026, 3, 1)])
def test_an_instrument_out_of_calibration_is_named_in_the_remarks(world: World, due: date | None):
    gauge = builders.an_instrument(world.rig, "gauge", serial="PG-77", calibration_due_on=due)
    record = a_draft(world, instruments=[gauge])
    a_recording(record, world, good(), step=a_step(record, world, "Upper pipe ram"))
    record = concluded(record, world)
    with pytest.raises(Refused, match="was not in calibration") as refusal:
        sign(record, world)
    assert refusal.value.field == "instruments"
    record = pressure_tests.amend_heading(
        record,
        section=world.section,
        heading=a_heading(remarks="pg-77 used: the recorder's own gauge read the same."),
        instruments=[gauge],
        version=record.version,
        by=world.supervisor,
        at=CONCLUDED,
    )
    sign(record, world)
    record.refresh_from_db()
    content = json.loads(record.content)
    assert content["instruments"][0]["in_date"] is (None if due is None else False)
    assert "pg-77 used" in content["remarks"]


@pytest.mark.parametrize("hours_off", [-7, 7])
def test_a_recorder_whose_clock_was_off_is_explained_in_the_remarks(world: World, hours_off: int):
    record = a_draft(world)
    clocked = good().clock_csv(STARTED + timedelta(hours=hours_off))
    a_recording(record, world, clocked, step=a_step(record, world, "Upper pipe ram"))
    record = concluded(record, world)
    with pytest.raises(Refused, match="by the clock of its recording") as refusal:
        sign(record, world)
    assert refusal.value.field == "step-1"
    record = pressure_tests.amend_heading(
        record,
        section=world.section,
        heading=a_heading(remarks="The recorder's clock stood on another zone."),
        instruments=[world.recorder],
        version=record.version,
        by=world.supervisor,
        at=CONCLUDED,
    )
    sign(record, world)


def test_a_repeat_of_station_is_advised_and_signed_all_the_same(world: World):
    a_sealed_record(world)
    record = a_judged_draft(world, at=STARTED + timedelta(days=3))
    advice = [point for point in open_points(record) if point.field == "control_station"]
    assert [point.blocks for point in advice] == [False]
    signed(record, world)


def test_a_file_changed_in_the_store_keeps_a_record_from_being_signed(world: World, settings: object):
    record = a_judged_draft(world)
    spoil(record, settings)
    with pytest.raises(files.FileAltered):
        sign(record, world)


def spoil(record: Record, settings: object) -> None:
    sha256 = record.recordings.get().sha256
    path = settings.MEDIA_ROOT / "kept" / sha256[:2] / sha256  # type: ignore[attr-defined]
    path.chmod(0o600)
    path.write_bytes(path.read_bytes() + b"\n999,12\n")


def test_a_whole_seal_holds(world: World):
    a_sealed_record(world)
    check = verification.check_seal(a_sealed_record(world, at=STARTED + timedelta(days=2)))
    assert check.holds
    assert {one.name for one in check.checks} >= {"content", "rows", "signatures", "chain", "file recorder.csv"}


def test_a_draft_has_no_seal_to_hold(world: World):
    assert not verification.check_seal(a_judged_draft(world)).holds


def failing(record: Record) -> set[str]:
    record.refresh_from_db()
    return {one.name for one in verification.check_seal(record).checks if not one.holds}


def tampered(statement: str, values: list[object]) -> None:
    """Change the database as its owner could: with the guards lifted."""
    connection.check_constraints()  # PostgreSQL alters no table with checks still waiting for the commit
    guards.lift(connection)
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
    guards.install(connection)


def test_changed_content_is_found(world: World):
    record = a_sealed_record(world, curve=leaking())
    passing = record.content.replace('"passed":false', '"passed":true')
    tampered("UPDATE tests_app_record SET content = %s WHERE id = %s", [passing, record.pk])
    assert failing(record) == {"content"}


def test_a_line_changed_behind_the_guards_is_found(world: World):
    record = a_sealed_record(world, curve=leaking())
    tampered("UPDATE tests_app_line SET outcome = %s", ["passed"])
    assert failing(record) == {"rows"}


def test_a_changed_signature_is_found(world: World):
    record = a_sealed_record(world)
    tampered("UPDATE tests_app_signature SET name = %s", ["Nobody"])
    assert failing(record) == {"signatures"}


def test_a_changed_file_is_found(world: World, settings: object):
    record = a_sealed_record(world)
    spoil(record, settings)
    assert failing(record) == {"file recorder.csv"}


def test_a_record_taken_out_of_the_chain_is_found(world: World):
    a_sealed_record(world)
    second = a_sealed_record(world, at=STARTED + timedelta(days=2))
    tampered("UPDATE tests_app_record SET sha256 = %s WHERE previous_sha256 = ''", ["e" * 64])
    assert failing(second) == {"chain"}


def test_a_certificate_leads_to_its_record_by_hash_alone(world: World):
    record = a_sealed_record(world)
    assert verification.sealed_by_hash(f" {record.sha256.upper()} ") == record
    assert verification.sealed_by_hash("0" * 64) is None
    assert verification.sealed_by_hash("") is None
