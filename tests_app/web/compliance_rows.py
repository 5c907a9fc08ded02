"""The compliance page as rows: each requirement with its time strip, and each time it was not met."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import django_tables2 as tables
from django import forms
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from calcs.conditions import Condition
from calcs.due_working import length_words, rough_length_words
from calcs.moments import moment_words
from equipment.web.columns import ListTable, MomentColumn
from equipment.web.lists import RowFilter
from tests_app.documents.strips import Month, blocks_of, strip
from tests_app.models import PartOfSystem, What
from tests_app.queries.courses import Course, Gap
from tests_app.queries.origins import Origin, Origins
from tests_app.web.clauses import clauses_linked
from tests_app.web.past_links import origin_link, why_address

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
_NAMED: Final = 3
"""Elements named before the rest are counted."""


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

    @property
    def why(self) -> str:
        """Return where its date is worked out step by step."""
        return why_address(self.rig_pk, self.course.key)


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


class PastFilter(RowFilter[Any]):
    """The last month, part of the system, what, how it was not met, a word of the name, only what has gaps."""

    month = forms.ChoiceField(label="Twelve months to", required=False)
    part = forms.ChoiceField(label="Part", required=False, choices=[("", "All"), *PartOfSystem.choices])
    what = forms.ChoiceField(label="What", required=False, choices=[("", "All"), *What.choices])
    how = forms.ChoiceField(
        label="How",
        required=False,
        choices=[("", "All"), ("overdue", "Overdue"), ("open", "Open since an event"), ("deferred", "Deferred")],
    )
    text = forms.CharField(label="Name or serial", required=False, max_length=60)
    only = forms.BooleanField(label="Only with gaps", required=False)

    def __init__(self, *args: Any, months: Sequence[tuple[str, str]] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["month"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = list(months)

    def keeps(self, row: CourseRow | GapRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        how = wanted.get("how", "")
        is_course = isinstance(row, CourseRow)
        gaps = row.course.gaps if isinstance(row, CourseRow) else row.gaps
        return (
            wanted.get("part", "") in ("", row.part)
            and wanted.get("what", "") in ("", row.what)
            and (not how or any(gap.exceedance.condition == how for gap in gaps))
            and (not is_course or not wanted.get("only") or bool(gaps))
            and wanted.get("text", "").casefold() in row.text.casefold()
        )


class GapTable(ListTable):
    """Every time a requirement was not met."""

    how = tables.Column("How", accessor="condition")
    element = tables.Column("Requirement", accessor="names")
    begin = MomentColumn("From")
    end = MomentColumn("Until", default="")
    length = tables.Column("How long")
    why = tables.Column("Why", orderable=False, attrs={"td": {"class": "gap-why"}})
    clause = tables.Column("Clause")
    ended = tables.Column("What ended it", orderable=False)

    class Meta:
        empty_text = "No requirement was left unmet in these months, as far as these filters show."

    def render_how(self, value: Condition) -> SafeString:
        return state(*STATE_OF[value])

    def value_how(self, value: Condition) -> str:
        return STATE_OF[value][1]

    def render_element(self, record: GapRow) -> SafeString:
        named, rest = record.gaps[:_NAMED], len(record.gaps) - _NAMED
        links = format_html_join(
            ", ",
            '<a href="{}">{}</a>',
            ((why_address(record.rig_pk, gap.key, at=record.begin), gap.subject.name) for gap in named),
        )
        if rest > 0:
            others = ", ".join(gap.subject.name for gap in record.gaps[_NAMED:])
            links = format_html(
                '{} <details class="more"><summary>and {} more</summary><p>{}</p></details>', links, rest, others
            )
        detail = record.first.subject.detail if len(record.gaps) == 1 else ""
        return format_html(
            '{}<br><span class="small">{}</span> <span class="small soft">{}</span>', links, record.what.label, detail
        )

    def value_element(self, record: GapRow) -> str:
        subject = record.first.subject
        return ", ".join(filter(None, (f"{record.what.label}: {subject.name}", subject.detail)))

    def render_length(self, value: timedelta, record: GapRow) -> SafeString | str:
        words = length_words(value)
        words = words if record.end is not None else f"{words} so far"
        if record.in_window == value:
            return words
        return format_html(
            '{}<br><span class="small soft">{} in these months</span>', words, length_words(record.in_window)
        )

    def value_length(self, value: timedelta) -> float:
        return round(value.total_seconds() / 3600, 2)

    def render_why(self, value: str, record: GapRow) -> SafeString:
        deferral = origin_link(record.deferral)
        where = format_html(" ({})", deferral) if deferral else ""
        return format_html("{}{} {}", value, where, record.waited)

    def value_why(self, value: str, record: GapRow) -> str:
        return record.why_on_paper

    def render_clause(self, value: str, record: GapRow) -> SafeString | str:
        return clauses_linked(value, record.edition)

    def value_clause(self, value: str) -> str:
        return value

    def render_ended(self, record: GapRow) -> SafeString | str:
        origin = record.origin
        return format_html("{} ({})", record.ended, origin_link(origin)) if origin else record.ended

    def value_ended(self, record: GapRow) -> str:
        return record.ended
