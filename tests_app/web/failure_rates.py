"""How often each kind of component failed on a rig, with exact limits: a list over a stretch of time."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final

import django_tables2 as tables
from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.http import HttpRequest, HttpResponse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from calcs.failure_rates import Rate
from calcs.moments import localise
from equipment.models import Rig
from equipment.queries import access
from equipment.web.columns import NUMERIC, ListTable
from equipment.web.fields import day_input
from equipment.web.lists import listed
from tests_app.queries.failure_counts import CONFIDENCE, KindCount, failure_counts
from tests_app.queries.found_defects import not_taken_up, record_of_line
from tests_app.web.entry import Visit, signed_in

_SIGNIFICANT: Final = 2
_EVER: Final = datetime(1950, 1, 1, tzinfo=UTC)
_SENSIBLE: Final = (
    MinValueValidator(date(1950, 1, 1), "This is before anything was on file. Give a later day."),
    MaxValueValidator(date(2200, 1, 1), "This lies too far ahead. Give an earlier day."),
)


@dataclass(frozen=True)
class RateRow:
    """One kind, ready to show and sort."""

    count: KindCount

    @property
    def kind(self) -> str:
        """The kind in words."""
        return self.count.label

    @property
    def between(self) -> float:
        """Mean days between failures, to sort by; its lower limit where nothing failed."""
        rate = self.count.by_time
        return (rate.between or rate.between_low) if rate else float("inf")

    @property
    def by_time(self) -> Rate | None:
        """Defects per day."""
        return self.count.by_time

    @property
    def by_pressure_test(self) -> Rate | None:
        """Failures per pressure test."""
        return self.count.by_pressure_test

    @property
    def by_function_test(self) -> Rate | None:
        """Failures per function test."""
        return self.count.by_function_test


class BetweenColumn(tables.Column):
    """Mean days between defects with their limits; where there was none, what they are longer than."""

    def render(self, value: Rate) -> SafeString:
        """Return the mean over its limits."""
        if value.between is None or value.between_high is None:
            return format_html("longer than {}<br>{}", _rounded(value.between_low), _soft("no defect"))
        limits = f"{_rounded(value.between_low)} to {_rounded(value.between_high)}"
        return format_html("{}<br>{}", _rounded(value.between), _soft(limits))

    def value(self, value: Rate) -> str:
        """Return the mean for an export; the limits have columns of their own."""
        return "" if value.between is None else f"{value.between:.6g}"


class RateColumn(tables.Column):
    """Failures per hundred tests, with their limits and the counts behind them."""

    def render(self, value: Rate) -> SafeString:
        """Return the rate over its limits and counts."""
        limits = f"{_in_hundred(value.low)} to {_in_hundred(value.high)}"
        counts = f"{value.failures} of {value.exposure:,.0f}"
        return format_html("{}<br>{}<br>{}", _rounded(value.rate * 100), _soft(limits), _soft(counts))

    def value(self, value: Rate) -> str:
        """Return the failures per hundred tests for an export."""
        return f"{value.rate * 100:.6g}"


class LimitColumn(tables.Column):
    """One limit of a rate, for an export alone."""

    def __init__(self, label: str, name: str, of: str, *, in_hundred: bool = False) -> None:
        self.name_of_limit, self.in_hundred = name, in_hundred
        super().__init__(verbose_name=label, accessor=of, visible=False)

    def value(self, value: Rate) -> str:
        """Return the limit; nothing where there is none."""
        limit = getattr(value, self.name_of_limit)
        if limit is None:
            return ""
        return f"{min(limit, 1.0) * 100 if self.in_hundred else limit:.6g}"


class RateTable(ListTable):
    """Failures by kind of component."""

    kind = tables.Column("Kind")
    in_service = tables.Column("Days in service", accessor="count__in_service", attrs=NUMERIC)
    defects = tables.Column("Defects", accessor="count__defects", attrs=NUMERIC)
    by_time = BetweenColumn("Days between defects", order_by="between", attrs=NUMERIC)
    by_pressure_test = RateColumn("Failures in 100 pressure tests", order_by="by_pressure_test__rate", attrs=NUMERIC)
    by_function_test = RateColumn("Failures in 100 function tests", order_by="by_function_test__rate", attrs=NUMERIC)
    between_low = LimitColumn("Days between defects, lower limit", "between_low", "by_time")
    between_high = LimitColumn("Days between defects, upper limit", "between_high", "by_time")
    pressed = tables.Column("Pressure tests", accessor="count__pressed", visible=False)
    pressed_failed = tables.Column("Pressure tests failed", accessor="count__pressed_failed", visible=False)
    pressed_low = LimitColumn("In 100 pressure tests, lower limit", "low", "by_pressure_test", in_hundred=True)
    pressed_high = LimitColumn("In 100 pressure tests, upper limit", "high", "by_pressure_test", in_hundred=True)
    worked = tables.Column("Function tests", accessor="count__worked", visible=False)
    worked_failed = tables.Column("Function tests failed", accessor="count__worked_failed", visible=False)
    worked_low = LimitColumn("In 100 function tests, lower limit", "low", "by_function_test", in_hundred=True)
    worked_high = LimitColumn("In 100 function tests, upper limit", "high", "by_function_test", in_hundred=True)

    class Meta:
        empty_text = "Nothing stood on this rig and nothing was tested in this time."

    def render_in_service(self, value: float) -> str:
        return f"{value:,.0f}"

    def value_in_service(self, value: float) -> float:
        return round(value, 3)


class PeriodForm(forms.Form):
    """The days counted, both of them whole."""

    since = forms.DateField(label="From", required=False, widget=day_input(), validators=_SENSIBLE)
    until = forms.DateField(label="To and with", required=False, widget=day_input(), validators=_SENSIBLE)

    def clean(self) -> dict[str, Any]:
        """Refuse days out of order."""
        since, until = self.cleaned_data.get("since"), self.cleaned_data.get("until")
        if since and until and until < since:
            self.add_error("until", "This is before the first day. Give a later one.")
        return self.cleaned_data


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show how often each kind failed, over all time on file or between two days."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    form = PeriodForm(request.GET)
    days = form.cleaned_data if form.is_valid() else {}
    since, until = _moments(rig, days.get("since"), days.get("until"), visit.at)
    found = listed(
        request,
        [RateRow(one) for one in failure_counts(rig, since=since, until=until)],
        RateTable,
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"failure-rates-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    context = {
        **found.context(),
        "filter_form": form,
        "confidence": f"{CONFIDENCE * 100:g}",
        "lines_count": _not_taken_up(rig, since, until),
    }
    return visit.show(request, "tests_app/failure_rates.html", context)


def _not_taken_up(rig: Rig, since: datetime | None, until: datetime) -> int:
    """Return how many failed lines of the time nobody opened a defect from: they count as failed tests alone."""
    tests = (record_of_line(line) for line in not_taken_up(rig, since=since or _EVER))
    return sum(test.concluded_at is not None and test.concluded_at < until for test in tests)


def _moments(rig: Rig, first: date | None, last: date | None, at: datetime) -> tuple[datetime | None, datetime]:
    """Return the two days as moments on the rig's clock; never one to come."""
    since = localise(datetime.combine(first, time()), rig.zone) if first else None
    until = localise(datetime.combine(last + timedelta(days=1), time()), rig.zone) if last else at
    return since, min(until, at)


def _in_hundred(limit: float) -> str:
    """Return a limit of failures per test in hundred; no more than all of them can fail."""
    return _rounded(min(limit, 1.0) * 100)


def _rounded(number: float) -> str:
    """Return a figure to the two places such counts bear."""
    if not number:
        return "0"
    return f"{float(f'{number:.{_SIGNIFICANT}g}'):,g}"


def _soft(words: str) -> SafeString:
    return format_html('<span class="small soft nowrap">{}</span>', words)
