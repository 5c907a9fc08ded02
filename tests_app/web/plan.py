"""Planning ahead: the fewest days of testing that keep everything in date, with the hours they take."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from equipment.queries import access
from equipment.web.columns import NUMERIC, ListTable
from equipment.web.lists import RowFilter, listed
from tests_app.durations import durations
from tests_app.queries.due_items import DueItem
from tests_app.queries.planning import (
    Ahead,
    Estimate,
    Outstanding,
    PlannedTest,
    PlannedWindow,
    outstanding_on,
    plan_ahead,
)
from tests_app.web.due_groups import last_day
from tests_app.web.due_words import WHAT_CHOICES, WHAT_WORDS
from tests_app.web.entry import Visit, signed_in
from tests_app.web.plan_form import DAYS_CHOICES, Asked
from tests_app.web.plan_words import day_words, hours_words, renewed_words, summary_words, when_words

_OF_THE_LIST: Final = ("sort", "page", "export")
LATE: Final = "Owed already"
ONCE: Final = "One test settles it"


@dataclass(frozen=True)
class TestRow:
    """One test of the plan, ready to sort, filter and show."""

    __test__ = False

    window: PlannedWindow
    test: PlannedTest
    minutes: float

    @property
    def item(self) -> DueItem:
        """Return what is tested."""
        return self.test.outstanding.item

    @property
    def day(self) -> date:
        """Return on which day."""
        return self.window.window.day

    @property
    def ahead(self) -> int:
        """Return the same counted from today."""
        return self.window.window.ahead

    @property
    def what(self) -> str:
        """Return what has to be done, in words; that another test of the day does it too."""
        words = WHAT_WORDS[self.item.what]
        return f"{words}, by its pressure test" if self.test.renewal.by else words

    @property
    def subject(self) -> str:
        """Return on what."""
        return ", ".join(filter(None, (self.item.subject, self.item.subject_detail)))

    @property
    def along(self) -> str:
        """Return what stops drilling on that day anyway."""
        return ", ".join(self.window.window.with_words)

    @property
    def title(self) -> str:
        """Return the window's name."""
        return self.window.title

    @property
    def good_until(self) -> str:
        """Return the last day for it, in words."""
        until = self.test.renewal.good_until
        return day_words(until) if until else LATE

    @property
    def good_by(self) -> str:
        """Return the same to sort by."""
        until = self.test.renewal.good_until
        return until.isoformat() if until else ""

    @property
    def renewed_until(self) -> str:
        """Return the last day for the test after this one, in words."""
        until = self.test.renewal.renewed_until
        return day_words(until) if until else ONCE


class PlanFilter(RowFilter[TestRow]):
    """What has to be done, and a word of the name."""

    what = forms.ChoiceField(label="What", required=False, choices=[("", "All"), *WHAT_CHOICES])
    text = forms.CharField(label="Name or serial", required=False, max_length=60)

    def __init__(self, data: QueryDict, *args: Any, **options: Any) -> None:
        super().__init__(data, *args, **options)
        # The plan itself stands in the address: narrowing its list must not lose it.
        for name in data:
            if name not in self.fields and name not in _OF_THE_LIST:
                self.fields[name] = forms.CharField(required=False, widget=forms.HiddenInput)

    def keeps(self, row: TestRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        text = wanted.get("text", "").casefold()
        return wanted.get("what", "") in ("", row.item.what) and text in row.subject.casefold()


class PlanTable(ListTable):
    """Every test of the plan."""

    day = tables.Column("Day", accessor="day", order_by=("day", "title"))
    along = tables.Column("With")
    title = tables.Column("Window")
    what = tables.Column("What")
    subject = tables.Column("On what")
    good_until = tables.Column("Last day for it", order_by="good_by")
    renewed_until = tables.Column("Then good until", orderable=False)
    minutes = tables.Column("Minutes", attrs=NUMERIC)

    class Meta:
        empty_text = "No test is needed, or none matches."
        attrs = {"class": "plan"}

    def render_day(self, value: date, record: TestRow) -> SafeString:
        ahead = "today" if record.ahead == 0 else f"day {record.ahead}"
        return format_html('{}<br><span class="small soft">{}</span>', day_words(value), ahead)

    def value_day(self, value: date) -> date:
        return value

    def render_minutes(self, value: float) -> str:
        return f"{value:.0f}"

    def value_minutes(self, value: float) -> float:
        return value


@dataclass(frozen=True)
class WindowShown:
    """A window as the page tells it: what is tested, by kind."""

    title: str
    hours: str
    set_up: str
    tests: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True)
