"""Work done that renews what is due: entered once, with its evidence, and withdrawn when it was entered in error."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final

from django.db import transaction

from calcs.held import Hold, shortfalls
from calcs.moments import moment_words
from calcs.rules import Rating
from calcs.schedule_rule_words import EVIDENCE_WORDS
from equipment.actions import documents, saving
from equipment.actions.refusals import refuse_invalid
from equipment.errors import Refused
from equipment.models import Component, ControlItem, Document, Elastomer, HoleSection, Instrument, Measured
from tests_app.actions.renewals import Received, Renewal, check_renewal, take_back, write_renewal
from tests_app.models import Completion, Postponement
from tests_app.queries.owed import Owed, is_entered_as_work
from trail import entries
from trail.actors import Actor, name_of

__all__ = ["Pressed", "Received", "record_work", "withdraw_work"]

RECORDED: Final = "work.recorded"
WITHDRAWN: Final = "work.withdrawn"
POSTPONEMENT_ENDED: Final = "postponement.ended"
_MINUTE: Final = 60


@dataclass(frozen=True)
class Pressed:
    """The pressure held, of casing tests and their like: as read when the hold began and when it was over."""

    reached: Measured
    left: Measured
    minutes: Decimal


@transaction.atomic
def record_work(
    owed: Owed,
    *,
    started_at: datetime,
    concluded_at: datetime,
    passed: bool,
    done_by: str,
    findings: str = "",
    evidence: Received | None = None,
    same_file_meant: bool = False,
    pressed: Pressed | None = None,
    renewal: Renewal | None = None,
    by: Actor,
    at: datetime,
) -> Completion:
    """Enter work that renews `owed`, with its file kept as received under its SHA-256.

    What it renews elsewhere (dates of an instrument, a document, an elastomer) is written with it. Raises Refused
    naming the field: what is no work of this kind, times to come, out of order or before the thing existed, an entry
    made already, evidence missing, the file of another entry unless `same_file_meant`, a pass the figures deny.
    """
    _check_kind(owed)
    saving.locked(owed.row)
    _check_times(owed, started_at, concluded_at, at)
    _check_words(passed, done_by, findings)
    _check_evidence(owed, evidence, passed)
    _check_pressed(owed, pressed, passed)
    check_renewal(owed, renewal, passed)
    _refuse_twice(owed, concluded_at)
    entry = _entry(owed, started_at, concluded_at, passed, done_by, findings, pressed)
    if evidence is not None:
        _attach(entry, evidence, same_file_meant)
    refuse_invalid(entry, exclude=("entered_at", "entered_by"))
    write_renewal(entry, owed, renewal, evidence, by=by, at=at)
    entry.entered_at, entry.entered_by = saving.aware(at), name_of(by)
    saving.store_row(entry, insert=True)
    entries.write(RECORDED, entry, by=by, at=at, rig_number=owed.rig.pk, after=entries.snapshot(entry))
    if passed:
        _end_waiting(entry, by, at)
    return entry


@transaction.atomic
def withdraw_work(entry: Completion, *, reason: str, by: Actor, at: datetime) -> Completion:
    """Withdraw an entry made in error, with what it wrote elsewhere; the row stays on file.

    Raises Refused: withdrawn already, no reason, or something later rests on it.
    """
    fresh = saving.locked(entry)
    if fresh.withdrawn_at is not None:
        raise Refused("", "This entry is withdrawn already.", "Nothing is left to do.")
    why = saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say what was entered in error.")
    before = entries.snapshot(fresh)
    fresh.withdrawn_at, fresh.withdrawn_by, fresh.withdrawn_reason = saving.aware(at), name_of(by), why
    refuse_invalid(fresh)
    take_back(fresh, reason=why, by=by, at=at)
    fresh.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_reason"])
    was, becomes = entries.changes(before, entries.snapshot(fresh))
    entries.write(WITHDRAWN, fresh, by=by, at=at, rig_number=fresh.rig_id, before=was, after=becomes, reason=why)
    return fresh


def _check_kind(owed: Owed) -> None:
    if not is_entered_as_work(owed):
        raise Refused(
            "key",
            f"A {owed.what.label.lower()} of {owed.subject} is not entered as work done.",
            "Record it as a test of its own.",
        )
    if isinstance(owed.row, Elastomer) and owed.row.removed_on is not None:
        raise Refused("key", f"The {owed.row.part} was taken out already.", "Enter the change of the one fitted now.")


def _check_times(owed: Owed, started_at: datetime, concluded_at: datetime, at: datetime) -> None:
    saving.not_after(started_at, at, field="started_at")
    saving.not_after(concluded_at, at, field="concluded_at")
    if concluded_at < started_at:
        raise Refused("concluded_at", "It was over before it began.", "Check both times.")
    if owed.since is not None and concluded_at < owed.since:
        since = moment_words(owed.since, owed.rig.zone)
        raise Refused(
            "concluded_at", f"{owed.name} is on file only since {since}.", "Check the time, or correct that date first."
        )


def _check_words(passed: bool, done_by: str, findings: str) -> None:
    if not done_by.strip():
        raise Refused("done_by", "Who did it is missing.", "Give the name and the company.")
    if not passed and not findings.strip():
        raise Refused("findings", "What was found is missing.", "Say why it did not pass.")


def _check_evidence(owed: Owed, evidence: Received | None, passed: bool) -> None:
    """Refuse work without the paper its rule asks for; what did not pass renews nothing and may come without."""
    if evidence is None and passed and owed.papers:
        asked = " and ".join(EVIDENCE_WORDS[one] for one in owed.papers)
        clause = f" ({owed.rule.clause})" if owed.rule else ""
        raise Refused("evidence", f"This needs {asked}{clause}.", "Attach the file: a scan, a photo or a PDF.")


def _check_pressed(owed: Owed, pressed: Pressed | None, passed: bool) -> None:
    """Refuse a held pressure that is missing, stands where none is held, or denies what is said of it."""
    if not owed.is_pressure_held:
        if pressed is not None:
            raise Refused("pressure_reached", f"No pressure is held in a {owed.what.label.lower()}.", "Leave it out.")
        return
    if pressed is None:
        raise Refused("pressure_reached", "The pressure held is missing.", "Give pressures and minutes as read.")
    hold = Hold(pressed.reached.si, pressed.left.si, float(pressed.minutes) * _MINUTE)
    if hold.left > hold.reached * 1.5:
        raise Refused("pressure_left", "It ended far over where it began.", "Check both pressures and their units.")
    short = shortfalls(owed.rule, hold, _ratings(owed)) if owed.rule else ()
    if passed and short and owed.rule:
        raise Refused(
            short[0].field,
            f"{short[0].reason} ({owed.rule.clause})",
            "Check the figure; if it stands, enter the test as not passed.",
        )


def _ratings(owed: Owed) -> Mapping[Rating, float]:
    found: dict[Rating, float] = {}
    if isinstance(owed.row, HoleSection) and owed.row.casing_internal_yield is not None:
        found[Rating.CASING_BURST] = owed.row.casing_internal_yield.si
    if owed.component is not None and owed.component.rated_working_pressure is not None:
        found[Rating.COMPONENT] = owed.component.rated_working_pressure.si
    return found


def _refuse_twice(owed: Owed, concluded_at: datetime) -> None:
    same = Completion.objects.filter(
        rig=owed.rig, obligation_key=owed.key, concluded_at=concluded_at, withdrawn_at__isnull=True
    ).first()
    if same is not None:
        raise Refused(
            "concluded_at",
            f"This is entered already, by {same.entered_by}.",
            "Withdraw that entry if it was wrong, or give another time.",
        )


def _entry(
    owed: Owed,
    started_at: datetime,
    concluded_at: datetime,
    passed: bool,
    done_by: str,
    findings: str,
    pressed: Pressed | None,
) -> Completion:
    entry = Completion(
        rig=owed.rig,
        what=owed.what,
        obligation_key=owed.key,
        subject=owed.name,
        stack=owed.stack,
        component=owed.component,
        edition=owed.edition,
        rule_id=owed.rule.id if owed.rule else "",
        clause=owed.rule.clause if owed.rule else "",
        passed=passed,
    )
    saving.assign_values(
        entry,
        {"started_at": started_at, "concluded_at": concluded_at, "done_by": done_by, "findings": findings},
    )
    for name, model in _LINKS.items():
        if isinstance(owed.row, model):
            setattr(entry, name, owed.row)
    if pressed is not None:
        entry.pressure_reached, entry.pressure_left = pressed.reached, pressed.left
        entry.held_minutes = pressed.minutes
    return entry


_LINKS: Final = {
    "control_item": ControlItem,
    "instrument": Instrument,
    "elastomer": Elastomer,
    "document": Document,
    "section": HoleSection,
    "component": Component,
}
"""The column that holds what the work was done on, by its kind."""


def _attach(entry: Completion, evidence: Received, same_file_meant: bool) -> None:
    kept = documents.keep_file(evidence.content, evidence.name)
    entry.evidence_name, entry.evidence_sha256, entry.evidence_size = kept.name, kept.sha256, kept.size
    other = (
        Completion.objects.filter(rig=entry.rig, evidence_sha256=kept.sha256, withdrawn_at__isnull=True)
        .select_related("rig")
        .order_by("-concluded_at")
        .first()
    )
    if other is not None and not same_file_meant:
        when = moment_words(other.concluded_at, other.rig.zone)
        raise Refused(
            "same_file_meant",
            f"This very file is the evidence of “{other}”, {when}.",
            "Choose the right file, or confirm that it is evidence of both.",
        )


def _end_waiting(entry: Completion, by: Actor, at: datetime) -> None:
    """End what was postponed until this could be done."""
    waiting = Postponement.objects.select_for_update(no_key=True).filter(
        rig=entry.rig_id,
        obligation_key=entry.obligation_key,
        made_at__lte=entry.concluded_at,
        ended_at__isnull=True,
    )
    for row in waiting:
        before = entries.snapshot(row)
        row.ended_at, row.ended_by, row.ended_reason = entry.concluded_at, name_of(by), "Done."
        row.save(update_fields=["ended_at", "ended_by", "ended_reason"])
        was, becomes = entries.changes(before, entries.snapshot(row))
        entries.write(POSTPONEMENT_ENDED, row, by=by, at=at, rig_number=entry.rig_id, before=was, after=becomes)
