"""Signing, what follows it, and correcting what was signed."""

import re

import pytest
import time_machine
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from accounts.models import User
from config import heartbeat
from tests import builders
from tests.builders import PASSWORD
from tests.builders_signing import a_signer, one_signs
from tests.builders_tests_app import (
    SIGNED,
    World,
    a_draft,
    a_judged_draft,
    a_sealed_record,
    leaking,
    signed,
)
from tests_app.actions.certificates import issue_certificate
from tests_app.models import Record, Signature
from tests_app.web.moved import moved_by


def said(answer: HttpResponse) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def sign_address(record: Record) -> str:
    return reverse("tests_app:record-sign", args=[record.pk])


def address_of(record: Record) -> str:
    return reverse("tests_app:record", args=[record.pk])


def client_of(person: User) -> Client:
    client = Client()
    client.force_login(person)
    return client


def signature(record: Record, **changes: object) -> dict[str, object]:
    record.refresh_from_db()
    usual = {"name": "Somebody Else", "role": "supervisor", "password": PASSWORD, "version": record.version}
    return {**usual, **changes}


def test_everything_that_will_be_sealed_is_shown_and_nothing_is_saved(web: Client, world: World):
    record = a_judged_draft(world)
    page = said(web.get(sign_address(record)))
    assert "Upper pipe ram" in page
    assert "Judged on every sample of recorder.csv" in page
    assert "You sign that this test was made as recorded above and passed." in page
    assert "Your name, as your account has it Ida Storm" in page
    assert "Pump operator</option>" not in web.get(sign_address(record)).content.decode()
    record.refresh_from_db()
    assert record.sealed_at is None


def test_what_is_missing_is_said_and_no_signature_is_asked(web: Client, world: World):
    page = said(web.get(sign_address(a_draft(world))))
    assert "It cannot be signed yet" in page
    assert "Sign and seal" not in page


def test_the_first_signature_leads_to_who_is_still_needed(web: Client, world: World):
    record = a_judged_draft(world)
    a_signer(world.rig, "pump-operator")
    answer = web.post(sign_address(record), signature(record, role="contractor"))
    assert answer["Location"] == f"{address_of(record)}#signatures"
    assert Signature.objects.get().name == "Ida Storm", "the account's name, whatever the form says"
    page = said(web.get(address_of(record)))
    assert "Signed by 1 of 3" in page
    assert "Pump operator Not signed yet Per Holm, tester" in page
    assert "Nobody on this rig's crew may." in page
    assert "You signed it as contractor&#x27;s representative." in page
    assert "Upper pipe ram" in page
    assert "Signed by 1 of 3" in said(web.get(reverse("tests_app:records", args=[world.rig.pk])))
    assert "Signed by 1 of 3" in said(web.get(reverse("tests_app:rig", args=[world.rig.pk])))


def test_the_list_is_narrowed_to_those_waiting(web: Client, world: World):
    record, _ = a_judged_draft(world), a_judged_draft(world)
    web.post(sign_address(record), signature(record, role="contractor"))
    page = said(web.get(reverse("tests_app:records", args=[world.rig.pk]), {"state": "waiting"}))
    assert "1 test, the latest first" in page


def test_the_last_signature_seals_the_record_and_leads_to_its_certificate(web: Client, world: World):
    record = a_judged_draft(world)
    for capacity in ("lessee", "pump-operator"):
        one_signs(record, capacity, by=a_signer(world.rig, capacity), at=SIGNED)
    assert "Sign and seal" in said(web.get(sign_address(record)))
    answer = web.post(sign_address(record), signature(record, role="contractor"))
    record.refresh_from_db()
    assert answer["Location"] == f"{address_of(record)}#certificate"
    assert record.passed


def test_who_signed_already_is_told_so_in_words(web: Client, world: World):
    record = a_judged_draft(world)
    web.post(sign_address(record), signature(record, role="contractor"))
    for answer in (web.get(sign_address(record), follow=True), web.post(sign_address(record), {}, follow=True)):
        assert "is already signed by Ida Storm" in said(answer)
    assert Signature.objects.count() == 1


def test_a_frozen_test_found_wrong_is_corrected_from_its_page(web: Client, world: World):
    record = a_judged_draft(world)
    web.post(sign_address(record), signature(record, role="contractor"))
    web.post(reverse("tests_app:record-correct", args=[record.pk]), {"reason": "Wrong pipe size"})
    page = said(web.get(address_of(record)))
    assert "Found wrong before it was sealed." in page
    assert "Read through and sign" not in page
    lessee = client_of(a_signer(world.rig, "lessee"))
    assert "was found wrong: sign its correction" in said(lessee.get(sign_address(record), follow=True))
    listed = reverse("tests_app:records", args=[world.rig.pk])
    assert "Never sealed, being corrected by 2" in said(web.get(listed, {"state": "superseded"}))


def test_a_change_sent_to_a_frozen_test_is_refused_with_when_it_was_signed(web: Client, world: World):
    record = a_judged_draft(world)
    web.post(sign_address(record), signature(record, role="contractor"))
    answer = web.post(reverse("tests_app:record-discard", args=[record.pk]), {"discard-reason": "Wrong"})
    assert answer.status_code == 409
    assert "It was signed 2 Mar 2026" in said(answer)


