"""The auditor's page of a rig: twelve months of every requirement as time strips, and each time one was not met."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from calcs.conditions import Condition
from calcs.due_working import length_words, rough_length_words
from calcs.moments import moment_words
from equipment.models import Rig
from equipment.queries import access
from equipment.web.lists import listed
from tests_app.documents.certificate import printable
from tests_app.documents.list_paper import PAPERS, print_list
from tests_app.documents.strips import CONDITION_WORDS, Block, Month, months_of, sample, scale_head, strip
from tests_app.models import PartOfSystem
from tests_app.queries.compliance import Totals, alike, stretches, totals_of
from tests_app.queries.courses import Gap
from tests_app.queries.origins import Origins
from tests_app.queries.past import Past, exceeded
from tests_app.web.as_of_form import AsOfForm
from tests_app.web.compliance_rows import STATE_OF, CourseRow, GapRow, GapTable, PastFilter, Window, counted_words
from tests_app.web.entry import Visit, signed_in
from tests_app.web.rule_titles import rules_followed

_LEGEND: Final = (
    Condition.IN_DATE,
    Condition.OVERDUE,
    Condition.OPEN,
    Condition.DEFERRED,
    Condition.OUT_OF_SERVICE,
    Condition.UNKNOWN,
)
_PAPERS: Final = {"a4": "A4", "letter": "letter"}
_CHOICES: Final = 60
"""Months to choose from: five years."""


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


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show how every requirement of a rig went over twelve months."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    choices = month_choices(rig, visit.at)
    window = window_of(request.GET.get("month", ""), choices, rig, visit.at)
    past = exceeded(rig, window.since, window.until)
    origins = Origins.of(rig)
    groups: Iterable[Sequence[Gap]] = [(gap,) for gap in past.gaps] if "export" in request.GET else alike(past.gaps)
    found = listed(
        request,
        [GapRow(tuple(group), window, rig.zone, rig.pk, origins) for group in groups],
        GapTable,
        filter_class=PastFilter,
        filter_options={"months": choices},
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"compliance-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    assert isinstance(found.form, PastFilter)
    rows = found.form.narrow([CourseRow(course, window, rig.pk) for course in past.courses])
    totals = totals_of(past)
    context = {
        **found.context(),
        "window": window,
        "summary": summary_of(totals),
        "longest": longest_words(totals, window, rig),
        "stands_worst": "in-date" if not totals.gaps and not totals.unknown else "overdue",
        "whole": whole_rows(past, window),
        "parts": parts_of(rows),
        "head": scale_head(window.months),
        "legend": legend(),
        "as_of": AsOfForm(zone=rig.zone, now=visit.at, auto_id="as-of-%s"),
        "shown": len(rows),
        "total": len(past.courses),
        "papers": [("a4", "A4"), ("letter", "Letter")],
        "rules_title": rules_followed(rig),
    }
    return visit.show(request, "tests_app/compliance.html", context)


@require_GET
@signed_in
def pdf(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Send the same twelve months on paper, with nothing left out."""
    rig = access.rig_for(request.user, rig_pk)
    at = Visit.of(request, rig).at
    window = window_of(request.GET.get("month", ""), month_choices(rig, at), rig, at)
    past = exceeded(rig, window.since, window.until)
    paper = _PAPERS.get(request.GET.get("paper", ""), PAPERS[rig.display_units])
    content = print_list("documents/compliance.html", _paper(rig, past, window), paper=paper)
    name = f"compliance-{rig.pk}-{window.months[-1].begin:%Y-%m}.pdf"
    return HttpResponse(
        content, content_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'}
    )


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


def _paper(rig: Rig, past: Past, window: Window) -> dict[str, Any]:
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
