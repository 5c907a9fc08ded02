"""When one obligation falls due: what a deferral moves, and what a postponement leaves standing."""

from datetime import datetime, timedelta
from typing import Final

from calcs.recurrence import Due, Interval
from calcs.rules import ExemptRule
from equipment.models import Rig
from tests_app import rulebook
from tests_app.models import What
from tests_app.queries.due_items import DueItem
from tests_app.queries.due_list import due_list
from tests_app.queries.owed import Owed


def due_item(rig: Rig, key: str, *, at: datetime) -> DueItem | None:
    """Return the row of the due list with that key; None where nothing of it is due."""
    return next((item for item in due_list(rig, at=at) if item.key == key), None)


def original_of(due: Due | None) -> datetime | None:
    """Return when it fell due before any deferral."""
    return None if due is None else due.original_due_at or due.due_at


def interval_of(owed: Owed, item: DueItem | None) -> Interval | None:
    """Return how often the rules ask for it, by the rule it is listed by; None where only events or papers do."""
    recurs = owed.rule.recurs if owed.rule else None
    if item is not None and item.rule_id:
        edition = rulebook.edition(item.edition)
        listed = (rule for rule in (*edition.rules, *edition.schedule_rules) if rule.id == item.rule_id)
        recurs = next((rule.recurs for rule in listed if not isinstance(rule, ExemptRule) and rule.recurs), recurs)
    return recurs.interval if recurs else None


def is_test(what: What) -> bool:
    """Tell whether it is a test: what clauses on tests that may wait are about."""
    return what in (What.PRESSURE, What.FUNCTION, What.DRAWDOWN, What.PUMP, What.CASING)


LONGEST: Final = timedelta(days=366)
"""No deferral moves a date by more."""


def longest_wait(owed: Owed, item: DueItem | None) -> timedelta:
    """Return how long a deferral may let it wait beyond its date: one interval, and no longer than a year.

    Whoever needs longer changes the rule, not the date (common practice).
    """
    interval = interval_of(owed, item)
    return LONGEST if interval is None else min(timedelta(days=interval.roughly_days), LONGEST)
