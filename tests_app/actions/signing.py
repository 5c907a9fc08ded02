"""Signing a record: the first signature freezes it, the last one needed seals it into the rig's chain."""

import json
from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.models import User
from calcs.signing import open_seats
from equipment.errors import Refused
from equipment.models import Rig
from tests_app import rulebook
from tests_app.actions.drafts import hold_to_sign, refuse_unsignable
from tests_app.actions.judging_by_kind import judge_record
from tests_app.after_commit import enqueue
from tests_app.documents.envelope import seal_of
from tests_app.documents.snapshot import content_of
from tests_app.models import Record, Signature, SigningRole
from tests_app.queries.capacities import capacities_of
from tests_app.queries.open_points import open_points
from tests_app.queries.records import is_passed
from tests_app.queries.signatories import signed_already
from tests_app.queries.verification import first_break, last_seal
from tests_app.seals import canonical_of_parts, canonical_parts, sha256_of, signed_part
from trail import entries


@transaction.atomic
def sign_record(record: Record, *, role: str, password: str, version: int, by: User, at: datetime) -> Signature:
    """Sign a record as it stood at `version`, in one capacity; the password of `by` is asked again.

    The first signature judges everything once more from the files and rows as kept, freezes the record and keeps its
    content. Every later one stands over that same content. The last one the edition needs seals it, and its
    certificate is made after commit. The order is free; nobody signs a record twice.

    Raises Refused naming `password`, `role`, or the first thing the record lacks; SignedAlready when this person
    or this capacity signed it, or it is sealed; RecordIsStale when it changed since `version`.
    """
    _refuse_signer(record, role, password, by)
    held = hold_to_sign(record)
    # The rig's row orders the seals: two records of a rig can't both follow the same one.
    Rig.objects.select_for_update(no_key=True).get(pk=held.rig_id)
    already = signed_already(held, by, role=role)
    if already is not None:
        raise already
    refuse_unsignable(held, version=version)
    if held.frozen_at is None:
        _freeze(held, at)
    else:
        _refuse_altered(held)
    signature = Signature.objects.create(
        record=held, signer=by, name=by.name_shown, role=role, signed_at=at, sha256=sha256_of(held.content)
    )
    given = held.signatures.values_list("role", flat=True)
    if not open_seats(rulebook.edition(held.edition), given):
        _seal(held, at)
    _write(held, signature, by, at)
    return signature


def _refuse_signer(record: Record, role: str, password: str, by: User) -> None:
    if role not in SigningRole.values:
        raise Refused("role", f"{role!r} is no role that signs.", f"Choose one of: {', '.join(SigningRole.labels)}.")
    own = capacities_of(by, record.rig)
    if role not in own:
        words = ", ".join(each.label.lower() for each in own)
        raise Refused(
            "role",
            f"Your role on {record.rig.name} does not let you sign as {SigningRole(role).label.lower()}.",
            f"You may sign as: {words}." if own else "Ask somebody whose role signs.",
        )
    if not by.check_password(password):
        raise Refused("password", "This is not your password.", "Type the password you sign in with.")


def _refuse_incomplete(record: Record) -> None:
    for point in open_points(record):
        if point.blocks:
            raise Refused(point.field, point.reason, point.remedy)


def _freeze(record: Record, at: datetime) -> None:
    """Freeze a draft and keep what is signed: its content without the signatures and the seal's own facts.

    It is kept and not made anew for later signatures: what it copies of rigs, wells and other tests may change
    between the first and the last.
    """
    judge_record(record)
    _refuse_incomplete(record)
    if Record.objects.filter(pk=record.pk, frozen_at__isnull=True).update(frozen_at=at) != 1:
        raise Refused("", f"{record} was signed at the same moment.", "Look at it as it stands now.")
    record.frozen_at = record.sealed_at = at
    record.content = canonical_of_parts(signed_part(canonical_parts(content_of(record))))
    record.sealed_at = None
    Record.objects.filter(pk=record.pk).update(content=record.content)


def _refuse_altered(record: Record) -> None:
    broken = first_break(record)
    if broken is not None:
        raise Refused("", broken.found, "Correct the record by a new one, and find out who changed what was signed.")


def _seal(record: Record, at: datetime) -> None:
    """Add the signatures and the place in the rig's chain to what was signed, and store it with its hash."""
    record.sealed_at = at
    record.passed = is_passed(record)
    record.previous_sha256 = last_seal(record.rig)
    parts = {**canonical_parts(json.loads(record.content)), **canonical_parts(seal_of(record))}
    record.content = canonical_of_parts(parts)
    record.sha256 = sha256_of(record.content)
    Record.objects.filter(pk=record.pk, sealed_at__isnull=True).update(
        sealed_at=record.sealed_at,
        passed=record.passed,
        content=record.content,
        sha256=record.sha256,
        previous_sha256=record.previous_sha256,
    )
    enqueue("tests_app.make_certificate", record_id=record.pk)


def _write(record: Record, signature: Signature, by: User, at: datetime) -> None:
    after: dict[str, Any] = {"name": signature.name, "role": signature.role, "signed_sha256": signature.sha256}
    if record.sealed_at is not None:
        after |= {"passed": record.passed, "sha256": record.sha256}
    event = "record.sealed" if record.sealed_at else "record.signed"
    entries.write(event, record, by=by, at=at, rig_number=record.rig_id, after=after)
