"""Which due dates a signed test moved: as they stood when it began, and once it was concluded."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from calcs.recurrence import State
from tests_app.models import Record, RecordKind
from tests_app.queries import records
from tests_app.queries.due_items import DueItem, What
from tests_app.queries.due_list import due_list
from tests_app.queries.function_verdicts import subject_of
from tests_app.web.due_words import STATE_KEYS, WHAT_WORDS, due_text, state_words

_JUST: Final = timedelta(seconds=1)
_Subject = tuple[What, str, int]


@dataclass(frozen=True)
class Moved:
    """One element the test proved, with its due date before and after; `what` in words for a test of a bank."""

    element: str
    serial: str
    before: str
    after: str
    state: str
    words: str
    what: str = ""


def moved_by(record: Record) -> Sequence[Moved]:
    """Return what became of the due dates of the elements a sealed record tested. A constant number of queries."""
    if record.concluded_at is None:
        return ()
    tested = _proved(record)
    at = record.concluded_at
    before = {_key(item): item for item in due_list(record.rig, at=record.started_at - _JUST)}
    after = [item for item in due_list(record.rig, at=at) if _key(item) in tested]
    return [
        Moved(
            element=item.subject,
            serial=item.component.serial if item.component else "",
            before=_said(before.get(_key(item))),
            after=_said(item),
            state=STATE_KEYS[item.state],
            words=state_words(item, at),
            what="" if item.what is What.PRESSURE else WHAT_WORDS[item.what],
        )
        for item in sorted(after, key=_place)
    ]


def _proved(record: Record) -> set[_Subject]:
    """Return what a record proves of which components and control items."""
    if record.kind == RecordKind.DRAWDOWN:
        return {(What.DRAWDOWN, "component", record.drawdown_test.bank.component_id)}
    if record.kind == RecordKind.PUMP:
        return {(What.PUMP, "component", record.pump_test.bank.component_id)}
    if record.kind == RecordKind.FUNCTION:
        return {(What.FUNCTION, *subject_of(line)) for line in record.function_lines.all()}
    return {(What.PRESSURE, "component", line.component_id) for line in records.lines_of(record)}


def _key(item: DueItem) -> _Subject:
    if item.control_item is not None:
        return item.what, "controlitem", item.control_item.pk
    return item.what, "component", item.component.pk if item.component else 0


def _place(item: DueItem) -> tuple[int, int, str]:
    stack, order = (item.stack.pk, item.position.order) if item.stack and item.position else (0, 0)
    return stack, order, item.key


def _said(item: DueItem | None) -> str:
    if item is None or item.due is None or item.due.due_at is None:
        return ""
    text = due_text(item)
    return f"at once, since {text}" if item.due.state is State.DUE_NOW else text
