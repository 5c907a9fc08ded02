"""Every signature the rules name: in any order, each by somebody else, the last one sealing the record."""

import itertools
import json
from datetime import timedelta
from typing import Any

import pytest
from celery import current_app
from django.db import IntegrityError, transaction
from pytest_django import DjangoCaptureOnCommitCallbacks

from accounts.models import User
from calcs.rules import SigningCapacity
from calcs.signing import open_seats
from equipment.actions import rigs
from equipment.errors import Refused
from tests import builders
from tests.builders_signing import a_signer, one_signs
from tests.builders_tests_app import (
    SIGNED,
    STARTED,
    World,
    a_judged_draft,
    a_sealed_record,
    signed,
)
from tests_app import rulebook, seals
from tests_app.actions import pressure_tests, signing, superseding
from tests_app.errors import RecordIsSealed, SignedAlready
from tests_app.models import Line, Record, Signature, SigningRole
from tests_app.queries import verification
from tests_app.queries.corrections import is_corrected, keys_corrected
from tests_app.queries.due_items import What
from tests_app.queries.due_list import due_list
from tests_app.queries.signatories import signatories_of
from tests_app.web.due_words import state_words
from trail.entries import of_subject

pytestmark = pytest.mark.django_db
LATER = SIGNED + timedelta(hours=1)
THREE = ("lessee", "contractor", "pump-operator")


def signer(world: World, capacity: str) -> User:
    return world.supervisor if capacity in ("contractor", "supervisor") else a_signer(world.rig, capacity)


def signs(record: Record, world: World, capacity: str, **facts: Any) -> Signature:
    by = facts.pop("by", None) or signer(world, capacity)
    given = one_signs(record, capacity, by=by, at=facts.pop("at", SIGNED))
    record.refresh_from_db()
    return given


def test_the_vocabulary_of_the_rules_is_that_of_the_signatures():
    assert set(SigningCapacity) == set(SigningRole.values)


def test_30_cfr_250_746_b_asks_for_three():
    """Lessee's representative, contractor's representative and pump operator: 30 CFR 250.746(b), read."""
    needed = rulebook.edition("us-ocs").signatures
    assert needed is not None
    assert set(needed.capacities) == set(THREE)
    assert needed.source.clause == "30 CFR 250.746(b)"


@pytest.mark.parametrize(
    ("given", "seals_it"),
    [
        ((), False),
        (("witness",), False),
        (("pump-operator",), False),
        (("witness", "pump-operator"), False),
        (("supervisor",), True),
        (("contractor",), True),
        (("lessee",), True),
    ],
)
def test_where_rules_name_nobody_one_who_answers_for_the_test_is_needed(given: tuple[str, ...], seals_it: bool):
    assert (not open_seats(rulebook.edition("api53-4"), given)) is seals_it


@pytest.mark.parametrize("order", list(itertools.permutations(THREE)), ids=", ".join)
def test_the_last_needed_signature_seals_whatever_the_order(world: World, order: tuple[str, ...]):
    record = a_judged_draft(world)
    for capacity in order[:2]:
        signs(record, world, capacity)
        assert record.frozen_at == SIGNED
        assert record.sealed_at is None
        assert record.passed is None
    signs(record, world, order[2], at=LATER)
    assert (record.frozen_at, record.sealed_at, record.passed) == (SIGNED, LATER, True)
    content = json.loads(record.content)
    assert [one["role"]["key"] for one in content["signatures"]] == list(order)
    assert verification.check_seal(record).holds


def test_all_sign_one_hash_whatever_changes_between_them(world: World):
    record = a_judged_draft(world)
    first = signs(record, world, "pump-operator")
    rigs.amend_rig(world.rig, name="Renamed", by=world.supervisor, at=SIGNED)
    other = a_sealed_record(world, at=STARTED - timedelta(days=5))
    for capacity in ("lessee", "contractor"):
        assert signs(record, world, capacity, at=LATER).sha256 == first.sha256
    content = json.loads(record.content)
    assert content["rig"]["name"] != "Renamed"
    assert seals.sha256_of(seals.signed_part(content)) == first.sha256
    assert record.previous_sha256 == other.sha256, "the chain is joined at the seal"
    assert verification.check_seal(record).holds


