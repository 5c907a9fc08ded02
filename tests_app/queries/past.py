"""What was so: how a rig stood at any moment, and every time a requirement was not met.

As known then, or as known now: a record signed late, a reading corrected or work entered weeks after changes what can
be shown of a day, not what was known on it. Both are asked for by an auditor, for different reasons.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Final

from calcs.conditions import NOT_MET, Condition, condition_of
from calcs.recurrence import Due
from equipment.models import Rig
from tests_app.queries.courses import Course, Gap, Turn, courses, in_window
from tests_app.queries.deriving import EVERYTHING, Derived, derive, derive_over_time
from tests_app.queries.turns import changes

_WORST_FIRST: Final = (
    Condition.OVERDUE,
    Condition.OPEN,
    Condition.UNKNOWN,
    Condition.DEFERRED,
    Condition.IN_PROGRESS,
    Condition.IN_DATE,
    Condition.OUT_OF_SERVICE,
)


@dataclass(frozen=True)
class Stood:
    """How one requirement stood at a moment.

    Attributes:
        derived: the requirement with its history.
        due: its date and state then; None where that can't be worked out.
        condition: how it stood.
    """

    derived: Derived
    due: Due | None
    condition: Condition

    @property
    def is_met(self) -> bool:
        """Tell whether it was met then; what can't be worked out is not shown to be."""
        return self.condition not in NOT_MET and self.condition is not Condition.UNKNOWN

    @property
    def rank(self) -> int:
        """Return the place among the worst."""
        return _WORST_FIRST.index(self.condition)

    @property
    def reason(self) -> str:
        """Return why, in words."""
        return self.due.reason if self.due is not None else self.derived.error


@dataclass(frozen=True)
class StoodAt:
    """How a rig stood at a moment, the worst first.

    Attributes:
        at: the moment.
        known_at: only what was on file by then counts; None for all that is on file now.
        rows: every requirement.
    """

    rig: Rig
    at: datetime
    known_at: datetime | None
    rows: tuple[Stood, ...]

    @cached_property
    def counts(self) -> Counter[Condition]:
        """Return how many requirements stood how."""
        return Counter(row.condition for row in self.rows)

    @property
    def not_met(self) -> int:
        """Return how many requirements were not met."""
        return sum(self.counts[condition] for condition in NOT_MET)

    @property
    def is_in_date(self) -> bool:
        """Tell whether everything was met, and something was asked at all."""
        return bool(self.rows) and all(row.is_met for row in self.rows)


def standing_at(rig: Rig, at: datetime, known_at: datetime | None = None) -> StoodAt:
    """Return how every requirement of the rig stood at a moment. A constant number of queries."""
    rows = [_stood(one, rig, at) for one in derive(rig, at=at, known_at=known_at)]
    rows.sort(key=lambda row: (row.rank, row.derived.what, row.derived.subject.name))
    return StoodAt(rig, at, known_at, tuple(rows))


def _stood(derived: Derived, rig: Rig, at: datetime) -> Stood:
    due = derived.due(at=at, zone=rig.zone)
    return Stood(derived, due, Condition.UNKNOWN if due is None else condition_of(due, at=at))


@dataclass(frozen=True)
class Past:
    """How every requirement of a rig went over a time.

    Attributes:
        since: the beginning of the time.
        until: its end, or now where that comes first.
        courses: every requirement that was asked in it.
    """

    rig: Rig
    since: datetime
    until: datetime
    courses: tuple[Course, ...]

    @cached_property
    def gaps(self) -> tuple[Gap, ...]:
        """Return every time a requirement was not met, the latest first; deferrals among them."""
        found = [gap for course in self.courses for gap in course.gaps]
        return tuple(sorted(found, key=lambda gap: gap.exceedance.begin, reverse=True))

    @property
    def exceeded(self) -> tuple[Gap, ...]:
        """Return those that count: deferrals left out."""
        return tuple(gap for gap in self.gaps if gap.exceedance.counted)


def exceeded(rig: Rig, since: datetime, until: datetime) -> Past:
    """Return how every requirement went between two moments, on all that is known now.

    What a component that was taken out since owed counts for the time it stood. `until` lies in no future. The number
    of queries grows with how often what stands on the rig, its section or its rules changed, not with its records.
    """
    turns = _turns(rig, since, until)
    went = [in_window(course, since, until) for course in courses(turns, until=until, zone=rig.zone)]
    return Past(rig, since, until, tuple(went))


def _turns(rig: Rig, since: datetime, until: datetime) -> Sequence[Turn]:
    later = changes(rig, since, until)
    owed = derive_over_time(rig, (since, EVERYTHING), [(one.at, one.scope) for one in later])
    first = Turn(since, "", EVERYTHING, next(owed))
    return [first, *(Turn(one.at, one.words, one.scope, found) for one, found in zip(later, owed, strict=True))]