@pytest.mark.parametrize(
    ("field", "given", "words"),
    [
        ("password", "wrong", "This is not your password"),
        ("password", "", "Type your password"),
        ("role", "", "Choose in which role"),
        ("role", "captain", "Select a valid choice"),
        ("role", "pump-operator", "Select a valid choice"),
    ],
)
def test_a_refused_signature_says_why_and_repeats_no_password(
    web: Client, world: World, field: str, given: str, words: str
):
    record = a_judged_draft(world)
    answer = web.post(sign_address(record), signature(record, **{field: given}))
    assert answer.status_code == 422
    assert words in said(answer)
    assert PASSWORD not in answer.content.decode()
    assert not Signature.objects.exists()


def test_a_record_changed_since_it_was_read_is_not_signed(web: Client, world: World):
    record = a_judged_draft(world)
    answer = web.post(sign_address(record), signature(record, version=record.version - 1))
    assert answer.status_code == 409
    assert "Somebody changed this record after you opened it" in said(answer)
    assert not Signature.objects.exists()


def test_a_signature_on_a_signed_record_leads_to_it(web: Client, world: World):
    record = a_sealed_record(world)
    answer = web.post(sign_address(record), signature(record), follow=True)
    assert "is sealed: signed by Ida Storm" in said(answer)
    assert Signature.objects.count() == 3


def test_a_test_with_a_failed_line_is_signed_as_a_report(web: Client, world: World):
    record = a_judged_draft(world, curve=leaking())
    assert "You sign a report that says not passed" in said(web.get(sign_address(record)))
    signed(record, world, at=SIGNED)
    assert "Report, not passed" in said(web.get(reverse("tests_app:record", args=[record.pk])))


def test_an_auditor_reads_and_does_not_sign(world: World):
    client = Client()
    client.force_login(builders.a_person(rig=world.rig, role="auditor"))
    record = a_judged_draft(world)
    assert client.get(reverse("tests_app:record", args=[record.pk])).status_code == 200
    assert client.get(sign_address(record)).status_code == 403
    assert client.post(sign_address(record), signature(record)).status_code == 403


# --- the certificate being made --------------------------------------------------------------------------------


def part(web: Client, record: Record) -> HttpResponse:
    return web.get(reverse("tests_app:certificate-part", args=[record.pk]))


def test_the_page_asks_again_until_the_certificate_is_there(web: Client, world: World):
    record = a_judged_draft(world)
    signed(record, world, at=SIGNED)
    waiting = part(web, record).content.decode()
    assert "certificate is being made" in waiting
    assert "hx-get" in waiting
    record.refresh_from_db()
    issue_certificate(record, by=world.supervisor, at=SIGNED)
    there = part(web, record).content.decode()
    assert "Open the PDF" in there
    assert "hx-get" not in there


def test_after_a_minute_it_says_whether_the_worker_is_silent_or_busy(web: Client, world: World):
    record = a_judged_draft(world)
    signed(record, world, at=SIGNED)
    late = SIGNED.replace(minute=1, second=30)
    with time_machine.travel(late, tick=False):
        page = part(web, record).content.decode()
        heartbeat.leave_mark(late)
        busy = part(web, record).content.decode()
    assert "has not been heard for some minutes" in page
    assert "hx-get" in page
    assert "is at work on other papers before it" in busy
    with time_machine.travel(SIGNED.replace(minute=20), tick=False):
        assert "hx-get" not in part(web, record).content.decode()


# --- due dates moved -------------------------------------------------------------------------------------------


def test_the_record_shows_which_due_dates_it_moved(web: Client, world: World):
    record = a_sealed_record(world)
    page = said(web.get(reverse("tests_app:record", args=[record.pk])))
    assert "at once, since" in page
    assert "midnight at the end of 16 Mar 2026, UTC−5" in page


def test_what_did_not_pass_stays_due_at_once(world: World):
    [ram] = moved_by(a_sealed_record(world, curve=leaking()))
    assert ram.after.startswith("at once")
    assert ram.words == "Last test not passed"


# --- corrections -----------------------------------------------------------------------------------------------


def test_a_correction_opens_a_draft_that_says_why(web: Client, world: World):
    record = a_sealed_record(world)
    address = reverse("tests_app:record-correct", args=[record.pk])
    assert web.post(address, {"reason": " "}).status_code == 422
    answer = web.post(address, {"reason": "Wrong pipe size"})
    draft = Record.objects.get(supersedes=record)
    assert answer["Location"] == reverse("tests_app:record", args=[draft.pk])
    assert "Wrong pipe size" in said(web.get(answer["Location"]))
    assert "A correction is being written" in said(web.get(reverse("tests_app:record", args=[record.pk])))


def test_a_second_correction_is_refused_in_words(web: Client, world: World):
    record = a_sealed_record(world)
    address = reverse("tests_app:record-correct", args=[record.pk])
    web.post(address, {"reason": "Wrong pipe size"})
    answer = web.post(address, {"reason": "Again"})
    assert answer.status_code == 422
    assert "is corrected by" in said(answer)


def test_a_superseded_record_says_what_counts_in_its_place(web: Client, world: World):
    record = a_sealed_record(world)
    web.post(reverse("tests_app:record-correct", args=[record.pk]), {"reason": "Wrong pipe size"})
    signed(Record.objects.get(supersedes=record), world, at=SIGNED)
    page = said(web.get(reverse("tests_app:record", args=[record.pk])))
    assert "Superseded." in page
    assert "counts in its place" in page
