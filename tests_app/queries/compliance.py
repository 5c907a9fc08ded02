"""Sums over a rig's past: how long anything was not met, what was worst, gaps that are alike."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from calcs.conditions import NOT_MET, Condition, in_utc
from tests_app.queries.courses import Gap
from tests_app.queries.past import Past

Stretch = tuple[datetime, datetime]


def together(stretches: Iterable[Stretch]) -> list[Stretch]:
    """Return stretches of time with those that overlap or touch made one, in order.

    >>> hour = [datetime(2026, 3, 1, n) for n in range(5)]
    >>> [(a.hour, b.hour) for a, b in together([(hour[2], hour[4]), (hour[0], hour[1]), (hour[1], hour[3])])]
    [(0, 4)]
    """
    found: list[Stretch] = []
    for begin, end in sorted(stretches):
        if found and begin <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((begin, end))
    return found


@dataclass(frozen=True, slots=True)
class Totals:
    """A rig's past in figures.

    Attributes:
        requirements: how many were asked.
        not_met: how many of them were not met at some time.
        gaps: how many times, all together.
        overdue: the time in which anything was overdue.
        open: the time in which anything was open since an event.
        deferred: how many times something was past its date and deferred.
        unknown: how many could not be worked out for some time.
        longest: the longest gap, cut to the window.
    """

    requirements: int
    not_met: int
    gaps: int
    overdue: timedelta
    open: timedelta
    deferred: int
    unknown: int
    longest: Gap | None


def totals_of(past: Past) -> Totals:
    """Return a rig's past in figures."""
    since, until = past.since, past.until
    counted = past.exceeded
    unknown = [
        course
        for course in past.courses
        if any(span.condition is Condition.UNKNOWN and _reaches(span.end, since) for span in course.spans)
    ]
    return Totals(
        requirements=len(past.courses),
        not_met=sum(any(gap.exceedance.counted for gap in course.gaps) for course in past.courses),
        gaps=len(counted),
        overdue=_length(stretches(past, Condition.OVERDUE)),
        open=_length(stretches(past, Condition.OPEN)),
        deferred=len(past.gaps) - len(counted),
        unknown=len(unknown),
        longest=max(counted, key=lambda gap: gap.exceedance.length(since, until), default=None),
    )


def _reaches(end: datetime | None, since: datetime) -> bool:
    return end is None or in_utc(end) > in_utc(since)


def stretches(past: Past, *conditions: Condition) -> list[Stretch]:
    """Return when any requirement stood in one of the conditions within the window, those that overlap made one."""
    wanted = frozenset(conditions or NOT_MET)
    found = []
    for span in (span for course in past.courses for span in course.spans):
        if span.condition in wanted:
            begin = max(in_utc(span.begin), in_utc(past.since))
            end = in_utc(past.until) if span.end is None else min(in_utc(span.end), in_utc(past.until))
            if begin < end:
                found.append((begin, end))
    return together(found)


def _length(found: Iterable[Stretch]) -> timedelta:
    return sum((end - begin for begin, end in found), timedelta())


def alike(gaps: Sequence[Gap]) -> list[tuple[Gap, ...]]:
    """Return gaps in groups that were the same thing on several elements: one test left out leaves many."""
    groups: dict[tuple[object, ...], list[Gap]] = {}
    for gap in gaps:
        one = gap.exceedance
        key = (gap.what, one.condition, in_utc(one.begin), one.end and in_utc(one.end), one.why, one.ended)
        groups.setdefault(key, []).append(gap)
    return [tuple(group) for group in groups.values()]
