"""When somebody is told of a deadline: stages, quiet hours, the hour of the digest, the wait before another try.

All on the rig's own clock, days of 23 and 25 hours included; the clock is never read here. Stages, quiet hours and
waits are choices of a rig or of ours, no rule asks for them (common practice).
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from calcs.errors import InputError
from calcs.moments import localise

OVERDUE: Final = "overdue"
"""The stage of the due date itself."""
DUE_NOW: Final = "due-now"
"""Due at once since an event, or never tested: it has no days before."""
NOT_PASSED: Final = "not-passed"
"""The last test did not pass."""
UNKNOWN: Final = "unknown"
"""The date can't be worked out, which is worse than overdue."""

LONGEST_BEFORE_HOURS: Final = 90 * 24
MOST_STAGES: Final = 6
_HOURS_A_DAY: Final = 24
_FEW_HOURS: Final = 48


@dataclass(frozen=True, slots=True)
class StagePlan:
    """The stages a rig chose: hours before the due date, and whether each day overdue is one.

    The due date itself is a stage always. Hours are kept once each, the earliest stage first.
    """

    hours_before: tuple[int, ...] = (72, 24)
    each_day_overdue: bool = True

    def __post_init__(self) -> None:
        """Refuse stages that are none, and more than anybody would read."""
        hours = tuple(sorted(set(self.hours_before), reverse=True))
        if any(not 1 <= one <= LONGEST_BEFORE_HOURS for one in hours):
            raise InputError(
                "hours_before", "A stage lies 1 hour to 90 days before the due date.", "Give for instance 3 d, 24 h."
            )
        if len(hours) > MOST_STAGES:
            raise InputError("hours_before", f"More than {MOST_STAGES} stages are not read.", "Leave some out.")
        object.__setattr__(self, "hours_before", hours)

    @property
    def longest_before(self) -> dt.timedelta:
        """Return how long before a due date the first stage lies."""
        return dt.timedelta(hours=max(self.hours_before, default=0))


@dataclass(frozen=True, slots=True)
class Stage:
    """A stage that was reached.

    Attributes:
        key: ``before-72h``, ``overdue``, ``overdue-day-3``, or one of the keys without a date.
        hours_past: from the due date to the stage, days counted as 24 hours; negative before it. Orders stages.
        at: the moment it was reached.
    """

    key: str
    hours_past: int
    at: dt.datetime


def latest_stage(due_at: dt.datetime, *, at: dt.datetime, plan: StagePlan, zone: ZoneInfo) -> Stage | None:
    """Return the most pressing stage reached at `at`, or None before the first.

    Hours before the due date are hours that pass; each day overdue begins at the clock time of the due date, days of
    23 and 25 hours included.

    >>> oslo = ZoneInfo("Europe/Oslo")
    >>> due_at = dt.datetime(2026, 3, 28, 0, 0, tzinfo=oslo)
    >>> latest_stage(due_at, at=dt.datetime(2026, 3, 30, 0, 0, tzinfo=oslo), plan=StagePlan(), zone=oslo).key
    'overdue-day-2'
    """
    now, due = at.astimezone(dt.UTC), due_at.astimezone(dt.UTC)
    if now < due:
        reached = [hours for hours in plan.hours_before if due - dt.timedelta(hours=hours) <= now]
        if not reached:
            return None
        nearest = min(reached)
        return Stage(f"before-{nearest}h", -nearest, due - dt.timedelta(hours=nearest))
    days = _days_over(due_at, now, zone) if plan.each_day_overdue else 0
    return _overdue(due_at, days, zone)


def _overdue(due_at: dt.datetime, days: int, zone: ZoneInfo) -> Stage:
    if not days:
        return Stage(OVERDUE, 0, due_at.astimezone(dt.UTC))
    return Stage(f"{OVERDUE}-day-{days}", days * _HOURS_A_DAY, _days_later(due_at, days, zone).astimezone(dt.UTC))


def _days_later(due_at: dt.datetime, days: int, zone: ZoneInfo) -> dt.datetime:
    wall = due_at.astimezone(zone).replace(tzinfo=None)
    return localise(wall + dt.timedelta(days=days), zone)


def _days_over(due_at: dt.datetime, now: dt.datetime, zone: ZoneInfo) -> int:
    days = (now.astimezone(zone).date() - due_at.astimezone(zone).date()).days
    return days if days <= 0 or _days_later(due_at, days, zone).astimezone(dt.UTC) <= now else days - 1


def next_stage_at(due_at: dt.datetime, *, at: dt.datetime, plan: StagePlan, zone: ZoneInfo) -> dt.datetime | None:
    """Return when the next stage after `at` is reached, in UTC, or None when there is none.

    >>> due_at = dt.datetime(2026, 5, 20, tzinfo=dt.UTC)
    >>> next_stage_at(due_at, at=dt.datetime(2026, 5, 18, tzinfo=dt.UTC), plan=StagePlan(), zone=ZoneInfo("UTC"))
    datetime.datetime(2026, 5, 19, 0, 0, tzinfo=datetime.timezone.utc)
    """
    now, due = at.astimezone(dt.UTC), due_at.astimezone(dt.UTC)
    if now < due:
        coming = [due - dt.timedelta(hours=hours) for hours in plan.hours_before]
        return min((moment for moment in [*coming, due] if moment > now), default=due)
    if not plan.each_day_overdue:
        return None
    return _days_later(due_at, _days_over(due_at, now, zone) + 1, zone).astimezone(dt.UTC)


