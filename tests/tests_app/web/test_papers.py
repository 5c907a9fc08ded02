"""Certificates, files as received, and the page on which anybody checks a seal."""

import re

import pytest
from django.core.cache import cache
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from equipment.files import _path
from tests.builders_tests_app import SIGNED, World, a_draft, a_recording, a_sealed_record, a_step, good, signed
from tests_app.actions import superseding
from tests_app.actions.certificates import issue_certificate
from tests_app.models import Certificate, Record
from trail import guards


@pytest.fixture
def sealed(world: World) -> Record:
    return a_sealed_record(world)


@pytest.fixture
def certificate(world: World, sealed: Record) -> Certificate:
    return issue_certificate(sealed, by=world.supervisor, at=SIGNED)


def said(answer: HttpResponse) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_the_certificate_page_names_number_and_both_hashes(web: Client, certificate: Certificate):
    page = said(web.get(reverse("tests_app:certificate", args=[certificate.record_id])))
    assert certificate.number in page
    assert certificate.sha256 in page
    assert certificate.record.sha256 in page


def test_the_pdf_is_shown_or_downloaded_as_issued(web: Client, certificate: Certificate):
    address = reverse("tests_app:certificate-pdf", args=[certificate.record_id])
    shown, taken = web.get(address), web.get(f"{address}?download=1")
    assert shown.content.startswith(b"%PDF-")
    assert shown.content == taken.content
    assert shown["Content-Type"] == "application/pdf"
    assert shown["Content-Disposition"].startswith("inline")
    assert taken["Content-Disposition"].startswith(f'attachment; filename="{certificate.number}.pdf"')
    assert shown["X-Content-Type-Options"] == "nosniff"


def test_a_record_without_a_certificate_yet_has_no_certificate_page(web: Client, sealed: Record):
    assert web.get(reverse("tests_app:certificate", args=[sealed.pk])).status_code == 404
    assert web.get(reverse("tests_app:certificate-pdf", args=[sealed.pk])).status_code == 404


def test_a_recorder_file_comes_back_byte_for_byte_and_is_never_run(web: Client, world: World):
    draft = a_draft(world)
    content = good().clock_csv(draft.started_at)
    recording = a_recording(
        draft, world, content, step=a_step(draft, world, "Upper pipe ram"), file_name='tëst;"<x>.csv'
    )
    answer = web.get(reverse("tests_app:recording-file", args=[recording.pk]))
    assert answer.content.decode() == content
    assert answer["Content-Type"] == "text/plain; charset=utf-8"
    assert answer["Content-Disposition"] == (
        "attachment; filename=\"tstx.csv\"; filename*=UTF-8''t%C3%ABst%3B%22%3Cx%3E.csv"
    )
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_a_file_gone_from_the_store_is_not_found(web: Client, world: World, settings):
    draft = a_draft(world)
    recording = a_recording(draft, world, good(), step=a_step(draft, world, "Upper pipe ram"))
    (settings.MEDIA_ROOT / _path(recording.sha256)).unlink()
    assert web.get(reverse("tests_app:recording-file", args=[recording.pk])).status_code == 404


# --- verify ----------------------------------------------------------------------------------------------------


def verify(sha256: str) -> HttpResponse:
    return Client().get(reverse("tests_app:verify", args=[sha256]))


def test_anybody_with_the_seal_learns_what_the_paper_says(world: World, certificate: Certificate):
    record = certificate.record
    answer = verify(record.sha256)
    page = said(answer)
    assert answer.status_code == 200
    for words in ("The seal holds", f"Pressure test {record.number}", world.rig.name, "Passed", "No, it counts."):
        assert words in page
    assert "Upper pipe ram" not in page
    assert world.supervisor.get_username() not in page


def test_a_seal_in_capitals_is_the_same_seal(sealed: Record):
    assert verify(sealed.sha256.upper()).status_code == 200


@pytest.mark.parametrize("sha256", ["0" * 64, "abc", "x" * 64, "%00", "f" * 65])
def test_an_unknown_seal_gets_a_plain_no(sealed: Record, sha256: str):
    answer = verify(sha256)
    assert answer.status_code == 404
    assert "No record carries this seal" in said(answer)


def test_a_superseded_record_points_to_the_one_that_counts(world: World, sealed: Record):
    draft = superseding.supersede_record(sealed, reason="Wrong pipe", by=world.supervisor, at=SIGNED)
    assert "No, it counts." in said(verify(sealed.sha256))
    signed(draft, world, at=SIGNED)
    assert f"by pressure test {draft.number}" in said(verify(sealed.sha256))


def test_a_record_altered_behind_the_guards_no_longer_holds(sealed: Record):
    table = Record._meta.db_table
    connection.check_constraints()  # what still waits to be checked would keep PostgreSQL from altering the tables
    guards.lift(connection)
    try:
        with connection.cursor() as cursor:
            cursor.execute(f"UPDATE {table} SET remarks = 'altered' WHERE id = %s", [sealed.pk])
    finally:
        guards.install(connection)
    cache.clear()
    page = said(verify(sealed.sha256))
    assert "The seal does not hold" in page
    assert "something was changed" in page
