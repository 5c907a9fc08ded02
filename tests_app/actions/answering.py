"""What people do with alerts: see them, and acknowledge them with a note."""

from collections.abc import Collection, Iterable
from datetime import datetime

from django.db import transaction

from accounts.models import User
from equipment.actions.saving import aware, said
from equipment.errors import Refused
from tests_app.models import Channel, Delivery, Notice
from trail import entries

LONGEST_NOTE = 1000


@transaction.atomic
def acknowledge(notice: Notice, *, note: str, also: Iterable[Notice] = (), by: User, at: datetime) -> None:
    """Acknowledge a notice with a note, and others with it: their repeats and escalation end, what is due stays due.

    Raises Refused for one that is acknowledged already and for an empty note; of the others such are left as they are.
    """
    words = said(note, field="note", reason="A note is missing.", remedy="Say what is being done about it, by when.")
    if len(words) > LONGEST_NOTE:
        raise Refused("note", f"The note is longer than {LONGEST_NOTE} characters.", "Say it shorter.")
    if not _acknowledged(notice, words, by, aware(at)):
        raise Refused("", "Somebody has acknowledged this already.", "Open it to see who, and what they noted.")
    for other in also:
        _acknowledged(other, words, by, at)


def _acknowledged(notice: Notice, words: str, by: User, at: datetime) -> bool:
    unanswered = Notice.objects.filter(pk=notice.pk, acknowledged_at=None)
    if not unanswered.update(acknowledged_at=at, acknowledged_by=by, note=words):
        return False
    entries.write(
        "notice.acknowledged",
        notice,
        by=by,
        at=at,
        rig_number=notice.rig_id,
        after={"stage": notice.stage, "obligation_key": notice.obligation_key, "note": words},
        reason=words[:200],
    )
    return True


@transaction.atomic
def mark_seen(notices: Collection[int], *, by: User, at: datetime) -> int:
    """Note that a person saw notices in the app; return how many were new to them. No trail: nothing else changes."""
    told = Delivery.objects.filter(notice__in=notices, person=by, channel=Channel.APP, seen_at=None)
    return told.update(seen_at=aware(at))
