"""The page that shows every part of the design system, with invented rows: for whoever builds the next page."""

from typing import Any, Final

import django_tables2 as tables
from django import forms
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe

from accounts.presentation import STATES
from accounts.templatetags.wellhold import number, state

NUMERIC: Final = {"th": {"class": "num"}, "td": {"class": "num"}}
ROWS: Final[list[dict[str, Any]]] = [
    {"name": "Upper pipe ram", "serial": "PR-2207", "rated": 10_000, "closing": 6.85, "state": "in-date"},
    {"name": "Annular", "serial": "AN-0413", "rated": 5_000, "closing": 21.5, "state": "due-soon"},
    {"name": "Blind-shear ram", "serial": "BS-1180", "rated": 10_000, "closing": 12.125, "state": "overdue"},
    {"name": "Inner kill valve", "serial": "KV-3391", "rated": 10_000, "closing": 0.5, "state": "in-progress"},
    {"name": "Lower pipe ram", "serial": "PR-2209", "rated": 10_000, "closing": None, "state": "out-of-service"},
]


class SampleTable(tables.Table):
    """Components, as a list page shows them."""

    name = tables.Column("Component")
    serial = tables.Column("Serial")
    rated = tables.Column(mark_safe('Rated pressure, <span class="unit">psi</span>'), attrs=NUMERIC)
    closing = tables.Column(
        mark_safe('Closing volume, <span class="unit">US gal</span>'), attrs=NUMERIC, empty_values=()
    )
    state = tables.Column("State", orderable=False)

    class Meta:
        empty_text = "No component stands in this stack yet. Register the first one, then install it in a position."

    def render_rated(self, value: int) -> SafeString | str:
        return number(value)

    def render_closing(self, value: float | None) -> SafeString | str:
        return number(value, width=3)

    def render_state(self, value: str) -> SafeString:
        return state(value)


class SampleForm(forms.Form):
    """One field of each sort."""

    name = forms.CharField(label="Serial", help_text="As stamped on the body.", max_length=40)
    kind = forms.ChoiceField(label="Kind", choices=[("annular", "Annular"), ("pipe-ram", "Pipe ram")])
    day = forms.DateField(label="Date of manufacture", required=False, widget=forms.DateInput({"type": "date"}))
    station = forms.ChoiceField(
        label="Control station",
        choices=[("floor", "Rig floor"), ("remote", "Remote panel"), ("unit", "Closing unit")],
        widget=forms.RadioSelect,
    )
    recording = forms.FileField(
        label="Recorder file",
        help_text="CSV, TSV or semicolons, up to 64 MB; kept as received.",
        required=False,
        widget=forms.FileInput({"data-max-bytes": 64_000_000}),
    )
    leak = forms.BooleanField(label="A leak was seen", required=False)
    remarks = forms.CharField(label="Remarks", required=False, widget=forms.Textarea({"rows": 3}))


class SampleFilter(forms.Form):
    """Filters of the sample table."""

    search = forms.CharField(label="Serial or name", required=False)
    shown_state = forms.ChoiceField(
        label="State", required=False, choices=[("", "Any"), *((key, one.word) for key, one in STATES.items())]
    )


@login_required
def show_style(request: HttpRequest) -> HttpResponse:
    """Show the page; with ``?refused=1`` the form stands as after a refusal, with ``?empty=1`` the table is empty."""
    table = SampleTable([] if "empty" in request.GET else ROWS * 3)
    tables.RequestConfig(request, paginate={"per_page": 5}).configure(table)
    context = {
        "table": table,
        "form": SampleForm({"name": ""} if "refused" in request.GET else None),
        "filter_form": SampleFilter(request.GET),
        "states": STATES,
        "sample_moment": timezone.now(),
    }
    return render(request, "style_guide.html", context)
