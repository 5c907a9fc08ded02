"""How the due list is parted: by date, by part of the system, or by who usually does the work."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from calcs.recurrence import State
from tests_app.models import PartOfSystem, What
from tests_app.queries.due_items import CANNOT_BE_WORKED_OUT, NEVER_TESTED, NOT_PASSED, DueItem

BY_DATE: Final = "date"
BY_PART: Final = "part"
BY_WHO: Final = "who"
UNPARTED: Final = "nothing"
WAYS: Final = (
    (BY_DATE, "by date"),
    (BY_PART, "by part of the system"),
    (BY_WHO, "by who does it"),
    (UNPARTED, "not at all"),
)
"""How the list can be parted, with the words of each."""


@dataclass(frozen=True, slots=True)
class Group:
    """One part of the list."""

    key: str
    title: str
    order: int


DATES: Final[Mapping[str, str]] = {
    "unknown": "Cannot be worked out",
    "overdue": "Overdue",
    "now": "Due now",
    "running": "Being tested",
    "today": "Runs out today",
    "days-3": "In the next 3 days",
    "days-7": "In the next 7 days",
    "days-30": "In the next 30 days",
    "later": "Later",
    "undated": "No date: events call for it",
    "out": "Out of service",
}
_NEAR: Final = (("today", 0), ("days-3", 3), ("days-7", 7), ("days-30", 30))
_NOW: Final = frozenset({NOT_PASSED, NEVER_TESTED, State.DUE_NOW})
_STATES: Final[Mapping[str, str]] = {
    CANNOT_BE_WORKED_OUT: "unknown",
    State.OVERDUE: "overdue",
    State.IN_PROGRESS: "running",
    State.OUT_OF_SERVICE: "out",
}
_WHO: Final[Mapping[str, tuple[str, frozenset[What]]]] = {
    "testing": (
        "Testing crew",
        frozenset({What.PRESSURE, What.FUNCTION, What.DRAWDOWN, What.PUMP, What.CASING}),
    ),
    "maintenance": ("Maintenance on the rig", frozenset({What.PRECHARGE, What.INSPECTION, What.ELASTOMER})),
    "workshop": ("Workshop or maker", frozenset({What.OVERHAUL, What.SHELL})),
    "laboratory": ("Calibration laboratory", frozenset({What.CALIBRATION})),
    "crew": ("Drilling crew", frozenset({What.DRILL})),
    "office": ("Rig office", frozenset({What.DOCUMENT, What.NOTICE, What.REPORT})),
}
"""Who usually does each kind of work: common practice, no rule."""
WHO_CHOICES: Final = [(key, title) for key, (title, _) in _WHO.items()]
_PARTS: Final = list(PartOfSystem)
_INSTANT: Final = timedelta(microseconds=1)


def date_key(item: DueItem, at: datetime) -> str:
    """Return which of `DATES` an item stands under: how it stands first, then how near its last day is."""
    if item.state in _STATES:
        return _STATES[item.state]
    if item.state in _NOW:
        return "now"
    if item.due is None or item.due.due_at is None:
        return "undated"
    ahead = (last_day(item) - at.astimezone(item.zone).date()).days
    return next((key for key, days in _NEAR if ahead <= days), "later")


def last_day(item: DueItem) -> date:
    """Return the local day in which the item's limit falls, a midnight counting to the day it ends."""
    assert item.due is not None
    assert item.due.due_at is not None
    return (item.due.due_at - _INSTANT).astimezone(item.zone).date()


def who_key(what: What) -> str:
    """Return who usually does it."""
    return next(key for key, (_, kinds) in _WHO.items() if what in kinds)


def _by_date(item: DueItem, at: datetime) -> Group:
    key = date_key(item, at)
    return Group(key, DATES[key], list(DATES).index(key))


def _by_part(item: DueItem, at: datetime) -> Group:
    if item.part not in PartOfSystem.values:
        return Group("elsewhere", "Elsewhere", len(_PARTS))
    part = PartOfSystem(item.part)
    return Group(part.value, str(part.label), _PARTS.index(part))


def _by_who(item: DueItem, at: datetime) -> Group:
    key = who_key(item.what)
    return Group(key, _WHO[key][0], list(_WHO).index(key))


def _unparted(item: DueItem, at: datetime) -> Group:
    return Group("all", "", 0)


_PARTED: Final[Mapping[str, Callable[[DueItem, datetime], Group]]] = {
    BY_DATE: _by_date,
    BY_PART: _by_part,
    BY_WHO: _by_who,
    UNPARTED: _unparted,
}


def group_of(item: DueItem, at: datetime, by: str) -> Group:
    """Return the part of the list an item stands in."""
    return _PARTED[by](item, at)


NEXT_7_DAYS: Final = "next-7"
_WITHIN: Final[Mapping[str, timedelta]] = {
    "next-3": timedelta(days=3),
    NEXT_7_DAYS: timedelta(days=7),
    "next-30": timedelta(days=30),
}
WHEN_CHOICES: Final = [
    ("overdue", "Overdue"),
    ("now", "Due now"),
    ("next-3", "Within 3 days"),
    (NEXT_7_DAYS, "Within 7 days"),
    ("next-30", "Within 30 days"),
    ("later", "Later"),
]


def is_when(item: DueItem, at: datetime, when: str) -> bool:
    """Tell whether an item falls due when a filter says: within so many days of 24 hours, as the fleet board counts."""
    key = date_key(item, at)
    if when in ("overdue", "now"):
        return key == when
    due_at = item.due.due_at if item.due else None
    is_ahead = due_at is not None and item.state in (State.IN_DATE, State.DUE_SOON)
    if due_at is None or not is_ahead:
        return False
    return due_at >= at + _WITHIN["next-30"] if when == "later" else due_at < at + _WITHIN[when]
