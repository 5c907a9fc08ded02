"""Signing a record: it is frozen, its content copied and hashed, and sealed into the rig's chain."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction

from accounts.models import User
from equipment.errors import Refused
from equipment.models import Rig
from tests_app.actions.drafts import hold_draft
from tests_app.actions.judging_by_kind import judge_record
from tests_app.after_commit import enqueue
from tests_app.documents.envelope import signatures_of
from tests_app.documents.snapshot import content_of
from tests_app.models import Record, Signature, SigningRole
from tests_app.queries.capacities import capacities_of
from tests_app.queries.open_points import open_points
from tests_app.queries.records import is_passed
from tests_app.queries.verification import last_seal
from tests_app.seals import canonical, canonical_of_parts, canonical_parts, sha256_of, signed_part
from trail import entries


@transaction.atomic
def sign_record(record: Record, *, role: str, password: str, version: int, by: User, at: datetime) -> Signature:
    """Sign a record as it stood at `version`: freeze it, seal it, and have its certificate made after commit.

    The password of `by` is asked again; the name signed is that of their account. Everything is judged once more
    from the files and rows as kept. Signing twice in one role by the same person gives the first signature back.

    Raises Refused naming `password`, `role`, or the first thing the record lacks; RecordIsStale when
    it changed since `version`; RecordIsSealed when it was signed by somebody else.
    """
    _refuse_signer(record, role, password, by)
    given = Signature.objects.filter(record=record, role=role, signer=by, record__sealed_at__isnull=False).first()
    if given is not None:
        return given
    held = hold_draft(record, version=version)
    # The rig's row orders the seals: two records of a rig can't both follow the same one.
    Rig.objects.select_for_update().get(pk=held.rig_id)
    judge_record(held)
    _refuse_incomplete(held)
    held.frozen_at = held.sealed_at = at
    held.passed = is_passed(held)
    held.previous_sha256 = last_seal(held.rig)
    _freeze(held)
    parts = canonical_parts(content_of(held))
    signature = _sign(held, parts, role=role, by=by, at=at)
    _seal(held, {**parts, "signatures": canonical(signatures_of(held))})
    entries.write(
        "record.signed",
        held,
        by=by,
        at=at,
        rig_number=held.rig_id,
        after={"name": signature.name, "role": signature.role, "passed": held.passed, "sha256": held.sha256},
    )
    enqueue("tests_app.make_certificate", record_id=held.pk)
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


def _freeze(record: Record) -> None:
    frozen = Record.objects.filter(pk=record.pk, frozen_at__isnull=True).update(frozen_at=record.frozen_at)
    if frozen != 1:
        raise Refused("", f"{record} was signed at the same moment.", "Look at it as it stands now.")


def _sign(record: Record, parts: Mapping[str, str], *, role: str, by: User, at: datetime) -> Signature:
    """Write the signature over the hash of the record's content without signatures and seal."""
    signed = sha256_of(canonical_of_parts(signed_part(parts)))
    return Signature.objects.create(
        record=record, signer=by, name=by.name_shown, role=role, signed_at=at, sha256=signed
    )


def _seal(record: Record, parts: Mapping[str, str]) -> None:
    """Store the whole content and its hash; worked out once, since its curves are long."""
    record.content = canonical_of_parts(parts)
    record.sha256 = sha256_of(record.content)
    Record.objects.filter(pk=record.pk, sealed_at__isnull=True).update(
        sealed_at=record.sealed_at,
        passed=record.passed,
        content=record.content,
        sha256=record.sha256,
        previous_sha256=record.previous_sha256,
    )
