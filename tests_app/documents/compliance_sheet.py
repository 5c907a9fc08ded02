"""Twelve months of a rig on paper, with nothing left out, and the words the page shares with it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.utils.safestring import SafeString

from calcs.conditions import Condition
from calcs.due_working import length_words, rough_length_words
from calcs.moments import moment_words
from equipment.models import Rig
from tests_app.documents.certificate import printable
from tests_app.documents.compliance_rows import STATE_OF, CourseRow, GapRow, Window, counted_words
from tests_app.documents.list_paper import print_list
from tests_app.documents.strips import CONDITION_WORDS, Block, Month, months_of, sample, scale_head, strip
from tests_app.models import PartOfSystem
from tests_app.queries.compliance import Totals, alike, stretches, totals_of
from tests_app.queries.edition_titles import rules_followed
from tests_app.queries.origins import Origins
from tests_app.queries.past import Past

_LEGEND: Final = (
    Condition.IN_DATE,
    Condition.OVERDUE,
    Condition.OPEN,
    Condition.DEFERRED,
    Condition.OUT_OF_SERVICE,
    Condition.UNKNOWN,
)
_CHOICES: Final = 60
"""Months to choose from: five years."""


def print_compliance(rig: Rig, past: Past, window: Window, *, paper: str) -> bytes:
    """Return the months of a rig as a PDF on `paper`, A4 or letter."""
    return print_list("documents/compliance.html", _context(rig, past, window), paper=paper)


@dataclass(frozen=True)
class PartOfPage:
    """The strips of one part of the system."""

    title: str
    rows: list[CourseRow]


@dataclass(frozen=True)
class WholeRow:
    """The rig as a whole: when anything was not met in one of the two ways."""

    name: str
    drawing: SafeString
    words: str


@dataclass(frozen=True)
class PaperRow:
    """A row of the paper: drawings and plain text, ready to print."""

    cells: tuple[str, ...]
    drawing: SafeString | str = ""


@dataclass(frozen=True)
class PaperSheet:
    """What the paper shows beside its head."""

    rules: str
    zone: str
    months: str
    head: SafeString
    legend: list[tuple[SafeString, str]]
    whole: list[PaperRow]
    parts: list[tuple[str, list[PaperRow]]]
    gaps: list[PaperRow]


def _context(rig: Rig, past: Past, window: Window) -> dict[str, Any]:
    """Return the context of the paper. Its texts are made safe to print here: the sheet is handed on as it is."""
    totals = totals_of(past)
    origins = Origins.of(rig)
    courses = [CourseRow(course, window, rig.pk) for course in past.courses]
    gaps = [GapRow(group, window, rig.zone, rig.pk, origins) for group in alike(past.gaps)]
    sheet = PaperSheet(
        rules=printable(rules_followed(rig)),
        zone=rig.zone.key,
        months=window.words,
        head=scale_head(window.months),
        legend=legend(),
        whole=[PaperRow((row.name, row.words), row.drawing) for row in whole_rows(past, window)],
        parts=[(part.title, [_strip_on_paper(row) for row in part.rows]) for part in parts_of(courses)],
        gaps=[_gap_on_paper(row) for row in gaps],
    )
    return {
        "title": "Compliance",
        "rig": rig.name,
        "as_of": moment_words(window.at, rig.zone),
        "summary": summary_of(totals),
        "longest": longest_words(totals, window, rig),
        "sheet": sheet,
    }


def _strip_on_paper(row: CourseRow) -> PaperRow:
    subject = row.course.subject
    details = ", then ".join(filter(None, row.course.details))
    return PaperRow(tuple(printable([subject.name, str(row.what.label), details, row.words])), row.drawing)


def _gap_on_paper(row: GapRow) -> PaperRow:
    until = moment_words(row.end, row.zone) if row.end else "not ended"
    length = length_words(row.length)
    cells = (
        STATE_OF[row.condition][1],
        str(row.what.label),
        row.names,
        moment_words(row.begin, row.zone),
        until,
        length if row.end else f"{length} so far",
        row.why_on_paper,
        row.clause,
        row.ended if row.origin is None or row.end is None else f"{row.ended} ({row.origin.words})",
    )
    return PaperRow(tuple(printable(list(cells))))


def legend() -> list[tuple[SafeString, str]]:
    """Return a piece of each kind of strip with its words."""
    return [(sample(one), CONDITION_WORDS[one]) for one in _LEGEND]


def month_choices(rig: Rig, at: datetime) -> list[tuple[str, str]]:
    """Return the months the twelve can end with, the present one first."""
    months = months_of(at, rig.zone, count=_CHOICES)
    return [(f"{month.begin:%Y-%m}", f"{month.begin:%B %Y}") for month in reversed(months)]


def window_of(asked: str, choices: Sequence[tuple[str, str]], rig: Rig, at: datetime) -> Window:
    """Return the twelve months that end with the one asked for; with the present one where it is none of those."""
    place = next((index for index, (key, _) in enumerate(choices) if key == asked), 0)
    whole = months_of(at, rig.zone, count=_CHOICES + 11)
    months: tuple[Month, ...] = whole[len(whole) - 12 - place : len(whole) - place]
    return Window(months, at)


def summary_of(totals: Totals) -> str:
    """Return how the months went, in a sentence or two."""
    if not totals.requirements:
        return "Nothing was asked of this rig in these months, as far as is on file."
    unknown = ""
    if totals.unknown:
        asked = counted_words(totals.unknown, "requirement")
        unknown = f" {asked} could not be worked out for some of the time."
    if not totals.gaps:
        return f"All {counted_words(totals.requirements, 'requirement')} were met throughout.{unknown}"
    parts = []
    if totals.overdue:
        parts.append(f"Something was overdue for {rough_length_words(totals.overdue)}")
    if totals.open:
        said = f"open since an event for {rough_length_words(totals.open)}"
        parts.append(said if parts else f"Something was {said}")
    count = f"{totals.not_met} of {totals.requirements} requirements were not met at some time"
    return f"{' and '.join(parts)} in these months; {count}.{unknown}"


def longest_words(totals: Totals, window: Window, rig: Rig) -> str:
    """Return the longest time one requirement was not met, in words; empty where all were."""
    gap = totals.longest
    if gap is None:
        return ""
    one = gap.exceedance
    ended = f"until {moment_words(one.end, rig.zone)}" if one.end else "and has not ended"
    length = rough_length_words(one.length(one.begin, window.until))
    return (
        f"The longest: {gap.what.label.lower()} of {gap.subject.name}, {length} from "
        f"{moment_words(one.begin, rig.zone)} {ended}."
    )


def whole_rows(past: Past, window: Window) -> list[WholeRow]:
    """Return when anything on the rig was overdue, and when anything was open."""
    rows = []
    for condition, name in ((Condition.OVERDUE, "Anything overdue"), (Condition.OPEN, "Anything open since an event")):
        found = stretches(past, condition)
        total = sum((end - begin for begin, end in found), window.since - window.since)
        words = f"{rough_length_words(total)} in all" if found else "Never"
        blocks = [Block(condition, begin, end) for begin, end in found]
        rows.append(WholeRow(name, strip(blocks, window.months, label=f"{name}: {words}"), words))
    return rows


def parts_of(rows: Iterable[CourseRow]) -> list[PartOfPage]:
    """Return the strips by part of the system, in the order of the due list; the worst of each first."""
    found: dict[str, list[CourseRow]] = {}
    for row in rows:
        found.setdefault(row.part, []).append(row)
    order = [key for key, _ in PartOfSystem.choices]
    titles = dict(PartOfSystem.choices)
    known = sorted(found, key=lambda part: order.index(part) if part in order else len(order))
    return [
        PartOfPage(str(titles.get(part, part) or "Other"), sorted(found[part], key=lambda row: -row.not_met))
        for part in known
    ]
