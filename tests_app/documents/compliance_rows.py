"""Twelve months of a rig as rows: each requirement with its time strip, and each time it was not met."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.utils.safestring import SafeString

from calcs.conditions import Condition
from calcs.due_working import rough_length_words
from calcs.moments import moment_words
from tests_app.documents.strips import Month, blocks_of, strip
from tests_app.models import What
from tests_app.queries.courses import Course, Gap
from tests_app.queries.origins import Origin, Origins

STATE_OF: Final[Mapping[Condition, tuple[str, str]]] = {
    Condition.OVERDUE: ("overdue", "Overdue"),
    Condition.OPEN: ("due-now", "Open"),
    Condition.DEFERRED: ("deferred", "Deferred"),
    Condition.IN_DATE: ("in-date", "In date"),
    Condition.IN_PROGRESS: ("in-progress", "Being tested"),
    Condition.OUT_OF_SERVICE: ("out-of-service", "Out of service"),
    Condition.UNKNOWN: ("unknown", "Cannot be worked out"),
}
"""Key and word of the state mark of each condition."""


@dataclass(frozen=True)
class Window:
    """The months looked at.

    Attributes:
        months: every one of them.
        since: their beginning.
        until: their end, or now where that comes first.
        at: the moment of looking.
    """

    months: tuple[Month, ...]
    at: datetime

    @property
    def since(self) -> datetime:
        """Return the beginning of the first month."""
        return self.months[0].begin

    @property
    def until(self) -> datetime:
        """Return the end of the last month, or now."""
        return min(self.months[-1].end, self.at)

    @property
    def key(self) -> str:
        """Return the last month as addresses and orders name it."""
        return f"{self.months[-1].begin:%Y-%m}"

    @property
    def ends(self) -> tuple[str, str]:
        """Return the first and the last month in words."""
        return f"{self.months[0].begin:%b %Y}", f"{self.months[-1].begin:%b %Y}"

    @property
    def words(self) -> str:
        """Return the months in words."""
        return f"{self.months[0].begin:%B %Y} to {self.months[-1].begin:%B %Y}"


def counted_words(count: int, one: str, many: str = "") -> str:
    """Return a count with its word: ``1 gap``, ``2 gaps``."""
    return f"{count} {one if count == 1 else many or one + 's'}"


@dataclass(frozen=True)
class CourseRow:
    """One requirement and its strip."""

    course: Course
    window: Window
    rig_pk: int

    @property
    def what(self) -> What:
        """Return what has to be done."""
        return self.course.what

    @property
    def part(self) -> str:
        """Return the part of the system."""
        return self.course.subject.part

    @property
    def text(self) -> str:
        """Return what a search looks in."""
        return f"{self.course.subject.name} {' '.join(self.course.details)}"

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Return when it was not met, deferrals left out."""
        return tuple(gap for gap in self.course.gaps if gap.exceedance.counted)

    @property
    def not_met(self) -> timedelta:
        """Return for how long it was not met in these months."""
        return sum((gap.exceedance.length(self.window.since, self.window.until) for gap in self.gaps), timedelta())

    @property
    def words(self) -> str:
        """Return how it went, in a few words."""
        deferred = len(self.course.gaps) - len(self.gaps)
        parts = [f"Not met {_times(len(self.gaps))}, {rough_length_words(self.not_met)} in all"] if self.gaps else []
        parts += [f"deferred {_times(deferred)}"] if deferred else []
        if any(block.condition is Condition.UNKNOWN for block in self.blocks):
            parts.append("can not be worked out for some of the time")
        told = "; ".join(parts) or "Met throughout"
        return f"{told[:1].upper()}{told[1:]}"

    @property
    def blocks(self) -> Any:
        """Return its strip's blocks."""
        return blocks_of(self.course.spans, self.window.since, self.window.until)

    @property
    def drawing(self) -> SafeString:
        """Return its strip."""
        return strip(self.blocks, self.window.months, label=f"{self.course.subject.name}: {self.words}")


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


@dataclass(frozen=True)
class GapRow:
    """A time in which requirements were not met: one, or several alike."""

    gaps: tuple[Gap, ...]
    window: Window
    zone: ZoneInfo
    rig_pk: int
    origins: Origins

    @property
    def first(self) -> Gap:
        """Return the first of them."""
        return self.gaps[0]

    @property
    def what(self) -> What:
        """Return what had to be done."""
        return self.first.what

    @property
    def part(self) -> str:
        """Return the part of the system the first is of."""
        return self.first.subject.part

    @property
    def condition(self) -> Condition:
        """Return whether it was overdue, open or deferred."""
        return self.first.exceedance.condition

    @property
    def begin(self) -> datetime:
        """Return when it began."""
        return self.first.exceedance.begin

    @property
    def end(self) -> datetime | None:
        """Return when it ended; None while it goes on."""
        return self.first.exceedance.end

    @property
    def length(self) -> timedelta:
        """Return how long it lasted, or has lasted until the end of the window."""
        return self.first.exceedance.length(self.begin, self.window.until)

    @property
    def in_window(self) -> timedelta:
        """Return how much of that lies in the months looked at."""
        return self.first.exceedance.length(self.window.since, self.window.until)

    @property
    def names(self) -> str:
        """Return what it was about, in words."""
        return ", ".join(dict.fromkeys(gap.subject.name for gap in self.gaps))

    @property
    def text(self) -> str:
        """Return what a search looks in."""
        return " ".join(f"{gap.subject.name} {gap.subject.detail}" for gap in self.gaps)

    @property
    def clause(self) -> str:
        """Return the clause of the interval."""
        return self.first.requirement.clause if self.first.requirement else ""

    @property
    def edition(self) -> str:
        """Return the edition the clause stands in."""
        return self.first.requirement.edition if self.first.requirement else ""

    @property
    def why(self) -> str:
        """Return why, in words."""
        return self.first.exceedance.why

    @property
    def deferral(self) -> Origin | None:
        """Return where the deferral stands on file, for what was deferred or overdue after one."""
        gap = self.first
        return self.origins.find(gap.exceedance.basis.deferral, gap.what, gap.subject, gap.key)

    @property
    def waited(self) -> str:
        """Return that its test was not safe to make, since when and why, in words; empty where nobody said so."""
        rows = self.origins.waiting(self.first.key, self.begin, self.end)
        said = (f"Not safe to test from {moment_words(one.made_at, self.zone)}: {one.explanation}" for one in rows)
        return " ".join(said)

    @property
    def origin(self) -> Origin | None:
        """Return where what ended it stands on file."""
        gap = self.first
        return self.origins.find(gap.exceedance.ended_by, gap.what, gap.subject, gap.key)

    @property
    def why_on_paper(self) -> str:
        """Return why, with the deferral by its reference and why its test was not safe, as plain text."""
        deferral = f" ({self.deferral.words})" if self.deferral else ""
        return f"{self.why}{deferral} {self.waited}".strip()

    @property
    def ended(self) -> str:
        """Return what ended it, in words; that it goes on, where nothing did."""
        if self.end is not None:
            return self.first.exceedance.ended
        now = self.window.until == self.window.at
        return "Not ended: still so now" if now else "Not ended by the end of these months"
