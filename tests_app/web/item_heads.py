"""What a form about one item of the due list begins with: the item, how it stands, when it is due and why."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from django.db.models import Model

from equipment.web.story import Told, told
from tests_app.models import Deferral, Postponement
from tests_app.queries.due_items import DueItem
from tests_app.queries.due_of import original_of
from tests_app.queries.owed import Owed
from tests_app.web.due_words import STATE_KEYS, deadline_text, due_text, state_words
from trail import entries

_EVENTS: Final = {
    "work.recorded": "Entered",
    "work.withdrawn": "Withdrawn",
    "past-test.brought-in": "Brought in",
    "past-test.confirmed": "Confirmed by its paper",
    "past-test.withdrawn": "Withdrawn",
    "deferral.granted": "Entered",
    "deferral.withdrawn": "Withdrawn",
    "postponement.made": "Entered",
    "postponement.called": "Called for",
    "postponement.ended": "Ended",
}


@dataclass(frozen=True)
class ItemHead:
    """One item as a form shows it.

    Attributes:
        state: key of its state mark; empty where it is not on the due list.
        words: the state in words.
        due: when it is due, in words; empty without a date.
        original: the date before a deferral moved it, in words; else empty.
        reason: why.
        clause: the clause it is due by.
        edition: the edition the clause stands in.
        deferral: the deferral that moves it now, if any.
        postponement: why it waits now, if it does.
    """

    state: str = ""
    words: str = ""
    due: str = ""
    original: str = ""
    reason: str = ""
    clause: str = ""
    edition: str = ""
    deferral: Deferral | None = None
    postponement: Postponement | None = None


def head_of(owed: Owed, item: DueItem | None, at: datetime) -> ItemHead:
    """Return what is shown of an item; of what is not on the due list only its rule."""
    if item is None:
        return ItemHead(clause=owed.rule.clause if owed.rule else "", edition=owed.edition)
    original = original_of(item.due) if item.due and item.due.original_due_at else None
    return ItemHead(
        state=STATE_KEYS[item.state],
        words=state_words(item, at),
        due=due_text(item),
        original=deadline_text(original, owed.rig.zone) if original else "",
        reason=item.reason,
        clause=item.clause,
        edition=item.edition,
        deferral=item.deferral,
        postponement=item.postponement,
    )


def told_of(row: Model) -> list[Told]:
    """Return what was done to one entry, the latest first, in words; the entry itself is not named again."""
    rows = list(entries.of_subject(row).order_by("-at", "-pk"))
    return [
        replace(one, what=_EVENTS.get(entry.event, one.what), subject="")
        for one, entry in zip(told(rows), rows, strict=True)
    ]