def test_a_tester_alone_seals_nothing(world: World):
    record = a_judged_draft(world)
    tester = a_signer(world.rig, "pump-operator")
    signs(record, world, "witness", by=tester)
    assert record.sealed_at is None
    with pytest.raises(SignedAlready):
        signs(record, world, "pump-operator", by=tester)


def test_one_person_gives_one_signature(world: World):
    record = a_judged_draft(world)
    signs(record, world, "contractor")
    with pytest.raises(SignedAlready, match="already signed by Ida Storm, Contractor's representative") as refusal:
        signs(record, world, "supervisor", at=LATER)
    assert "2 Mar 2026" in str(refusal.value)
    assert record.signatures.count() == 1


def test_one_capacity_is_signed_in_once(world: World):
    record = a_judged_draft(world)
    signs(record, world, "contractor")
    manager = builders.a_person(rig=world.rig, role="rig-manager")
    with pytest.raises(SignedAlready, match="already signed by Ida Storm"):
        signs(record, world, "contractor", by=manager)


def test_a_witness_signs_before_the_seal_and_not_after(world: World):
    record = a_judged_draft(world)
    first, second = (builders.a_person(rig=world.rig, role="rig-manager") for _ in range(2))
    signs(record, world, "witness", by=first)
    for capacity in THREE:
        signs(record, world, capacity)
    assert record.sealed_at == SIGNED
    assert [one["role"]["key"] for one in json.loads(record.content)["signatures"]] == ["witness", *THREE]
    with pytest.raises(SignedAlready, match="is sealed: signed by"):
        signs(record, world, "contractor", by=second)


def test_a_wrong_password_signs_no_frozen_record(world: World):
    record = a_judged_draft(world)
    signs(record, world, "contractor")
    with pytest.raises(Refused, match="not your password"):
        signing.sign_record(
            record,
            role="lessee",
            password="wrong",
            version=record.version,
            by=signer(world, "lessee"),
            at=SIGNED,
        )
    assert record.signatures.count() == 1


