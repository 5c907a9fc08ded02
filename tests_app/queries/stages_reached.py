"""Which of a rig's obligations are near enough to be told of, and which stage each has reached."""

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from calcs.alert_stages import DUE_NOW, NOT_PASSED, UNKNOWN, Stage, StagePlan, latest_stage, stage_words
from calcs.recurrence import Due, State
from equipment.models import Rig
from tests_app.models import Closing, Notice, Obligation
from tests_app.queries.due_items import CANNOT_BE_WORKED_OUT, NEVER_TESTED, DueItem

_AT_ONCE: Final = frozenset({NEVER_TESTED, State.DUE_NOW.value})
_SILENT: Final = frozenset({State.IN_PROGRESS.value, State.OUT_OF_SERVICE.value})


@dataclass(frozen=True)
class Reached:
    """A stage one obligation stands at.

    Attributes:
        stage: the stage.
        occasion: what it counts to, the same for all stages of one due date.
        due_at: the date, where there is one.
    """

    stage: Stage
    occasion: str
    due_at: datetime | None


def near(rig: Rig, *, at: datetime, within: timedelta, keys: frozenset[str] = frozenset()) -> QuerySet[Obligation]:
    """Return the obligations that can have reached a stage by `at`, and those named; the rest is not read."""
    pressing = (
        Q(due_at__lte=at + within)
        | Q(due_at=None, out_of_service=False)
        | ~Q(error="")
        | Q(failed_record__isnull=False)
        | ~Q(out_of_tolerance="")
        | Q(stood_too_long_from__lte=at)
    )
    return Obligation.objects.filter(rig=rig).filter(pressing | Q(key__in=keys))


def stage_of(item: DueItem, obligation: Obligation, *, at: datetime, plan: StagePlan, zone: ZoneInfo) -> Reached | None:
    """Return the most pressing stage an obligation stands at, None where there is nothing to tell.

    One, so that one valve is one line: what is overdue and did not pass its last test is told as overdue.
    """
    if item.state == CANNOT_BE_WORKED_OUT:
        return Reached(Stage(UNKNOWN, 0, at), f"error-{_mark_of(item.error)}", None)
    due_at = item.due.due_at if item.due else None
    if item.due is None or due_at is None or item.state in _SILENT:
        return None
    if item.state in _AT_ONCE:
        return _at_once(item.due, obligation, at=at, plan=plan, zone=zone)
    by_date = _by_date(due_at, at=at, plan=plan, zone=zone)
    if by_date is not None and by_date.stage.hours_past >= 0:
        return by_date
    return _not_passed(item, obligation, due_at, at) or by_date


def _at_once(due: Due, obligation: Obligation, *, at: datetime, plan: StagePlan, zone: ZoneInfo) -> Reached:
    too_long = obligation.stood_too_long_from
    overdue = _by_date(too_long, at=at, plan=plan, zone=zone) if too_long is not None and too_long <= at else None
    if overdue is not None:
        return overdue
    since = due.counts_from
    # Without an event it counts from, its date is the moment it is asked for, another one each time.
    return Reached(Stage(DUE_NOW, 0, since or at), _occasion("since", since) if since else "never", since)


def _by_date(due_at: datetime, *, at: datetime, plan: StagePlan, zone: ZoneInfo) -> Reached | None:
    stage = latest_stage(due_at, at=at, plan=plan, zone=zone)
    return Reached(stage, _occasion("due", due_at), due_at) if stage else None


def _not_passed(item: DueItem, obligation: Obligation, due_at: datetime, at: datetime) -> Reached | None:
    stage = Stage(NOT_PASSED, 0, at)
    if item.failed_record is not None:
        return Reached(stage, f"record-{item.failed_record.pk}", due_at)
    if obligation.out_of_tolerance:
        return Reached(stage, f"tolerance-{_mark_of(obligation.out_of_tolerance)}", due_at)
    return None


def _occasion(word: str, moment: datetime) -> str:
    return f"{word}-{moment.astimezone(UTC).isoformat(timespec='seconds')}"


def _mark_of(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def closed_because(
    notice: Notice, obligation: Obligation | None, item: DueItem | None, *, told_else: bool = False
) -> Closing:
    """Return why a notice has nothing to say any more, from how its obligation stands now.

    `told_else` tells that another stage of it holds, by which it is told.
    """
    if obligation is None or item is None:
        return Closing.GONE
    if item.state == State.IN_PROGRESS:
        return Closing.BEGUN
    if item.state == State.OUT_OF_SERVICE:
        return Closing.OUT_OF_SERVICE
    if obligation.original_due_at is not None:
        return Closing.DEFERRED
    later = item.due.due_at if item.due else None
    was = notice.due_at
    if told_else and (later is None or was is None or later <= was):
        return Closing.OVERTAKEN
    return Closing.RENEWED if later is None or was is None or later > was else Closing.MOVED


def headline(stage: str, obligation: Obligation) -> str:
    """Return a notice in one line: the stage, what has to be done, on what."""
    on = f"{obligation.subject} ({obligation.subject_detail})" if obligation.subject_detail else obligation.subject
    return f"{stage_words(stage)}: {obligation.get_what_display().lower()}, {on}"[:300]
