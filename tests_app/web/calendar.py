"""The calendar of a rig: day by day on its clock what runs out, which deferrals end, which windows are planned."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, Final
from urllib.parse import urlencode

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.views.decorators.http import require_GET

from calcs.windows import LONGEST_DAYS
from equipment.queries import access
from equipment.web.columns import DayColumn, ListTable
from equipment.web.lists import RowFilter, listed
from tests_app.durations import durations
from tests_app.queries.due_items import DueItem
from tests_app.queries.planning import Estimate, Outstanding, PlannedWindow, outstanding_on, plan_ahead
from tests_app.web.due_groups import last_day
from tests_app.web.due_words import WHAT_CHOICES, WHAT_WORDS, due_text
from tests_app.web.entry import Visit, signed_in
from tests_app.web.plan_form import DAYS_CHOICES, Asked, days_in
from tests_app.web.plan_words import hours_words

RUNS_OUT: Final = "Runs out"
DEFERRAL_ENDS: Final = "Deferral ends"
PLANNED: Final = "Planned"
_DAY: Final = timedelta(days=1)
_WEEK: Final = 7


@dataclass(frozen=True)
class Entry:
    """One thing of one day, ready to filter, sort and export."""

    day: date
    kind: str
    what: str
    subject: str
    limit: str = ""
    clause: str = ""
    key: str = ""


class EntryFilter(RowFilter[Entry]):
    """What it is about, and what has to be done."""

    kind = forms.ChoiceField(
        label="Show",
        required=False,
        choices=[("", "Everything"), *((kind, kind) for kind in (RUNS_OUT, DEFERRAL_ENDS, PLANNED))],
    )
    what = forms.ChoiceField(label="What", required=False, choices=[("", "All"), *WHAT_CHOICES])
    days = forms.ChoiceField(label="How far", required=False, choices=DAYS_CHOICES)
    start = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, data: QueryDict, *args: Any, **options: Any) -> None:
        super().__init__({**data.dict(), "days": str(days_in(data))}, *args, **options)
        for name in _opportunities(data):
            self.fields[name] = forms.CharField(required=False, widget=forms.HiddenInput)

    def keeps(self, row: Entry, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays; a planned window holds several kinds of test, and stays."""
        return wanted.get("kind", "") in ("", row.kind) and wanted.get("what", "") in ("", row.key or wanted["what"])


class EntryTable(ListTable):
    """What the calendar holds, as a list."""

    day = DayColumn("Day")
    kind = tables.Column("Kind")
    what = tables.Column("What")
    subject = tables.Column("On what")
    limit = tables.Column("Begin before")
    clause = tables.Column("Clause")

    class Meta:
        empty_text = "Nothing runs out in these days, and nothing is planned."


@dataclass
class Day:
    """One day of the calendar."""

    day: date
    is_today: bool
    runs_out: list[tuple[str, str, int]] = field(default_factory=list)
    deferrals: list[str] = field(default_factory=list)
    windows: list[tuple[str, str]] = field(default_factory=list)

    @property
    def is_empty(self) -> bool:
        """Tell whether nothing is to be said of it."""
        return not (self.runs_out or self.deferrals or self.windows)

    @property
    def count(self) -> int:
        """Return how much runs out."""
        return sum(count for _, _, count in self.runs_out)

    @property
    def query(self) -> str:
        """Return the query of the due list that shows what runs out on it."""
        return f"since={self.day.isoformat()}&before={self.day.isoformat()}"


