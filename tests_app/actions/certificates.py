"""Making the paper of a sealed record."""

import json
from datetime import datetime
from typing import Final

from django.db import IntegrityError, transaction

from equipment import files
from equipment.errors import Refused
from tests_app.documents import certificate as paper
from tests_app.documents.content import Content
from tests_app.models import Certificate, CertificateKind, Record
from tests_app.seals import sha256_of
from trail import entries
from trail.actors import Actor

_TOLD_APART: Final = 8


def issue_certificate(record: Record, *, by: Actor, at: datetime) -> Certificate:
    """Make the certificate of a sealed record, or the report of one not passed; an issued one is given back as it is.

    It is drawn from the sealed content alone, before the transaction: drawing takes seconds, and nobody else's
    writing should wait for it. Two at the same moment end with one certificate.

    Raises Refused when the record is not sealed, or when its content no longer has the hash of its seal.
    """
    issued = Certificate.objects.filter(record=record).first()
    if issued is not None:
        return issued
    content = _sealed_content(record)
    number = _number(record, content)
    address = paper.verify_address(record.sha256)
    pdf = paper.render(content, sha256=record.sha256, verify_address=address, number=number)
    try:
        with transaction.atomic():
            return _entered(record, content, number, pdf, by=by, at=at)
    except IntegrityError:
        other = Certificate.objects.filter(record=record).first()
        if other is None:
            raise
        return other


def _sealed_content(record: Record) -> Content:
    if record.sealed_at is None:
        raise Refused("", f"{record} is not sealed.", "Sign it first: a draft has no certificate.")
    if sha256_of(record.content) != record.sha256:
        reason = f"The content of {record} was altered after its seal."
        raise Refused("", reason, "Restore the database from a backup, and find out why.")
    content: Content = json.loads(record.content)
    return content


def _number(record: Record, content: Content) -> str:
    """Return the number of the paper; rigs whose short names are alike are told apart by the seal."""
    number = paper.number_of(content)
    taken = Certificate.objects.filter(number=number).exclude(record=record).exists()
    return f"{number}-{record.sha256[:_TOLD_APART]}" if taken else number


def _entered(record: Record, content: Content, number: str, pdf: bytes, *, by: Actor, at: datetime) -> Certificate:
    certificate = Certificate.objects.create(
        record=record,
        kind=CertificateKind.CERTIFICATE if content["passed"] else CertificateKind.REPORT,
        number=number,
        issued_at=at,
        sha256=files.keep(pdf),
        size=len(pdf),
    )
    entries.write(
        "certificate.issued",
        certificate,
        by=by,
        at=at,
        rig_number=record.rig_id,
        after={"number": number, "record": record.pk, "kind": certificate.kind, "sha256": certificate.sha256},
    )
    return certificate
