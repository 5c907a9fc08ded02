"""Deferrals (dispensations): granted with who approved it, why and until when; withdrawn with a reason.

A deferral moves a date and hides nothing: the item stays on the due list with its first date beside the new one.
"""

from datetime import datetime
from typing import Final

from django.db import transaction

from calcs.moments import limit_words, moment_words
from equipment.actions import saving
from equipment.errors import Refused
from tests_app.models import Deferral
from tests_app.queries.due_items import DueItem
from tests_app.queries.due_of import due_item, longest_wait, original_of
from tests_app.queries.owed import Owed
from trail import entries
from trail.actors import Actor, name_of

GRANTED: Final = "deferral.granted"
WITHDRAWN: Final = "deferral.withdrawn"


@transaction.atomic
def grant_deferral(
    owed: Owed,
    *,
    granted_at: datetime,
    until: datetime,
    approved_by: str,
    reference: str,
    reason: str,
    conditions: str = "",
    by: Actor,
    at: datetime,
) -> Deferral:
    """Let what is owed wait until a moment, as somebody approved.

    Raises Refused naming the field: nothing due to defer, granted in the future or before what its clock counts
    from, an end that has passed, lies before the date itself or too far beyond it; approval or reason missing.
    """
    saving.locked(owed.row)
    saving.not_after(granted_at, at, field="granted_at")
    saving.aware(until, field="until")
    item = due_item(owed.rig, owed.key, at=at)
    _check_clock(owed, item, granted_at)
    _check_until(owed, item, granted_at, until, at)
    row = Deferral(
        rig=owed.rig,
        obligation_key=owed.key,
        subject=owed.name,
        edition=(item.edition if item else "") or owed.edition,
        clause=(item.clause if item else "") or (owed.rule.clause if owed.rule else ""),
        original_due_at=original_of(item.due if item else None),
        entered_at=saving.aware(at),
        entered_by=name_of(by),
    )
    texts = {
        "approved_by": saving.said(
            approved_by,
            field="approved_by",
            reason="Who approved it is missing.",
            remedy="Give the name and the office of who may approve it.",
        ),
        "reference": saving.said(
            reference,
            field="reference",
            reason="The approval's reference is missing.",
            remedy="Give the number of the letter, permit or dispensation.",
        ),
        "reason": saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say why it waits."),
        "conditions": conditions,
    }
    saving.assign_values(row, {"granted_at": granted_at, "until": until, **texts})
    saving.store_row(row, insert=True)
    entries.write(GRANTED, row, by=by, at=at, rig_number=owed.rig.pk, after=entries.snapshot(row), reason=row.reason)
    return row


@transaction.atomic
def withdraw_deferral(deferral: Deferral, *, reason: str, by: Actor, at: datetime) -> Deferral:
    """Withdraw a deferral: the first date counts again, at once. Raises Refused: withdrawn already, no reason."""
    fresh = saving.locked(deferral)
    if fresh.withdrawn_at is not None:
        raise Refused("", "This deferral is withdrawn already.", "Nothing is left to do.")
    why = saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say why it holds no more.")
    before = entries.snapshot(fresh)
    fresh.withdrawn_at, fresh.withdrawn_by, fresh.withdrawn_reason = saving.aware(at), name_of(by), why
    saving.store_row(fresh)
    was, becomes = entries.changes(before, entries.snapshot(fresh))
    entries.write(WITHDRAWN, fresh, by=by, at=at, rig_number=fresh.rig_id, before=was, after=becomes, reason=why)
    return fresh


def _check_clock(owed: Owed, item: DueItem | None, granted_at: datetime) -> None:
    """Refuse where no date is to be moved, and a deferral older than what the clock counts from: it would not hold."""
    due = item.due if item else None
    if due is None or due.due_at is None:
        why = item.error if item and item.error else f"No {owed.what.label.lower()} of {owed.subject} is due."
        raise Refused("", why, "Look at the due list.")
    if due.counts_from is not None and granted_at < due.counts_from:
        since = moment_words(due.counts_from, owed.rig.zone)
        raise Refused(
            "granted_at",
            f"Its date counts from {since}: what was granted before defers nothing.",
            "Have it approved anew, or check the time.",
        )


def _check_until(owed: Owed, item: DueItem | None, granted_at: datetime, until: datetime, at: datetime) -> None:
    if until <= granted_at:
        raise Refused("until", "It would end before it was granted.", "Check both times.")
    if until <= at:
        raise Refused("until", "It would have ended already.", "Give a time to come; what is past stays as it was.")
    original = original_of(item.due if item else None)
    if original is None:
        return
    if until <= original:
        words = limit_words(original, owed.rig.zone)
        raise Refused("until", f"It is not due before {words}.", "Give a later time, or leave the date as it is.")
    latest = max(original, granted_at) + longest_wait(owed, item)
    if until > latest:
        raise Refused(
            "until",
            "A deferral lasts no longer than the interval it moves, and no longer than a year: "
            f"here until {moment_words(latest, owed.rig.zone)}.",
            "Give an earlier time and have it approved anew then, or change the rig's own programme.",
        )
