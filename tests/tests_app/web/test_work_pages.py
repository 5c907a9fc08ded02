"""Pages of work done and of the dates of overhauls."""

import csv
import io
import re
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from equipment.models import CrewRole
from tests import builders
from tests.builders_tests_app import World
from tests.builders_work import key_of, some_work
from tests_app.models import Completion

INSPECTED = {
    "started_at": "2026-03-02T06:10",
    "concluded_at": "2026-03-02T06:40",
    "passed": "yes",
    "done_by": "Rolf Anders, Northfield Well Services",
}


def paper(content: bytes = b"%PDF-1.7 invented", name: str = "report.pdf") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content, "application/pdf")


def address(world: World, key: str) -> str:
    return f"{reverse('tests_app:work-new', args=[world.rig.pk])}?key={key}"


def plain(answer: HttpResponse) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


@pytest.fixture
def inspection(world: World) -> str:
    return f"inspection/stack-{world.stack.pk}"


@pytest.fixture
def overhaul(world: World) -> str:
    return key_of(world, "overhaul", "Annular")


def test_the_form_says_what_it_is_about_why_it_is_due_by_which_clause_and_what_it_needs(web, world, overhaul):
    page = plain(web.get(address(world, overhaul)))
    assert "Overhaul: Annular" in page
    assert "30 CFR 250.739(b)" in page
    assert "Needed: a written report and a statement of an independent third party, in one file." in page
    assert "America/Chicago" in page


def test_work_is_entered_on_the_rigs_clock_and_shown_with_its_evidence(web, world, overhaul):
    answer = web.post(address(world, overhaul), {**INSPECTED, "evidence": paper()})
    entry = Completion.objects.get()
    assert answer["Location"] == reverse("tests_app:work-entry", args=[entry.pk])
    assert entry.concluded_at.isoformat() == "2026-03-02T12:40:00+00:00"
    page = plain(web.get(answer["Location"]))
    assert "report.pdf" in page
    assert entry.evidence_sha256 in page
    assert "its tests before count no more" in page
    sent = web.get(reverse("tests_app:work-evidence", args=[entry.pk]))
    assert (sent.content, sent["X-Content-Type-Options"]) == (b"%PDF-1.7 invented", "nosniff")
    assert sent["Content-Disposition"] == 'attachment; filename="report.pdf"'


def test_a_refused_form_says_it_beside_the_field_and_keeps_what_was_typed_and_the_file(web, world, overhaul):
    late = {**INSPECTED, "concluded_at": "2027-01-01T00:00", "evidence": paper()}
    refused = web.post(address(world, overhaul), late)
    assert refused.status_code == 422
    assert "This time lies in the future" in plain(refused)
    assert 'value="2027-01-01T00:00"' in refused.content.decode()
    assert "report.pdf is kept; choose another only to replace it." in plain(refused)
    kept = re.search(r'name="kept" value="([^"]+)"', refused.content.decode())[1]
    web.post(address(world, overhaul), {**INSPECTED, "kept": kept})
    assert Completion.objects.get().evidence_name == "report.pdf"


def test_what_is_missing_is_said_of_each_field_at_once(web, world, overhaul):
    refused = web.post(address(world, overhaul), {})
    assert refused.status_code == 422
    for name in ("started_at", "concluded_at", "passed", "done_by"):
        assert refused.context["form"].errors[name]
    no_paper = web.post(address(world, overhaul), INSPECTED)
    assert "This needs a written report" in str(no_paper.context["form"].errors["evidence"])


def test_a_file_that_is_evidence_of_something_else_is_asked_about_on_the_form(web, world, overhaul, inspection):
    web.post(address(world, overhaul), {**INSPECTED, "evidence": paper()})
    asked = web.post(address(world, inspection), {**INSPECTED, "evidence": paper()})
    assert asked.status_code == 422
    assert "Yes, this file is evidence of both" in plain(asked)
    kept = re.search(r'name="kept" value="([^"]+)"', asked.content.decode())[1]
    again = {**INSPECTED, "kept": kept, "same_file_asked": "yes", "same_file_meant": "on"}
    assert web.post(address(world, inspection), again).status_code == 302
    assert Completion.objects.count() == 2


def test_a_document_and_an_instrument_are_renewed_by_forms_of_their_own(web, world):
    old = builders.a_document(world.recorder, expires_on=None)
    page = web.get(address(world, f"document/document-{old.pk}"))
    assert 'value="Certificate of conformity"' in page.content.decode()
    key = f"calibration/instrument-{world.recorder.pk}"
    calibrated = {**INSPECTED, "evidence": paper(b"calibrated"), "due_on": "2027-03-02", "certificate_number": "C-9"}
    assert web.post(address(world, key), calibrated).status_code == 302
    world.recorder.refresh_from_db()
    assert world.recorder.certificate_number == "C-9"
    no_day = web.post(address(world, key), {**calibrated, "due_on": "", "evidence": paper(b"other")})
    assert "Give the new dates" in str(no_day.context["form"].errors["due_on"])