@dataclass(frozen=True)
class Month:
    """The days of one month that the calendar shows, with how many weekdays its first row leaves empty."""

    title: str
    before: range
    days: Sequence[Day]


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show the days the address asks for, from today or a later day on."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    today = visit.at.astimezone(rig.zone).date()
    days = days_in(request.GET)
    start = _start(request.GET.get("start", ""), today, days)
    shown = [start + ahead * _DAY for ahead in range(days)]
    asked = Asked.of(request.GET, rig=rig, at=visit.at, durations=durations())
    outstanding = outstanding_on(rig, at=visit.at)
    ahead = plan_ahead(
        rig,
        outstanding,
        at=visit.at,
        days=(shown[-1] - today).days + 1,
        durations=durations(),
        estimate=Estimate.of(durations()),
        opportunities=asked.opportunities,
    )
    dated = [one for one in outstanding if not one.is_owed_now and one.item.due and one.item.due.due_at]
    entries = [one for one in _entries(dated, ahead.windows) if start <= one.day <= shown[-1]]
    found = listed(
        request,
        sorted(entries, key=lambda one: (one.day, one.kind, one.what, one.subject)),
        EntryTable,
        filter_class=EntryFilter,
        table_options={"zone": rig.zone},
        file_name=f"calendar-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    kept = list(found.table.data)
    context = {
        **found.context(),
        "months": _months(shown, kept, today),
        "days": days,
        "start": start,
        "last": shown[-1],
        "turns": _turns(start, today, days, _opportunities(request.GET)),
        "plan_query": asked.address,
        "owed": sum(1 for one in outstanding if one.is_owed_now and not one.why_not_planned),
        "weekdays": ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"),
    }
    return visit.show(request, "tests_app/calendar.html", context)


def _start(text: str, today: date, days: int) -> date:
    """Return the first day to show: what the address asks for, never before today nor beyond what a plan reaches."""
    try:
        start = date.fromisoformat(text)
    except ValueError:
        return today
    return start if start >= today and _reaches(start, today, days) else today


def _reaches(start: date, today: date, days: int) -> bool:
    return (start - today).days + days <= LONGEST_DAYS


def _opportunities(query: QueryDict) -> dict[str, str]:
    """Return the days that offer themselves, as the address of a plan holds them."""
    return {name: str(value) for name, value in query.items() if name[:1].isdigit() and value}


def _turns(start: date, today: date, days: int, kept: Mapping[str, str]) -> list[tuple[str, str]]:
    """Return the days that can be turned to, each with its query: earlier, each month, later."""
    wanted = [("Earlier", max(today, start - days * _DAY))] if start > today else []
    month = today
    while _reaches(month, today, days):
        wanted.append((f"{month:%b %Y}", month))
        month = (month.replace(day=1) + 32 * _DAY).replace(day=1)
    if _reaches(start + days * _DAY, today, days):
        wanted.append(("Later", start + days * _DAY))
    return [(title, urlencode({"days": days, "start": first.isoformat(), **kept})) for title, first in wanted]


def _entries(dated: Sequence[Outstanding], windows: Sequence[PlannedWindow]) -> Iterator[Entry]:
    for one in dated:
        item = one.item
        yield _entry(item, RUNS_OUT)
        if item.deferral is not None:
            yield _entry(item, DEFERRAL_ENDS)
    for window in windows:
        along = f", with the {', '.join(window.window.with_words)}" if window.window.with_words else ""
        tests = f"{len(window.tests)} {'test' if len(window.tests) == 1 else 'tests'}"
        yield Entry(
            window.window.day, PLANNED, f"{window.title}{along}", f"{tests}, {hours_words(window.window.minutes)}"
        )


def _entry(item: DueItem, kind: str) -> Entry:
    subject = ", ".join(filter(None, (item.subject, item.subject_detail)))
    return Entry(last_day(item), kind, WHAT_WORDS[item.what], subject, due_text(item), item.clause, item.what.value)


def _months(shown: Sequence[date], entries: Sequence[Entry], today: date) -> list[Month]:
    by_day: dict[date, list[Entry]] = defaultdict(list)
    for one in entries:
        by_day[one.day].append(one)
    months: dict[tuple[int, int], list[Day]] = defaultdict(list)
    for day in shown:
        months[day.year, day.month].append(_day(day, by_day.get(day, []), today))
    return [Month(f"{days[0].day:%B %Y}", range(days[0].day.weekday() % _WEEK), days) for days in months.values()]


def _day(day: date, entries: Sequence[Entry], today: date) -> Day:
    runs_out = Counter((one.what, one.key) for one in entries if one.kind == RUNS_OUT)
    return Day(
        day,
        day == today,
        [(what, key, count) for (what, key), count in sorted(runs_out.items())],
        [one.subject for one in entries if one.kind == DEFERRAL_ENDS],
        [(one.what, one.subject) for one in entries if one.kind == PLANNED],
    )
