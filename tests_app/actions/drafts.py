"""Holding a draft while it is changed: every action on a record begins and ends here."""

import re
from collections.abc import Mapping
from typing import Final

from equipment.errors import Refused
from tests_app.errors import RecordIsSealed, RecordIsStale
from tests_app.models import Record, RecordKind, Step

_WORD: Final = re.compile(r"[^\W\d_]{2,}")
_LEAST_WORDS: Final = 2
_HEADINGS: Final[Mapping[str, str]] = {
    RecordKind.PRESSURE: "pressure_test",
    RecordKind.DRAWDOWN: "drawdown_test__bank__component__rig",
    RecordKind.PUMP: "pump_test__bank__component__rig",
    RecordKind.FUNCTION: "function_test",
}
"""What is read with a record of a kind: to join every kind's takes longer than all else a small change does."""


def hold_draft(record: Record, *, version: int | None = None) -> Record:
    """Lock the record and return it afresh, still a draft; call it first inside the action's transaction.

    Raises RecordIsSealed once it is signed, Refused when it was discarded, RecordIsStale when it changed
    since `version` was seen.
    """
    held = _locked(record)
    if held.frozen_at is not None:
        raise RecordIsSealed(held)
    return _usable(held, version)


def hold_to_sign(record: Record) -> Record:
    """Lock the record, whatever its state, and return it afresh."""
    return _locked(record)


def refuse_unsignable(held: Record, *, version: int) -> None:
    """Raise Refused when a held record was discarded or is being corrected, RecordIsStale when it changed."""
    _usable(held, version)
    later = Record.objects.filter(supersedes=held).first()
    if later is not None:
        raise Refused("", f"{held} was found wrong and is corrected by {later}.", "Sign that one in its place.")


def _locked(record: Record) -> Record:
    return (
        Record.objects.select_for_update(of=("self",), no_key=True)
        .select_related("rig", "stack", "section", _HEADINGS[record.kind])
        .get(pk=record.pk)
    )


def _usable(held: Record, version: int | None) -> Record:
    if held.discarded_at is not None:
        raise Refused("", f"{held} was discarded.", "Open a new test.")
    if version is not None and version != held.version:
        raise RecordIsStale(version, held.version)
    return held


def hold_step(step: Step, *, version: int | None = None) -> Step:
    """Lock the step's record and return the step afresh, its record with it; raises as `hold_draft`."""
    record = hold_draft(step.record, version=version)
    held = Step.objects.get(pk=step.pk)
    held.record = record
    return held


def mark_changed(record: Record) -> None:
    """Count a change to the held record, so that a page loaded before it can't write over it."""
    record.version += 1
    record.save(update_fields=["version"])


def refuse_idle_reason(reason: str, act: str) -> None:
    """Refuse a reason that says nothing, such as a single letter: what is set aside is asked about years later."""
    words = _WORD.findall(reason)
    if len(words) < _LEAST_WORDS:
        raise Refused(
            "reason",
            f"{act} for “{reason.strip()}”: that says nothing.",
            "Say why in a few words: the certificate prints them.",
        )
