"""Which one stage an obligation is told by, however many things hold of it at once."""

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from calcs.alert_stages import StagePlan
from calcs.recurrence import Due, EventKind, State
from tests.builders_alerts import DAY, DUE, HOUR
from tests_app.models import Closing, Notice, Obligation, Record, What
from tests_app.queries.due_items import DueItem
from tests_app.queries.stages_reached import closed_because, headline, stage_of

ZONE = ZoneInfo("America/Chicago")
FAILED = Record(pk=7)


def item(state: State, due_at: datetime | None = DUE, *, since: datetime | None = None, **facts: Any) -> DueItem:
    due = Due(due_at, None, state, since, EventKind.INSTALLED if since else None, "Because.")
    return DueItem(key="pressure-test/installation-1", what=What.PRESSURE, subject="Ram", zone=ZONE, due=due, **facts)


def told(found: DueItem, at: datetime = DUE, **row: Any) -> tuple[str, str] | None:
    reached = stage_of(found, Obligation(**row), at=at, plan=StagePlan(), zone=ZONE)
    return (reached.stage.key, reached.occasion) if reached else None


@pytest.mark.parametrize(
    ("found", "row", "at", "stage"),
    [
        (item(State.IN_DATE), {}, DUE - 4 * DAY, None),
        (item(State.DUE_SOON), {}, DUE - DAY, "before-24h"),
        (item(State.OVERDUE), {}, DUE + HOUR, "overdue"),
        (item(State.OVERDUE, failed_record=FAILED), {}, DUE + DAY, "overdue-day-1"),
        (item(State.DUE_SOON, failed_record=FAILED), {}, DUE - DAY, "not-passed"),
        (item(State.IN_DATE, failed_record=FAILED), {}, DUE - 9 * DAY, "not-passed"),
        (item(State.IN_PROGRESS), {}, DUE + DAY, None),
        (item(State.OUT_OF_SERVICE, None), {}, DUE, None),
        (item(State.DUE_NOW, DUE, since=DUE, last_tested_at=DUE - DAY), {}, DUE + 9 * DAY, "due-now"),
        (item(State.DUE_NOW, DUE, since=DUE - DAY), {"stood_too_long_from": DUE + DAY}, DUE, "due-now"),
        (item(State.DUE_NOW, DUE, since=DUE - DAY), {"stood_too_long_from": DUE}, DUE + 2 * DAY, "overdue-day-2"),
        (item(State.IN_DATE, error="No interval."), {}, DUE, "unknown"),
    ],
)
def test_the_most_pressing_stage_is_the_one_told(found: DueItem, row: dict[str, Any], at: datetime, stage: str | None):
    reached = told(found, at, **row)
    assert (reached[0] if reached else None) == stage


def test_what_was_never_tested_and_counts_from_nothing_is_one_occasion_whenever_it_is_asked():
    """Its date is the moment it is asked for: as an occasion it would be a new alert each minute."""
    occasions = {
        told(item(State.DUE_NOW, DUE + timedelta(minutes=minute)), DUE + timedelta(minutes=minute))
        for minute in range(5)
    }
    assert occasions == {("due-now", "never")}


def test_another_error_or_another_failed_test_is_another_occasion():
    assert told(item(State.IN_DATE, error="No interval.")) != told(item(State.IN_DATE, error="No rules."))
    before = DUE - DAY
    first, second = (item(State.IN_DATE, failed_record=one) for one in (FAILED, Record(pk=8)))
    assert told(first, before) != told(second, before)


@pytest.mark.parametrize(
    ("found", "row", "told_else", "why"),
    [
        (item(State.IN_DATE, DUE + 14 * DAY), {}, False, Closing.RENEWED),
        (item(State.IN_DATE, DUE + 14 * DAY), {}, True, Closing.RENEWED),
        (item(State.IN_DATE, DUE + 9 * DAY), {"original_due_at": DUE}, False, Closing.DEFERRED),
        (item(State.IN_PROGRESS), {}, False, Closing.BEGUN),
        (item(State.OUT_OF_SERVICE, None), {}, False, Closing.OUT_OF_SERVICE),
        (item(State.DUE_SOON, DUE - DAY), {}, False, Closing.MOVED),
        (item(State.OVERDUE), {}, True, Closing.OVERTAKEN),
    ],
)
def test_a_closed_notice_says_why(found: DueItem, row: dict[str, Any], told_else: bool, why: Closing):
    assert closed_because(Notice(due_at=DUE), Obligation(**row), found, told_else=told_else) == why


def test_a_headline_names_the_stage_what_is_to_be_done_and_on_what():
    row = Obligation(what=What.PRESSURE, subject="Upper pipe ram", subject_detail="Pipe ram PR-4471")
    assert headline("overdue-day-2", row) == "Overdue for 2 days: pressure test, Upper pipe ram (Pipe ram PR-4471)"
