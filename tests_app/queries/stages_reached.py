"""Which of a rig's obligations are near enough to be told of, and which stage each has reached."""

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from calcs.alert_stages import DUE_NOW, NOT_PASSED, UNKNOWN, Stage, StagePlan, latest_stage, stage_words
from calcs.recurrence import State
from equipment.models import Rig
from tests_app.models import Closing, Notice, Obligation
from tests_app.queries.due_items import CANNOT_BE_WORKED_OUT, NEVER_TESTED, DueItem

_AT_ONCE: Final = frozenset({NEVER_TESTED, State.DUE_NOW.value})
_BY_DATE: Final = frozenset({State.OVERDUE.value, State.DUE_SOON.value, State.IN_DATE.value, "not-passed"})


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


def stages_of(item: DueItem, obligation: Obligation, *, at: datetime, plan: StagePlan, zone: ZoneInfo) -> list[Reached]:
    """Return the stages an obligation stands at: by its date, and for a test not passed beside it."""
    state = str(item.state)
    if state == CANNOT_BE_WORKED_OUT:
        return [Reached(Stage(UNKNOWN, 0, at), f"error-{_mark_of(item.error)}", None)]
    due_at = item.due.due_at if item.due else None
    if due_at is None or state in (State.OUT_OF_SERVICE, State.IN_PROGRESS):
        return []
    found = []
    if state in _AT_ONCE:
        since = item.due.counts_from if item.due else None
        # Without an event it counts from, its date is the moment it is asked for, another one each time.
        occasion = _occasion("since", since) if since else "never"
        found.append(Reached(Stage(DUE_NOW, 0, due_at), occasion, since))
        if obligation.stood_too_long_from is not None:
            found += _by_date(obligation.stood_too_long_from, at=at, plan=plan, zone=zone, only_past=True)
    elif state in _BY_DATE:
        found += _by_date(due_at, at=at, plan=plan, zone=zone)
    return [*found, *_not_passed(item, obligation, due_at, at)]


def _by_date(
    due_at: datetime, *, at: datetime, plan: StagePlan, zone: ZoneInfo, only_past: bool = False
) -> list[Reached]:
    stage = latest_stage(due_at, at=at, plan=plan, zone=zone)
    if stage is None or (only_past and stage.hours_past < 0):
        return []
    return [Reached(stage, _occasion("due", due_at), due_at)]


def _not_passed(item: DueItem, obligation: Obligation, due_at: datetime, at: datetime) -> list[Reached]:
    stage = Stage(NOT_PASSED, 0, at)
    if item.failed_record is not None:
        return [Reached(stage, f"record-{item.failed_record.pk}", due_at)]
    if obligation.out_of_tolerance:
        return [Reached(stage, f"tolerance-{_mark_of(obligation.out_of_tolerance)}", due_at)]
    return []


def _occasion(word: str, moment: datetime) -> str:
    return f"{word}-{moment.astimezone(UTC).isoformat(timespec='seconds')}"


def _mark_of(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def closed_because(notice: Notice, obligation: Obligation | None, item: DueItem | None) -> Closing:
    """Return why a notice has nothing to say any more, from how its obligation stands now."""
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
    return Closing.RENEWED if later is None or was is None or later > was else Closing.MOVED


def headline(stage: str, obligation: Obligation) -> str:
    """Return a notice in one line: the stage, what has to be done, on what."""
    on = f"{obligation.subject} ({obligation.subject_detail})" if obligation.subject_detail else obligation.subject
    return f"{stage_words(stage)}: {obligation.get_what_display().lower()}, {on}"[:300]
