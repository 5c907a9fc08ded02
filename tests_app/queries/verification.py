"""Checking seals: by hash for anybody who holds a certificate, and whole for the auditor."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Model, Q, QuerySet

from equipment import files
from equipment.models import Rig
from tests_app.models import (
    DrawdownFunction,
    DrawdownTest,
    FunctionLine,
    FunctionTest,
    InstrumentUse,
    Line,
    PressureTest,
    PumpReading,
    PumpTest,
    Recharge,
    Record,
    Recording,
    RecordKind,
    Step,
    TypedReading,
)
from tests_app.seals import sha256_of, signed_part
from trail.entries import snapshot

NOT_HASHED: Final = frozenset({"sealed_at", "passed", "content", "sha256", "previous_sha256"})
"""Columns of the record written by the seal itself: the content states them, or is checked against them."""


@dataclass(frozen=True)
class Check:
    """One thing looked at, whether it holds, and what was found, in words."""

    name: str
    holds: bool
    found: str


@dataclass(frozen=True)
class SealCheck:
    """What a check of one record's seal found."""

    record: Record
    checks: tuple[Check, ...]

    @property
    def holds(self) -> bool:
        """True when everything looked at holds."""
        return all(check.holds for check in self.checks)


def sealed_by_hash(sha256: str) -> Record | None:
    """Return the record sealed under a SHA-256, for anybody who has it from a certificate; None when there is none."""
    wanted = sha256.strip().lower()
    if not wanted:
        return None
    return (
        Record.objects.filter(sha256=wanted, sealed_at__isnull=False)
        .select_related("rig", "stack", "section__well", "superseded_by", "certificate")
        .first()
    )


def sealed_records(rig: Rig) -> QuerySet[Record]:
    """Return the rig's sealed records in the order they were sealed."""
    return Record.objects.filter(rig=rig, sealed_at__isnull=False).order_by("sealed_at", "id")


def last_seal(rig: Rig) -> str:
    """Return the SHA-256 at the end of the rig's chain: of the record no other follows; nothing before the first.

    The chain itself says which is last; the clock of a machine may have been wrong.
    """
    sealed = Record.objects.filter(rig=rig, sealed_at__isnull=False)
    last = sealed.exclude(sha256__in=sealed.values("previous_sha256")).first()
    return last.sha256 if last else ""


def rows_content(record: Record, columns: Mapping[str, Sequence[str]] | None = None) -> dict[str, Any]:
    """Return which columns of the record's rows were hashed, and their hash; all columns unless given.

    Read from the database as it stands. A column added in later years is not among those of an old seal.
    """
    rows = list(_rows(record))
    if columns is None:
        columns = {table: sorted(_hashed(found[0])) for table, found in rows if found}
    kept = {
        table: [{column: row.get(column) for column in columns.get(table, ())} for row in found]
        for table, found in rows
    }
    return {"columns": {table: list(names) for table, names in columns.items()}, "sha256": sha256_of(kept)}


def check_seal(record: Record) -> SealCheck:
    """Work the record's hashes out again: its content, rows, signatures, files and place in the rig's chain."""
    checks = [_content_check(record)]
    if checks[0].holds:
        content = json.loads(record.content)
        checks += [_rows_check(record, content), _signatures_check(record, content), *_file_checks(content)]
        checks.append(_chain_check(record, content))
    return SealCheck(record, tuple(checks))


def first_break(record: Record) -> Check | None:
    """Return the first thing of a frozen record that is no longer as its signatures found it; None when all is."""
    over = sha256_of(record.content)
    if any(signature.sha256 != over for signature in record.signatures.all()):
        return Check("signatures", False, "A signature does not stand over this content.")
    content = json.loads(record.content)
    checks = (_rows_check(record, content), *_file_checks(content))
    return next((check for check in checks if not check.holds), None)