def test_an_entry_is_withdrawn_with_a_reason_and_stays_on_its_page(web, world, inspection):
    entry = some_work(world, inspection)
    where = reverse("tests_app:work-withdraw", args=[entry.pk])
    assert web.post(where, {"reason": ""}).status_code == 422
    page = plain(web.post(where, {"reason": "The other stack."}, follow=True))
    assert "Withdrawn, entered in error." in page
    assert "The other stack." in page


def test_the_list_narrows_sorts_and_exports(web, world, inspection, overhaul):
    some_work(world, inspection)
    some_work(world, overhaul, passed=False, findings="Crack found.")
    where = reverse("tests_app:work", args=[world.rig.pk])
    assert "Stack" in plain(web.get(where, {"what": "inspection"}))
    only = web.get(where, {"result": "not-passed"})
    assert [row.record.what for row in only.context["table"].rows] == ["overhaul"]
    assert len(web.get(where, {"until": "2020-01-01"}).context["table"].rows) == 0
    sheet = web.get(where, {"export": "csv", "text": "annular"}).content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(sheet)))
    assert [(row["What"], row["Result"], row["Findings"]) for row in rows] == [
        ("Overhaul", "Not passed", "Crack found.")
    ]


def test_the_list_asks_the_database_the_same_for_two_rows_and_for_twenty(web, world, inspection):
    where = reverse("tests_app:work", args=[world.rig.pk])

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            web.get(where)
        return len(queries)

    for hour in range(2):
        some_work(world, inspection, concluded_at=builders.DAY - timedelta(hours=hour + 1))
    few = asked()
    for hour in range(2, 20):
        some_work(world, inspection, concluded_at=builders.DAY - timedelta(hours=hour + 1))
    assert asked() == few


def test_what_can_be_entered_is_offered_by_what_is_done(web, world):
    page = plain(web.get(reverse("tests_app:work-new", args=[world.rig.pk])))
    for words in ("Inspection", "Overhaul", "Calibration", "Drill"):
        assert words in page


def test_overhauls_are_listed_by_date_with_what_each_counts_from(web, world, overhaul):
    some_work(world, overhaul)
    where = reverse("tests_app:overhaul-phases", args=[world.rig.pk])
    page = plain(web.get(where))
    assert "first installed" in page
    assert "Falling due by year" in page
    rows = list(csv.DictReader(io.StringIO(web.get(where, {"export": "csv"}).content.decode("utf-8-sig"))))
    annular = next(row for row in rows if row["Where it stands"].startswith("Annular"))
    assert (annular["Counts from"], annular["Overhaul begun before"]) == ("Overhauled", "2031-03-03T00:00-06:00")


@pytest.mark.parametrize("role", [CrewRole.AUDITOR, CrewRole.TESTER, CrewRole.LESSEE])
def test_whoever_may_not_enter_work_looks_at_it_and_changes_nothing(world, inspection, role):
    entry = some_work(world, inspection)
    client = Client()
    client.force_login(builders.a_person(rig=world.rig, role=role))
    shown = client.get(reverse("tests_app:work-entry", args=[entry.pk]))
    assert shown.status_code == 200
    assert "Withdraw it" not in plain(shown)
    assert client.get(address(world, inspection)).status_code == 403
    assert client.post(address(world, inspection), INSPECTED).status_code == 403
    assert client.post(reverse("tests_app:work-withdraw", args=[entry.pk]), {"reason": "x"}).status_code == 403


def test_nobody_from_elsewhere_learns_what_there_is(world, inspection):
    entry = some_work(world, inspection)
    client = Client()
    client.force_login(builders.a_person(rig=builders.a_rig()))
    for where in (
        reverse("tests_app:work", args=[world.rig.pk]),
        reverse("tests_app:work-entry", args=[entry.pk]),
        reverse("tests_app:work-evidence", args=[entry.pk]),
        reverse("tests_app:overhaul-phases", args=[world.rig.pk]),
        address(world, inspection),
    ):
        assert client.get(where).status_code == 404


def test_a_key_that_names_nothing_or_a_test_of_its_own_is_not_there(web, world):
    for key in ("nonsense", "inspection/stack-0", key_of(world, "pressure-test", "Annular")):
        assert web.get(address(world, key)).status_code == 404
