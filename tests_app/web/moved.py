"""Which due dates a signed test moved: as they stood when it began, and once it was concluded."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from calcs.recurrence import State
from tests_app.models import Record
from tests_app.queries import records
from tests_app.queries.due_list import DueItem, due_list
from tests_app.web.due_words import STATE_KEYS, due_text, state_words

_JUST: Final = timedelta(seconds=1)


@dataclass(frozen=True)
class Moved:
    """One element the test proved, with its due date before and after."""

    element: str
    serial: str
    before: str
    after: str
    state: str
    words: str


def moved_by(record: Record) -> Sequence[Moved]:
    """Return what became of the due dates of the elements a sealed record tested. A constant number of queries."""
    if record.concluded_at is None:
        return ()
    tested = {line.component_id for line in records.lines_of(record)}
    at = record.concluded_at
    before = {item.component.pk: item for item in due_list(record.rig, at=record.started_at - _JUST)}
    after = [item for item in due_list(record.rig, at=at) if item.component.pk in tested]
    return [
        Moved(
            element=item.position.name,
            serial=item.component.serial,
            before=_said(before.get(item.component.pk)),
            after=_said(item),
            state=STATE_KEYS[item.state],
            words=state_words(item, at),
        )
        for item in sorted(after, key=lambda item: (item.position.stack_id, item.position.order))
    ]


def _said(item: DueItem | None) -> str:
    if item is None or item.due is None or item.due.due_at is None:
        return ""
    text = due_text(item)
    return f"at once, since {text}" if item.due.state is State.DUE_NOW else text