def test_a_frozen_record_refuses_every_change(world: World):
    record = a_judged_draft(world)
    signs(record, world, "contractor")
    for changes in ({"remarks": "x"}, {"content": "{}"}, {"frozen_at": None}, {"passed": True}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Record.objects.filter(pk=record.pk).update(**changes)
    with pytest.raises(IntegrityError), transaction.atomic():
        Line.objects.filter(step__record=record).update(remarks="late")
    with pytest.raises(IntegrityError), transaction.atomic():
        record.signatures.all().delete()
    with pytest.raises(RecordIsSealed):
        pressure_tests.conclude(record, concluded_at=LATER, by=world.supervisor, at=LATER)
    with pytest.raises(RecordIsSealed):
        pressure_tests.discard_record(record, reason="Wrong", by=world.supervisor, at=LATER)


def test_the_certificate_is_asked_for_with_the_last_signature_alone(
    world: World,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    monkeypatch: pytest.MonkeyPatch,
):
    sent: list[str] = []
    monkeypatch.setattr(current_app, "send_task", lambda name, kwargs, queue: sent.append(name))
    record = a_judged_draft(world)
    counts = []
    for capacity in THREE:
        with django_capture_on_commit_callbacks(execute=True):
            signs(record, world, capacity)
        counts.append(sent.count("tests_app.make_certificate"))
    assert counts == [0, 0, 1]


def test_each_signature_is_one_entry_of_the_trail(world: World):
    record = a_judged_draft(world)
    for capacity in THREE:
        signs(record, world, capacity)
    events = of_subject(record).filter(event__in=["record.signed", "record.sealed"]).values_list("event", flat=True)
    assert sorted(events) == ["record.sealed", "record.signed", "record.signed"]


def test_who_is_still_needed_and_who_may(world: World):
    record = a_judged_draft(world)
    a_signer(world.rig, "pump-operator")
    signs(record, world, "contractor")
    stands = signatories_of(record)
    assert stands.words == "Signed by 1 of 3"
    assert {one.words: one.able for one in stands.open} == {
        "lessee's representative": (),
        "pump operator": ("Per Holm, tester",),
    }


# --- found wrong before the seal -------------------------------------------------------------------------------


def correct(record: Record, world: World, *, at: Any = LATER) -> Record:
    return superseding.supersede_record(record, reason="Wrong pipe size", by=world.supervisor, at=at)


def test_a_frozen_record_found_wrong_takes_no_signature_any_more(world: World):
    record = a_judged_draft(world)
    signs(record, world, "contractor")
    new = correct(record, world)
    assert new.is_draft
    with pytest.raises(Refused, match="found wrong and is corrected by Pressure test 2"):
        signs(record, world, "lessee")
    row = Signature(record=record, signer=signer(world, "lessee"), name="x", role="lessee", signed_at=LATER)
    with pytest.raises(IntegrityError), transaction.atomic():
        Signature.objects.bulk_create([row])
    sealing = {"sealed_at": SIGNED, "sha256": "a" * 64, "content": "{}", "passed": True}
    with pytest.raises(IntegrityError), transaction.atomic():
        Record.objects.filter(pk=record.pk).update(**sealing)


def test_the_correction_of_a_frozen_record_is_sealed_in_its_place(world: World):
    record = a_judged_draft(world)
    signs(record, world, "contractor")
    new = correct(record, world)
    signed(new, world, at=LATER)
    new.refresh_from_db()
    record.refresh_from_db()
    assert json.loads(new.content)["supersedes"] == {"number": 1, "sha256": "", "reason": "Wrong pipe size"}
    assert record.sealed_at is None
    assert verification.check_seal(new).holds


def test_what_a_corrected_correction_corrects_counts_no_more(world: World):
    first = a_sealed_record(world)
    second = correct(first, world)
    signs(second, world, "contractor", at=LATER)
    third = correct(second, world)
    assert not is_corrected(Record.objects.get(pk=first.pk))
    signed(third, world, at=LATER)
    assert is_corrected(Record.objects.get(pk=first.pk))
    assert keys_corrected(Record.objects.filter(rig=world.rig)) == {first.pk, second.pk}


# --- the due list ----------------------------------------------------------------------------------------------


def upper_ram(world: World, at: Any) -> Any:
    tested = (item for item in due_list(world.rig, at=at) if item.what is What.PRESSURE)
    return next(item for item in tested if item.subject == "Upper pipe ram")


def test_a_frozen_record_moves_no_date_and_is_shown_waiting(world: World):
    record = a_judged_draft(world)
    signs(record, world, "contractor")
    item = upper_ram(world, LATER)
    assert item.last_record is None
    assert state_words(item, LATER) == "Waiting for signatures"
    for capacity in ("lessee", "pump-operator"):
        signs(record, world, capacity, at=LATER)
    item = upper_ram(world, LATER)
    assert item.last_record == record
    assert state_words(item, LATER) == "In date"


def test_the_correction_of_a_frozen_record_is_the_test_that_runs(world: World):
    record = a_judged_draft(world)
    signs(record, world, "contractor")
    new = correct(record, world)
    assert upper_ram(world, LATER).draft == new


# --- records sealed by one signature, as they were before ---------------------------------------------------------


def test_a_record_sealed_by_one_signature_still_verifies(world: World, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(signing, "open_seats", lambda edition, given: ())
    record = a_judged_draft(world)
    signs(record, world, "supervisor")
    monkeypatch.undo()
    assert verification.check_seal(record).holds
    assert record.signatures.count() == 1
