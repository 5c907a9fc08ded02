"""The fleet board: how each of a person's rigs stands, the worst first; straight to the rig where there is one."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from accounts.presentation import in_zone
from equipment.models import RigKind
from equipment.queries import access
from equipment.web.columns import NUMERIC, ListTable
from equipment.web.lists import RowFilter, listed
from tests_app.queries.board import board
from tests_app.web.board_rows import HEADS, ORDER, WORDS, BoardRow
from tests_app.web.entry import signed_in
from tests_app.web.sweep_shown import late_sweeps

STANDING_CHOICES: Final = [(key, WORDS[key][1]) for key in ORDER]
MOST_TO_SWITCH_TO: Final = 20
"""So many rigs stand in the menu of the page head; the board itself holds all of them."""


class BoardFilter(RowFilter[BoardRow]):
    """How the rig stands, its kind, and a word of its name."""

    standing = forms.ChoiceField(label="Standing", required=False, choices=[("", "Any"), *STANDING_CHOICES])
    kind = forms.ChoiceField(label="Kind of rig", required=False, choices=[("", "All"), *RigKind.choices])
    text = forms.CharField(label="Name", required=False, max_length=60)

    def keeps(self, row: BoardRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        return (
            wanted.get("standing", "") in ("", row.standing)
            and wanted.get("kind", "") in ("", row.stand.rig.kind)
            and wanted.get("text", "").casefold() in row.stand.rig.name.casefold()
        )


class BoardTable(ListTable):
    """The fleet board: its heads, its order and its export; a row writes itself (`BoardRow.html`)."""

    rig = tables.Column(HEADS["rig"], accessor="stand__rig__name")
    kind = tables.Column("Kind", accessor="stand__rig__get_kind_display", visible=False)
    standing = tables.Column(HEADS["standing"], order_by="urgency")
    overdue = tables.Column(HEADS["overdue"], accessor="stand__overdue", attrs=NUMERIC)
    due_now = tables.Column(HEADS["due_now"], accessor="stand__due_now", attrs=NUMERIC)
    next_days = tables.Column(HEADS["next_days"], accessor="stand__next_days", attrs=NUMERIC)
    oldest = tables.Column(HEADS["oldest"], accessor="stand__oldest_at", order_by="oldest_by", empty_values=())
    stops = tables.Column(HEADS["stops"], accessor="stand__stopping")
    deferred = tables.Column(HEADS["deferred"], accessor="stand__deferred", attrs=NUMERIC)
    alerts = tables.Column(HEADS["alerts"], accessor="stand__alerts", attrs=NUMERIC)
    worked = tables.Column(HEADS["worked"], accessor="stand__worked_at", order_by="worked_by", empty_values=())

    class Meta:
        order_by = "standing"
        empty_text = "No rig matches. Show all."
        template_name = "tests_app/parts/board_table.html"
        attrs = {"class": "board"}

    def value_standing(self, value: str) -> str:
        return WORDS[value][1]

    def value_oldest(self, record: BoardRow) -> str:
        return _iso(record.stand.oldest_at, record.zone)

    def value_stops(self, record: BoardRow) -> str:
        return record.stops_words

    def value_worked(self, record: BoardRow) -> str:
        return _iso(record.stand.worked_at, record.zone)


def _iso(moment: datetime | None, zone: ZoneInfo) -> str:
    return in_zone(moment, zone).isoformat(timespec="minutes") if moment else ""


def summary_of_fleet(rows: Sequence[BoardRow]) -> tuple[str, str]:
    """Return how the fleet stands in one sentence, with the key of its state."""
    stopped = sum(row.stand.overdue for row in rows)
    rigs = sum(1 for row in rows if row.stand.overdue)
    dark = sum(1 for row in rows if row.standing in {"no-rules", "never"} or row.stand.unknown)
    now, soon = sum(row.stand.due_now for row in rows), sum(row.stand.next_days for row in rows)
    parts = [f"{stopped} overdue on {_rigs(rigs)}" if stopped else "Nothing is overdue"]
    parts += [f"{now} due now"] if now else []
    parts += [f"{soon} due within 7 days"] if soon else []
    parts += [f"{_rigs(dark)} cannot be fully worked out"] if dark else []
    worst = "overdue" if stopped else "unknown" if dark else "due-now" if now else "due-soon" if soon else "in-date"
    return f"Of {_rigs(len(rows))}: {_joined(parts)}.", worst


def _rigs(count: int) -> str:
    return "1 rig" if count == 1 else f"{count} rigs"


def _joined(parts: Sequence[str]) -> str:
    first = f"{parts[0][:1].lower()}{parts[0][1:]}"
    return f"{', '.join([first, *parts[1:-1]])} and {parts[-1]}" if len(parts) > 1 else first


@require_GET
@signed_in
def home(request: HttpRequest) -> HttpResponse:
    """Show the fleet board; go straight to the rig where there is but one."""
    visible = access.rigs_visible(request.user)
    at = timezone.now()
    rows = [BoardRow(stand, at) for stand in board(visible, at=at)]
    if len(rows) == 1:
        return redirect("tests_app:rig", rows[0].stand.rig.pk)
    found = listed(request, rows, BoardTable, filter_class=BoardFilter, file_name="fleet")
    if found.export is not None:
        return found.export
    summary, worst = summary_of_fleet(rows)
    context = {
        **found.context(),
        "rows": rows,
        "rigs": [row.link for row in rows[:MOST_TO_SWITCH_TO]],
        "summary": summary,
        "stands_worst": worst,
        "may_register": access.may_register_rigs(request.user),
        **late_sweeps([row.stand.rig for row in rows], at),
        "register_address": reverse("equipment:rig-new"),
    }
    return render(request, "tests_app/home.html", context)
