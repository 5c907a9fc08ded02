"""What work can be entered on a rig: every item of the due list that is no test of its own record, by what is done."""

from dataclasses import dataclass
from datetime import datetime

from equipment.models import NOT_PRESSURE_TESTED, Rig
from tests_app.models import What
from tests_app.queries.due_items import DueItem
from tests_app.queries.due_list import due_list
from tests_app.queries.owed import ENTERED_AS_WORK
from tests_app.web.due_words import STATE_KEYS, due_text, state_words


@dataclass(frozen=True)
class Choice:
    """One item to enter work on."""

    item: DueItem
    state: str
    words: str
    due: str


@dataclass(frozen=True)
class ChoiceGroup:
    """Items of one kind of work, the most pressing first."""

    what: str
    label: str
    choices: tuple[Choice, ...]


def choices_of(rig: Rig, *, at: datetime) -> list[ChoiceGroup]:
    """Return what work can be entered, a group for each kind, in the order of the kinds."""
    items = [item for item in due_list(rig, at=at) if _is_entered(item)]
    groups = []
    for what in What:
        found = tuple(
            Choice(item, STATE_KEYS[item.state], state_words(item, at), due_text(item))
            for item in items
            if item.what == what
        )
        if found:
            groups.append(ChoiceGroup(what.value, str(what.label), found))
    return groups


def _is_entered(item: DueItem) -> bool:
    if item.what is What.PRESSURE:
        return item.component is None or item.component.kind in NOT_PRESSURE_TESTED
    if item.what is What.FUNCTION:
        return item.component is None and item.control_item is None
    return item.what in ENTERED_AS_WORK
