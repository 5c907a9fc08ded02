"""Issuing: once, from what is sealed, kept under its hash, on the trail."""

from datetime import timedelta
from typing import Any

import pytest

from equipment import files
from equipment.errors import Refused
from tests import builders
from tests.documents import examples
from tests_app.actions.certificates import issue_certificate
from tests_app.documents.content import Content
from tests_app.models import Certificate, CertificateKind, Record
from tests_app.seals import canonical, sha256_of
from tests_app.tasks import make_certificate
from trail.actors import System
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db

AT = builders.DAY


def sealed(printed: Content, **changed: Any) -> Record:
    """A record of the content as its seal leaves it."""
    rig = changed.pop("rig", None) or builders.a_rig()
    text = canonical(printed)
    facts = {
        "rig": rig,
        "stack": builders.a_stack(rig),
        "kind": "pressure",
        "number": printed["number"],
        "edition": "us-ocs",
        "started_at": AT - timedelta(hours=6),
        "concluded_at": AT - timedelta(hours=1),
        "created_at": AT - timedelta(hours=6),
        "created_by": builders.a_person(),
        "frozen_at": AT,
        "sealed_at": AT,
        "passed": printed["passed"],
        "content": text,
        "sha256": sha256_of(text),
    }
    return Record.objects.create(**(facts | changed))


def issued(record: Record) -> Certificate:
    return issue_certificate(record, by=System.CERTIFICATES, at=AT)


def test_a_passed_record_gets_a_certificate_kept_under_its_hash():
    certificate = issued(sealed(examples.typed()))
    assert certificate.kind == CertificateKind.CERTIFICATE
    assert certificate.number == "KESTREL-SOUND-PT-000007"
    pdf = files.fetch(certificate.sha256)
    assert pdf.startswith(b"%PDF-")
    assert len(pdf) == certificate.size


def test_a_record_with_a_line_left_failed_gets_a_report():
    assert issued(sealed(examples.failing())).kind == CertificateKind.REPORT


def test_issuing_twice_gives_the_first_one_back_and_writes_one_entry():
    record = sealed(examples.typed())
    first, second = issued(record), issued(record)
    assert first.pk == second.pk
    entry = TrailEntry.objects.get(event="certificate.issued")
    assert entry.actor_name == "Certificate maker"
    assert entry.rig_number == record.rig_id
    assert entry.after["sha256"] == first.sha256


def test_another_maker_at_the_same_moment_ends_with_the_same_certificate(monkeypatch: pytest.MonkeyPatch):
    record = sealed(examples.typed())
    render = issue_certificate.__globals__["paper"].render

    def overtaken(*given: Any, **named: Any) -> bytes:
        monkeypatch.undo()
        issued(record)
        return render(*given, **named)

    monkeypatch.setattr("tests_app.documents.certificate.render", overtaken)
    assert issued(record).pk == Certificate.objects.get().pk
    assert TrailEntry.objects.filter(event="certificate.issued").count() == 1


def test_a_draft_has_no_certificate():
    draft = sealed(examples.typed(), frozen_at=None, sealed_at=None, content="", sha256="", passed=None)
    with pytest.raises(Refused, match="is not sealed"):
        issued(draft)


def test_content_that_no_longer_matches_its_seal_is_not_printed():
    record = sealed(examples.typed())
    record.content = record.content.replace("Tobias Anker", "Tobias Bnker")
    with pytest.raises(Refused, match="was altered after its seal"):
        issued(record)
    assert not Certificate.objects.exists()


def test_rigs_with_one_short_name_get_numbers_of_their_own():
    content = examples.typed()
    other = examples.typed()
    other["remarks"] = "The other rig."
    first, second = issued(sealed(content)), issued(sealed(other))
    assert first.number == "KESTREL-SOUND-PT-000007"
    assert second.number == f"KESTREL-SOUND-PT-000007-{second.record.sha256[:8]}"


def test_the_task_makes_it_by_key_and_may_run_twice():
    record = sealed(examples.typed())
    assert make_certificate(record_id=record.pk) == make_certificate(record_id=record.pk)
    assert Certificate.objects.get().record == record