def passed_over(stage: Stage, *, after: int | None, plan: StagePlan) -> tuple[str, ...]:
    """Return the stages between the last one told (`after`, its hours past; None for none) and this, as said in words.

    Whole days overdue are one part, so that a year's outage stays one line.

    >>> stage = Stage("overdue-day-3", 72, dt.datetime(2026, 5, 20, tzinfo=dt.UTC))
    >>> passed_over(stage, after=-72, plan=StagePlan())
    ('24 hours before', 'due date', 'overdue for 1 day', 'overdue for 2 days')
    """
    lowest = after if after is not None else -LONGEST_BEFORE_HOURS - 1
    before = [-hours for hours in plan.hours_before if lowest < -hours < stage.hours_past]
    said = [_before_words(-hours) for hours in before]
    if lowest < 0 < stage.hours_past:
        said.append("due date")
    days = range(max(lowest, 0) // _HOURS_A_DAY + 1, max(stage.hours_past, 0) // _HOURS_A_DAY)
    return (*said, *_days_words(days))


_LISTED_DAYS: Final = 3


def _days_words(days: Sequence[int]) -> list[str]:
    if len(days) <= _LISTED_DAYS:
        return [f"overdue for {_count(day, 'day')}" for day in days]
    return [f"overdue for {days[0]} to {_count(days[-1], 'day')}"]


def stage_words(key: str) -> str:
    """Return a stage in words.

    >>> stage_words("before-72h"), stage_words("before-24h"), stage_words("overdue-day-2")
    ('3 days before', '24 hours before', 'Overdue for 2 days')
    """
    if key.startswith("before-"):
        return _before_words(int(key.removeprefix("before-").removesuffix("h")))
    if key.startswith(f"{OVERDUE}-day-"):
        return f"Overdue for {_count(int(key.rpartition('-')[2]), 'day')}"
    return {
        OVERDUE: "Overdue",
        DUE_NOW: "Due now",
        NOT_PASSED: "Last test not passed",
        UNKNOWN: "Cannot be worked out",
    }[key]


def _before_words(hours: int) -> str:
    if hours >= _FEW_HOURS and not hours % _HOURS_A_DAY:
        return f"{_count(hours // _HOURS_A_DAY, 'day')} before"
    return f"{_count(hours, 'hour')} before"


def _count(number: int, unit: str) -> str:
    return f"{number} {unit}" if number == 1 else f"{number} {unit}s"


def is_urgent(key: str) -> bool:
    """Tell whether a stage may break quiet hours: all but those ahead of the due date."""
    return not key.startswith("before-")


@dataclass(frozen=True, slots=True)
class QuietHours:
    """Hours of each local day in which nothing that can wait is sent; they may run over midnight."""

    begins: dt.time
    ends: dt.time

    def __post_init__(self) -> None:
        """Refuse hours that end where they begin: nothing, or the whole day?"""
        if self.begins == self.ends:
            raise InputError(
                "quiet_until", "Quiet hours end when they begin.", "Give another end, or leave both empty."
            )

    def hold(self, local: dt.time) -> bool:
        """Tell whether a local clock time lies in them; their end does not."""
        if self.begins < self.ends:
            return self.begins <= local < self.ends
        return local >= self.begins or local < self.ends


def sending_moment(at: dt.datetime, quiet: QuietHours | None, zone: ZoneInfo) -> dt.datetime:
    """Return when something may be sent that is ready at `at`: at once, or when the quiet hours end. In UTC.

    >>> chicago = ZoneInfo("America/Chicago")
    >>> quiet = QuietHours(dt.time(22), dt.time(6))
    >>> sending_moment(dt.datetime(2026, 3, 7, 23, 0, tzinfo=chicago), quiet, chicago).astimezone(chicago).isoformat()
    '2026-03-08T06:00:00-05:00'
    """
    now = at.astimezone(dt.UTC)
    local = now.astimezone(zone)
    if quiet is None or not quiet.hold(local.time()):
        return now
    over_midnight = quiet.begins > quiet.ends and local.time() >= quiet.begins
    day = local.date() + dt.timedelta(days=1 if over_midnight else 0)
    ends = localise(dt.datetime.combine(day, quiet.ends), zone).astimezone(dt.UTC)
    # Where clocks go back the end comes by twice; the first time counts.
    return max(now, ends)


def digest_day(at: dt.datetime, digest_at: dt.time, zone: ZoneInfo) -> dt.date | None:
    """Return the local day whose digest is owed at `at`: today once its hour has come, else None.

    A day that was missed as a whole is not made up for: the next digest says how all stands.
    """
    day = at.astimezone(zone).date()
    return day if at.astimezone(dt.UTC) >= digest_moment(day, digest_at, zone) else None


def digest_moment(day: dt.date, digest_at: dt.time, zone: ZoneInfo) -> dt.datetime:
    """Return the moment of a day's digest in UTC; an hour that daylight saving skips comes right after the skip."""
    return localise(dt.datetime.combine(day, digest_at), zone).astimezone(dt.UTC)


MOST_TRIES: Final = 30
"""Tries of one message, about a day of them."""
_LONGEST_WAIT: Final = dt.timedelta(hours=1)


def wait_after(tries: int) -> dt.timedelta | None:
    """Return how long to wait after so many tries that failed, or None when to give up.

    A minute, doubled each time, an hour at most: a link that is down over night is waited for.

    >>> [wait_after(tries).total_seconds() / 60 for tries in (1, 2, 6, 7, 8)]
    [1.0, 2.0, 32.0, 60.0, 60.0]
    """
    if tries >= MOST_TRIES:
        return None
    return min(dt.timedelta(minutes=2 ** max(tries - 1, 0)), _LONGEST_WAIT)
