"""How a rig stands on a day, for its digest: what is over, what comes within a week, what waits by approval."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from calcs.recurrence import State
from equipment.models import Rig
from tests_app.models import Notice, What
from tests_app.queries.due_items import CANNOT_BE_WORKED_OUT, NEVER_TESTED, NOT_PASSED, DueItem
from tests_app.queries.due_list import due_list

AHEAD: Final = timedelta(days=7)
_HEADINGS: Final = {
    CANNOT_BE_WORKED_OUT: "Cannot be worked out",
    State.OVERDUE.value: "Overdue",
    NOT_PASSED: "Last test not passed",
    NEVER_TESTED: "Never tested",
    State.DUE_NOW.value: "Due now",
    State.IN_PROGRESS.value: "Test in progress",
}
_COMING: Final = "Within 7 days"
_BY_DATE: Final = frozenset({State.OVERDUE.value, State.IN_DATE.value, State.DUE_SOON.value, State.IN_PROGRESS.value})


@dataclass(frozen=True)
class Standing:
    """One thing that is due and how it stands.

    Attributes:
        what: what has to be done.
        on: on what.
        state: its state's key.
        due_at: its limit; None for what is due at once or can't be worked out.
        beside: clause, and a deferral where there is one.
    """

    what: str
    on: str
    state: str
    due_at: datetime | None
    beside: str


@dataclass(frozen=True)
class Daily:
    """How a rig stands at a moment.

    Attributes:
        at: the moment.
        groups: heading and what stands under it, the most pressing first.
        unacknowledged: notices open that nobody acknowledged.
        total: everything that is owed.
    """

    at: datetime
    groups: tuple[tuple[str, tuple[Standing, ...]], ...]
    unacknowledged: int
    total: int

    @property
    def short(self) -> str:
        """Return the day in a few words, for a subject line."""
        counted = [f"{len(found)} {heading.lower()}" for heading, found in self.groups if found]
        return ", ".join(counted) or "nothing is due within 7 days"

    @property
    def summary(self) -> str:
        """Return the day in a sentence."""
        if not self.total:
            return "Nothing is owed on this rig, as far as it is on file here."
        quiet = all(heading in (_COMING, _HEADINGS[State.IN_PROGRESS.value]) for heading, found in self.groups if found)
        over = "Nothing is overdue. " if quiet else ""
        return f"{over}Of {self.total} obligations: {self.short}."


def daily_of(rig: Rig, *, at: datetime) -> Daily:
    """Return how the rig stands at a moment."""
    items = due_list(rig, at=at)
    groups = [
        (heading, tuple(_standing(item) for item in items if item.state == state))
        for state, heading in _HEADINGS.items()
    ]
    groups.append((_COMING, tuple(_standing(item) for item in items if _comes_soon(item, at))))
    waiting = Notice.objects.filter(rig=rig, closed_at=None, acknowledged_at=None).count()
    return Daily(at, tuple(groups), waiting, len(items))


def _comes_soon(item: DueItem, at: datetime) -> bool:
    ahead = item.state in (State.IN_DATE.value, State.DUE_SOON.value)
    return ahead and item.due is not None and item.due.due_at is not None and item.due.due_at <= at + AHEAD


def _standing(item: DueItem) -> Standing:
    due_at = item.due.due_at if item.due and item.state in _BY_DATE else None
    on = f"{item.subject} ({item.subject_detail})" if item.subject_detail else item.subject
    deferral = getattr(item, "deferral", None)
    beside = f"Deferred, {deferral.reference}: {deferral.reason}" if deferral else item.clause
    return Standing(What(item.what).label, on, item.state, due_at, item.error or beside)