class DayShown:
    """All windows of one day."""

    when: str
    renews: str
    is_offered: bool
    windows: tuple[WindowShown, ...]


@dataclass(frozen=True)
class GroupShown:
    """All windows of one group: how often, and how long together."""

    title: str
    count: int
    hours: str


def _shown(window: PlannedWindow, set_up: float) -> WindowShown:
    by_what: dict[str, list[str]] = defaultdict(list)
    for test in window.tests:
        by_what[WHAT_WORDS[test.outstanding.item.what]].append(test.outstanding.item.subject)
    return WindowShown(
        title=window.title,
        hours=hours_words(window.window.minutes),
        set_up=hours_words(set_up) if set_up else "",
        tests=tuple((what, tuple(names)) for what, names in by_what.items()),
    )


def _days(ahead: Ahead, estimate: Estimate) -> list[DayShown]:
    by_day: dict[date, list[PlannedWindow]] = defaultdict(list)
    for window in ahead.windows:
        by_day[window.window.day].append(window)
    return [
        DayShown(
            when=when_words(windows[0]),
            renews=renewed_words(sum(len(window.tests) for window in windows)),
            is_offered=bool(windows[0].window.with_words),
            windows=tuple(_shown(window, estimate.set_up[window.together.key]) for window in windows),
        )
        for _, windows in sorted(by_day.items())
    ]


def _groups(ahead: Ahead) -> list[GroupShown]:
    by_title: dict[str, list[PlannedWindow]] = defaultdict(list)
    for window in ahead.windows:
        by_title[window.title].append(window)
    return [
        GroupShown(title, len(windows), hours_words(sum(window.window.minutes for window in windows)))
        for title, windows in by_title.items()
    ]


@dataclass(frozen=True)
class OutOn:
    """What runs out on one day if nothing is tested."""

    when: str
    query: str
    items: tuple[Outstanding, ...]


def _running_out(ahead: Ahead, visit: Visit) -> list[OutOn]:
    """Return what runs out, day by day; what is owed already comes first."""
    days: dict[str, list[Outstanding]] = defaultdict(list)
    for one in ahead.running_out:
        due_at = one.item.due.due_at if one.item.due else None
        key = "" if one.is_owed_now or due_at is None else last_day(one.item).isoformat()
        days[key].append(one)
    return [_out_on(key, items) for key, items in sorted(days.items())]


def _out_on(key: str, items: Iterable[Outstanding]) -> OutOn:
    if not key:
        return OutOn(LATE, "?by=date", tuple(items))
    return OutOn(f"At the end of {day_words(date.fromisoformat(key))}", f"?since={key}&before={key}", tuple(items))


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show the plan the address asks for; an address that says more than it needs is put straight."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    known = durations()
    asked = Asked.of(request.GET, rig=rig, at=visit.at, durations=known)
    if "plan" in request.GET and asked.is_right:
        return HttpResponseRedirect(f"{reverse('tests_app:plan', args=[rig.pk])}?{asked.address}")
    estimate = asked.minutes.estimate
    ahead = plan_ahead(
        rig,
        outstanding_on(rig, at=visit.at),
        at=visit.at,
        days=asked.days,
        durations=known,
        estimate=estimate,
        opportunities=asked.opportunities,
    )
    rows = [TestRow(w, test, estimate.minutes[test.outstanding.item.what]) for w in ahead.windows for test in w.tests]
    found = listed(
        request,
        rows,
        PlanTable,
        filter_class=PlanFilter,
        table_options={"zone": rig.zone},
        file_name=f"plan-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    context = {
        **found.context(),
        "asked": asked,
        "days_choices": DAYS_CHOICES,
        "source": known.source,
        "summary": summary_words(ahead, asked.days),
        "groups": _groups(ahead),
        "proposed": _days(ahead, estimate),
        "running_out": _running_out(ahead, visit),
        "not_planned": ahead.not_planned,
    }
    return visit.show(request, "tests_app/plan.html", context)
