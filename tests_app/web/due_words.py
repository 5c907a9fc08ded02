"""When something is due, in words on the rig's clock: a deadline at midnight is 24:00 of its last day."""

from datetime import datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from accounts.presentation import date_text, zone_label
from calcs.recurrence import State
from tests_app.queries.due_list import CANNOT_BE_WORKED_OUT, NOT_PASSED, DueItem

STATE_KEYS: Final = {
    CANNOT_BE_WORKED_OUT: "unknown",
    State.OVERDUE: "overdue",
    NOT_PASSED: "not-passed",
    State.DUE_NOW: "due-now",
    State.DUE_SOON: "due-soon",
    State.IN_PROGRESS: "in-progress",
    State.IN_DATE: "in-date",
    State.OUT_OF_SERVICE: "out-of-service",
}
"""Key of the state mark for each state of the due list."""

_WORDS: Final = {
    CANNOT_BE_WORKED_OUT: "Cannot be worked out",
    State.OVERDUE: "Overdue",
    NOT_PASSED: "Last test not passed",
    State.DUE_NOW: "Due now",
    State.DUE_SOON: "Due soon",
    State.IN_PROGRESS: "Test in progress",
    State.IN_DATE: "In date",
    State.OUT_OF_SERVICE: "Out of service",
}
STATE_CHOICES: Final = [(str(key), words) for key, words in _WORDS.items()]
"""Every state, for a filter."""

_HOUR: Final = timedelta(hours=1)
_DAY: Final = timedelta(days=1)
_FEW_HOURS: Final = timedelta(hours=48)


def deadline_text(moment: datetime, zone: ZoneInfo) -> str:
    """Return a deadline; the midnight that ends a day is written as that day's 24:00.

    >>> chicago = ZoneInfo("America/Chicago")
    >>> deadline_text(datetime(2026, 3, 16, tzinfo=chicago), chicago)
    '15 Mar 2026, 24:00 UTC−5'
    """
    local = moment.astimezone(zone)
    if local.time() == time():
        last_day = local.replace(tzinfo=None) - _DAY
        return f"{date_text(last_day)}, 24:00 {zone_label(local)}"
    return f"{date_text(local)}, {local:%H:%M} {zone_label(local)}"


def distance_text(moment: datetime, at: datetime) -> str:
    """Return how far a deadline is away, in words: ``in 3 days``, ``2 hours ago``."""
    gap = abs(moment - at)
    count, unit = (gap // _HOUR, "hour") if gap < _FEW_HOURS else (gap // _DAY, "day")
    words = f"{count} {unit}" if count == 1 else f"{count} {unit}s"
    words = words if count else "less than an hour"
    return f"in {words}" if moment > at else f"{words} ago"


def state_words(item: DueItem, at: datetime) -> str:
    """Return the state of an item in words, with how far over or how near it is."""
    state, due_at = item.state, item.due.due_at if item.due else None
    if state == State.OVERDUE and due_at:
        overdue = f"Overdue by {distance_text(due_at, at).removesuffix(' ago')}"
        return f"{overdue}, last test not passed" if item.failed_record else overdue
    if state == State.DUE_SOON and due_at:
        return f"Due {distance_text(due_at, at)}"
    return _WORDS[state]