HELD_ROWS: Final[Mapping[str, tuple[tuple[type[Model], str], ...]]] = {
    RecordKind.PRESSURE: (
        (PressureTest, "record"),
        (InstrumentUse, "record"),
        (Step, "record"),
        (Line, "step__record"),
        (TypedReading, "step__record"),
        (Recording, "record"),
    ),
    RecordKind.DRAWDOWN: (
        (DrawdownTest, "record"),
        (InstrumentUse, "record"),
        (DrawdownFunction, "record"),
        (Recharge, "record"),
        (Recording, "record"),
    ),
    RecordKind.PUMP: (
        (PumpTest, "record"),
        (InstrumentUse, "record"),
        (PumpReading, "record"),
        (Recharge, "record"),
        (Recording, "record"),
    ),
    RecordKind.FUNCTION: (
        (FunctionTest, "record"),
        (InstrumentUse, "record"),
        (FunctionLine, "record"),
        (Recording, "record"),
    ),
}
"""The tables a seal covers beside the record's own, by kind. Every table is part of the hash, an empty one too: to add
one to a kind would break the seals given before."""


def _rows(record: Record) -> Iterator[tuple[str, list[dict[str, Any]]]]:
    held: list[QuerySet[Any]] = [
        model._default_manager.filter(**{path: record}) for model, path in HELD_ROWS[record.kind]
    ]
    for queryset in (Record.objects.filter(pk=record.pk), *held):
        yield queryset.model._meta.db_table, [_hashable(row) for row in queryset.order_by("pk")]


def _hashable(row: Model) -> dict[str, Any]:
    hidden = NOT_HASHED if isinstance(row, Record) else frozenset()
    return {column: value for column, value in snapshot(row).items() if column not in hidden}


def _hashed(row: Mapping[str, Any]) -> list[str]:
    return list(row)


def _content_check(record: Record) -> Check:
    if record.sealed_at is None:
        return Check("content", False, "The record is not sealed.")
    worked_out = sha256_of(record.content)
    if worked_out != record.sha256:
        return Check("content", False, f"The content gives {worked_out}, not the seal: it was changed.")
    return Check("content", True, "The content gives the seal.")


def _rows_check(record: Record, content: Mapping[str, Any]) -> Check:
    kept = content["rows"]
    now = rows_content(record, kept["columns"])
    if now["sha256"] != kept["sha256"]:
        return Check("rows", False, "The rows of the record are not those that were signed: something was changed.")
    return Check("rows", True, "The rows are those that were signed.")


def _signatures_check(record: Record, content: Mapping[str, Any]) -> Check:
    over = sha256_of(signed_part(content))
    named = [(one["name"], one["role"]["key"], one["signed_sha256"]) for one in content["signatures"]]
    stored = list(record.signatures.order_by("signed_at", "id").values_list("name", "role", "sha256"))
    if not named or any(sha256 != over for _, _, sha256 in named):
        return Check("signatures", False, "A signature does not stand over this content.")
    if named != stored:
        return Check("signatures", False, "The signatures on file are not those that were sealed.")
    return Check("signatures", True, f"{len(named)} signed this content." if len(named) > 1 else "Signed by one.")


def _file_checks(content: Mapping[str, Any]) -> Iterator[Check]:
    for kept in content["files"]:
        name = f"file {kept['file_name']}"
        try:
            files.fetch(kept["sha256"])
        except (files.FileMissing, files.FileAltered) as error:
            yield Check(name, False, str(error))
        else:
            yield Check(name, True, "The file is as it was received.")


def _chain_check(record: Record, content: Mapping[str, Any]) -> Check:
    previous = record.previous_sha256
    if content["previous_sha256"] != previous:
        return Check("chain", False, "The record and its content name different seals before it.")
    sealed = Record.objects.filter(rig_id=record.rig_id, sealed_at__isnull=False)
    if previous and not sealed.filter(sha256=previous).exists():
        return Check("chain", False, "The record sealed before it is missing.")
    if not previous and sealed.filter(~Q(pk=record.pk), previous_sha256="").exists():
        return Check("chain", False, "The rig has two first records.")
    return Check("chain", True, "It follows the seal before it." if previous else "It is the rig's first.")
