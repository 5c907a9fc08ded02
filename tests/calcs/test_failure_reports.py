"""What is reported after a failure, and by when: on the rig's clock, by the figures of the edition."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from calcs.failure_reports import reports_due
from calcs.rules import Confidence
from tests_app import rulebook

CHICAGO = ZoneInfo("America/Chicago")
FOUND = datetime(2026, 3, 2, 3, tzinfo=UTC)
"""Still the evening of 1 March on the rig's clock."""
NOTICE, BEGUN, ENDED = "ocs-failure", "ocs-failure-analysis", "ocs-failure-analysis-ended"


def dues(done=None, edition="us-ocs", found_at=FOUND, zone=CHICAGO):
    asked = reports_due(rulebook.edition(edition), found_at=found_at, done=done or {}, zone=zone)
    return {one.rule.id: one for one in asked}


@pytest.mark.parametrize(
    ("rule", "due", "confidence"),
    [
        # 30 CFR 250.730(c): 90 days read by report (2023 rule), 30 days from memory.
        (NOTICE, "2026-04-01T00:00:00-05:00", Confidence.MEMORY),
        (BEGUN, "2026-05-31T00:00:00-05:00", Confidence.READ_2),
    ],
)
def test_days_count_from_the_discovery_and_end_with_the_day_on_the_rigs_clock(rule, due, confidence):
    one = dues()[rule]
    assert one.due_at.isoformat() == due
    assert one.trigger.source.confidence is confidence
    assert one.trigger.source.clause == "30 CFR 250.730(c)"


def test_the_end_of_the_analysis_has_a_date_once_it_has_begun():
    assert dues()[ENDED].due_at is None
    begun = datetime(2026, 3, 10, 15, tzinfo=UTC)
    ended = dues({BEGUN: begun})[ENDED]
    assert ended.counts_from == begun
    assert ended.due_at.isoformat() == "2026-07-09T00:00:00-05:00"
    assert ended.trigger.source.confidence is Confidence.MEMORY_LOW


def test_what_was_done_is_told_in_time_or_late():
    early, late = datetime(2026, 4, 1, 4, tzinfo=UTC), datetime(2026, 4, 1, 5, tzinfo=UTC)
    assert dues({NOTICE: early})[NOTICE].in_time is True
    assert dues({NOTICE: late})[NOTICE].in_time is False
    assert dues()[NOTICE].in_time is None


def test_what_is_open_is_late_once_its_time_has_run_out():
    open_one, done = dues()[NOTICE], dues({NOTICE: FOUND})[NOTICE]
    assert not open_one.is_late(FOUND)
    assert open_one.is_late(open_one.due_at)
    assert not done.is_late(open_one.due_at)


def test_an_edition_that_gives_no_time_gives_no_date():
    assert dues(edition="api53-4")["a4-failure"].due_at is None


def test_an_edition_that_asks_nothing_has_nothing():
    assert dues(edition="us-blm") == {}
