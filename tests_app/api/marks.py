"""What a record and its parts rest on: the record's version, which counts every change to any of them."""

from equipment.api.marks import mark_of
from tests_app.models import (
    DrawdownFunction,
    FunctionLine,
    Line,
    PumpReading,
    Recharge,
    Record,
    Recording,
    Step,
)


def version_of(record: Record) -> str:
    """Return the mark of a record as it stands: its change, and whether it is signed, sealed or discarded."""
    ended = "sealed" if record.sealed_at else "frozen" if record.frozen_at else ""
    return f"v{record.version}{ended}{'discarded' if record.discarded_at else ''}"


def register() -> None:
    """Make the ETags of records and their parts known; once, before the first call."""
    mark_of.register(Record, version_of)
    for part in (Step, Recording, DrawdownFunction, Recharge, PumpReading, FunctionLine):
        mark_of.register(part, lambda row: version_of(row.record))
    mark_of.register(Line, lambda line: version_of(line.step.record))
