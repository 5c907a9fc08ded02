"""Tests that are not safe to make now: the date stays, and what calls for the test then is noted.

Only for the reasons of the rules the rig follows, such as 30 CFR 250.738(c): losses, an influx, stuck pipe.
"""

from datetime import datetime
from typing import Final

from django.db import transaction

from calcs.schedule_rule_words import REASON_WORDS
from calcs.schedule_rules import PostponeReason
from equipment.actions import saving
from equipment.errors import Refused
from tests_app.models import Postponement
from tests_app.queries.due_of import due_item, original_of
from tests_app.queries.owed import Owed
from tests_app.queries.postponing import rule_for_waiting
from trail import entries
from trail.actors import Actor, name_of

MADE: Final = "postponement.made"
CALLED: Final = "postponement.called"
ENDED: Final = "postponement.ended"


@transaction.atomic
def postpone_test(
    owed: Owed, *, made_at: datetime, reason: str, explanation: str, by: Actor, at: datetime
) -> Postponement:
    """Note that a test is not safe to make now; its date stays, and the rule's occasion calls for it.

    Raises Refused naming the field: what is no test, an edition that lets none wait, a reason it does not accept,
    a time to come, one postponed already, no explanation.
    """
    saving.locked(owed.row)
    rule = rule_for_waiting(owed)
    if reason not in rule.reasons:
        accepted = ", ".join(REASON_WORDS[one] for one in rule.reasons)
        raise Refused("reason", f"{rule.clause} accepts: {accepted}, and no other reason.", "Choose one of these.")
    saving.not_after(made_at, at, field="made_at")
    waiting = Postponement.objects.filter(rig=owed.rig, obligation_key=owed.key, ended_at__isnull=True).first()
    if waiting is not None:
        raise Refused("", "It is postponed already.", "Look at that entry; end it before another is made.")
    item = due_item(owed.rig, owed.key, at=at)
    row = Postponement(
        rig=owed.rig,
        obligation_key=owed.key,
        subject=owed.name,
        reason=PostponeReason(reason).value,
        then=rule.then.value,
        edition=owed.edition,
        clause=rule.clause,
        original_due_at=original_of(item.due if item else None),
        entered_at=saving.aware(at),
        entered_by=name_of(by),
    )
    said = saving.said(
        explanation,
        field="explanation",
        reason="What happened is missing.",
        remedy="Say what makes the test unsafe now, as in the daily report.",
    )
    saving.assign_values(row, {"made_at": made_at, "explanation": said})
    saving.store_row(row, insert=True)
    entries.write(MADE, row, by=by, at=at, rig_number=owed.rig.pk, after=entries.snapshot(row), reason=said)
    return row


@transaction.atomic
def call_for_test(postponement: Postponement, *, called_at: datetime, by: Actor, at: datetime) -> Postponement:
    """Note that what calls for the test has come, such as the first trip out: it is due at once from then.

    Raises Refused: ended or called for already, a time to come or before it was postponed.
    """
    fresh = _open(postponement)
    if fresh.called_at is not None:
        raise Refused("", "It was called for already.", "Make the test, then end this entry.")
    saving.not_after(called_at, at, field="called_at")
    if called_at < fresh.made_at:
        raise Refused("called_at", "That was before it was postponed.", "Check the time.")
    before = entries.snapshot(fresh)
    saving.assign_values(fresh, {"called_at": called_at, "called_by": name_of(by)})
    _store(fresh, CALLED, before, by, at)
    return fresh


@transaction.atomic
def end_postponement(
    postponement: Postponement, *, ended_at: datetime, reason: str, by: Actor, at: datetime
) -> Postponement:
    """End a postponement: the test was made, it is safe again, or it was entered in error.

    Raises Refused: ended already, a time to come or before it was postponed, no reason.
    """
    fresh = _open(postponement)
    saving.not_after(ended_at, at, field="ended_at")
    if ended_at < (fresh.called_at or fresh.made_at):
        raise Refused("ended_at", "That was before it was postponed or called for.", "Check the time.")
    why = saving.said(reason, field="reason", reason="A reason is missing.", remedy="Say why it waits no longer.")
    before = entries.snapshot(fresh)
    saving.assign_values(fresh, {"ended_at": ended_at, "ended_by": name_of(by), "ended_reason": why})
    _store(fresh, ENDED, before, by, at)
    return fresh


def _open(postponement: Postponement) -> Postponement:
    fresh = saving.locked(postponement)
    if fresh.ended_at is not None:
        raise Refused("", "This postponement has ended.", "Enter a new one if the test has to wait again.")
    return fresh


def _store(row: Postponement, event: str, before: dict[str, object], by: Actor, at: datetime) -> None:
    saving.store_row(row)
    was, becomes = entries.changes(before, entries.snapshot(row))
    entries.write(event, row, by=by, at=at, rig_number=row.rig_id, before=was, after=becomes, reason=row.ended_reason)
