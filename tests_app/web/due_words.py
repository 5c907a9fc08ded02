"""When something is due, in words on the rig's clock: a deadline at midnight is the end of its last day."""

from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from calcs.recurrence import State, limit_words, moment_words
from tests_app.queries.deriving.derived import doing_of
from tests_app.queries.due_items import CANNOT_BE_WORKED_OUT, NEVER_TESTED, NOT_PASSED, DueItem, What

STATE_KEYS: Final = {
    CANNOT_BE_WORKED_OUT: "unknown",
    State.OVERDUE: "overdue",
    NOT_PASSED: "not-passed",
    NEVER_TESTED: "not-proven",
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
    NEVER_TESTED: "Never tested",
    State.DUE_NOW: "Due now",
    State.DUE_SOON: "Due soon",
    State.IN_PROGRESS: "Test in progress",
    State.IN_DATE: "In date",
    State.OUT_OF_SERVICE: "Out of service",
}
WAITING: Final = "Waiting for signatures"
STATE_CHOICES: Final = [(str(key), words) for key, words in _WORDS.items()]
"""Every state, for a filter."""

WHAT_WORDS: Final = {what: what.label for what in What}
WHAT_CHOICES: Final = [(str(key), words) for key, words in WHAT_WORDS.items()]
"""Everything that can be due, for a filter."""
_OF_READINGS: Final[dict[str, str]] = {NOT_PASSED: "Out of tolerance", State.DUE_NOW: "Due to be read"}
_PAPERS: Final = (What.SHELL, What.CALIBRATION, What.DOCUMENT, What.ELASTOMER)
_RAN_OUT: Final[dict[str, str]] = {State.OVERDUE: "Ran out", State.DUE_SOON: "Runs out"}

_HOUR: Final = timedelta(hours=1)
_DAY: Final = timedelta(days=1)
_FEW_HOURS: Final = timedelta(hours=48)


def deadline_text(moment: datetime, zone: ZoneInfo) -> str:
    """Return a deadline, which stands after the word before: ``midnight at the end of 15 Mar 2026, UTC−5``."""
    return limit_words(moment, zone)


def due_text(item: DueItem) -> str:
    """Return the date of an item: its deadline, or for what is due now the moment since when; empty without one."""
    if item.due is None or item.due.due_at is None:
        return ""
    zone = item.zone
    return (moment_words if item.due.state is State.DUE_NOW else limit_words)(item.due.due_at, zone)


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
    if item.what is What.PRECHARGE and state in _OF_READINGS:
        return _OF_READINGS[state]
    if item.what in _PAPERS and state in _RAN_OUT and due_at:
        return f"{_RAN_OUT[state]} {distance_text(due_at, at)}"
    if state == State.OVERDUE and due_at:
        overdue = f"Overdue by {distance_text(due_at, at).removesuffix(' ago')}"
        return f"{overdue}, last test not passed" if item.failed_record else overdue
    if state == NEVER_TESTED:
        since = item.installation.installed_at if item.installation else item.since
        never = doing_of(item.what).never
        return (
            f"{never}, {'installed' if item.installation else 'owed since'} {distance_text(since, at)}"
            if since
            else never
        )
    if state == State.IN_PROGRESS and item.draft is not None and item.draft.frozen_at is not None:
        return WAITING
    if state == State.DUE_SOON and due_at:
        return f"Due {distance_text(due_at, at)}"
    return _WORDS[state]
