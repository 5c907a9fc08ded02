"""What people do with alerts: see them, and acknowledge them with a note."""

from collections.abc import Collection
from datetime import datetime

from django.db import transaction

from accounts.models import User
from equipment.actions.saving import aware, said
from equipment.errors import Refused
from tests_app.models import Channel, Delivery, Notice
from trail import entries

LONGEST_NOTE = 1000


@transaction.atomic
def acknowledge(notice: Notice, *, note: str, by: User, at: datetime) -> None:
    """Acknowledge a notice with a note: its repeats and its escalation end; the obligation stays as it is.

    Raises Refused for one that is acknowledged already and for an empty note.
    """
    words = said(note, field="note", reason="A note is missing.", remedy="Say what is being done about it, by when.")
    if len(words) > LONGEST_NOTE:
        raise Refused("note", f"The note is longer than {LONGEST_NOTE} characters.", "Say it shorter.")
    open_ones = Notice.objects.filter(pk=notice.pk, acknowledged_at=None)
    if not open_ones.update(acknowledged_at=aware(at), acknowledged_by=by, note=words):
        raise Refused("", "Somebody has acknowledged this already.", "Open it to see who, and what they noted.")
    entries.write(
        "notice.acknowledged",
        notice,
        by=by,
        at=at,
        rig_number=notice.rig_id,
        after={"stage": notice.stage, "obligation_key": notice.obligation_key, "note": words},
        reason=words[:200],
    )


@transaction.atomic
def mark_seen(notices: Collection[int], *, by: User, at: datetime) -> int:
    """Note that a person saw notices in the app; return how many were new to them. No trail: nothing else changes."""
    told = Delivery.objects.filter(notice__in=notices, person=by, channel=Channel.APP, seen_at=None)
    return told.update(seen_at=aware(at))
