"""The fleet board: how each of a person's rigs stands, the worst first; straight to the rig where there is one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from accounts.presentation import date_text, in_zone, zone_label
from accounts.templatetags.wellhold import state
from equipment.models import RigKind
from equipment.queries import access
from equipment.web.columns import NUMERIC, ListTable
from equipment.web.lists import RowFilter, listed
from tests_app.queries.board import RigStanding, board
from tests_app.web.entry import RigLink, signed_in
from tests_app.web.sweep_shown import late_sweeps

NO_RULES: Final = "No rules are chosen for it: nothing can be in date."
NEVER_WORKED_OUT: Final = "Its dates were not worked out yet."
OLD: Final = timedelta(hours=24)
"""A rig's dates worked out longer ago than this are told as old: its alerts and this board may miss what came since."""

_WORDS: Final = {
    "no-rules": ("unknown", "No rules chosen"),
    "never": ("unknown", "Not worked out yet"),
    "overdue": ("overdue", "Overdue"),
    "unknown": ("unknown", "Cannot be worked out"),
    "due-now": ("due-now", "Due now"),
    "next": ("due-soon", "Due within 7 days"),
    "in-date": ("in-date", "In date"),
}
_ORDER: Final = ("overdue", "no-rules", "never", "unknown", "due-now", "next", "in-date")
STANDING_CHOICES: Final = [(key, _WORDS[key][1]) for key in _ORDER]


@dataclass(frozen=True)
class BoardRow:
    """One rig on the board, ready to sort, filter and show."""

    stand: RigStanding
    at: datetime

    @property
    def standing(self) -> str:
        """Return the worst there is to say of the rig."""
        stand = self.stand
        if not stand.has_rules:
            return "no-rules"
        if stand.worked_at is None:
            return "never"
        found = (("overdue", stand.overdue), ("unknown", stand.unknown), ("due-now", stand.due_now))
        worst = next((key for key, count in found if count), None)
        return worst or ("next" if stand.next_days else "in-date")

    @property
    def urgency(self) -> tuple[int, int, int, int, int, str]:
        """Return the place among the most pressing."""
        stand = self.stand
        counts = (-stand.stopping, -stand.overdue, -stand.due_now, -stand.next_days)
        return (_ORDER.index(self.standing), *counts, stand.rig.name)

    @property
    def zone(self) -> ZoneInfo:
        """Return the rig's own clock."""
        return self.stand.rig.zone

    @property
    def oldest_days(self) -> float | None:
        """Return how long the oldest is overdue, in days."""
        oldest = self.stand.oldest_at
        return (self.at - oldest).total_seconds() / 86_400 if oldest else None

    @property
    def is_old(self) -> bool:
        """Tell whether the rig's dates were worked out too long ago to be relied on."""
        worked = self.stand.worked_at
        return worked is not None and self.at - worked > OLD

    @property
    def link(self) -> RigLink:
        """Return where the rig's due list is."""
        return RigLink(self.stand.rig.pk, self.stand.rig.name)


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


class CountColumn(tables.Column):
    """A count that leads to the rows it counts; none is written as a quiet dash."""

    def __init__(self, label: str, name: str, query: str = "", page: str = "rig", **options: Any) -> None:
        self.query = query
        self.page = page
        super().__init__(verbose_name=label, accessor=f"stand__{name}", attrs=NUMERIC, **options)

    def render(self, value: int, record: BoardRow) -> SafeString:
        """Return the count as a link to the due list, narrowed."""
        if not value:
            return SafeString('<span class="soft">0</span>')
        address = reverse(f"tests_app:{self.page}", args=[record.stand.rig.pk])
        return format_html('<a href="{}{}">{}</a>', address, self.query, value)

    def value(self, value: int) -> int:
        """Return the count for an export."""
        return value


class BoardTable(ListTable):
    """The fleet board."""

    rig = tables.Column("Rig", accessor="stand__rig__name")
    standing = tables.Column("Standing", accessor="standing", order_by="urgency")
    overdue = CountColumn("Overdue", "overdue", "?when=overdue")
    due_now = CountColumn("Due now", "due_now", "?when=now")
    next_days = CountColumn("Next 7 days", "next_days", "?when=next-7")
    oldest = tables.Column("Oldest overdue", accessor="oldest_days", empty_values=())
    stops = tables.Column("Stops operations", accessor="stand__stopping")
    deferred = CountColumn("Deferred", "deferred", "?waiting=deferred")
    alerts = CountColumn("Alerts open", "alerts", page="rig-alerts")
    worked = tables.Column("Worked out", accessor="stand__worked_at", empty_values=())

    class Meta:
        order_by = "standing"
        empty_text = "No rig matches. Show all."
        attrs = {"class": "board"}

    def render_rig(self, value: str, record: BoardRow) -> SafeString:
        kind = record.stand.rig.get_kind_display().lower()
        address = record.link.get_absolute_url()
        return format_html('<a href="{}">{}</a><br><span class="small soft">{}</span>', address, value, kind)

    def render_standing(self, value: str) -> SafeString:
        return state(*_WORDS[value])

    def value_standing(self, value: str) -> str:
        return _WORDS[value][1]

    def render_oldest(self, value: float | None, record: BoardRow) -> SafeString | str:
        oldest = record.stand.oldest_at
        if oldest is None or value is None:
            return "–"
        local = in_zone(oldest, record.zone)
        words = f"{value:.0f} days" if value >= 2 else f"{value * 24:.0f} h"
        since = f"{date_text(local)}, {local:%H:%M}"
        return format_html('{}<br><span class="small soft">since {} {}</span>', words, since, zone_label(local))

    def value_oldest(self, record: BoardRow) -> str:
        return _iso(record.stand.oldest_at, record.zone)

    def render_stops(self, value: int, record: BoardRow) -> SafeString | str:
        if not value:
            return SafeString('<span class="soft">nothing overdue</span>')
        named = record.stand.stopping_named
        more = f"and {value - len(named)} more" if value > len(named) else ""
        return format_html('{}<br><span class="small soft">{}</span>', "; ".join(named), more)

    def value_stops(self, value: int, record: BoardRow) -> str:
        return f"{value}: {'; '.join(record.stand.stopping_named)}" if value else "0"

    def render_worked(self, record: BoardRow) -> SafeString | str:
        worked = record.stand.worked_at
        if worked is None:
            return NEVER_WORKED_OUT
        local = in_zone(worked, record.zone)
        text = f"{date_text(local)}, {local:%H:%M}"
        old = "more than a day ago" if record.is_old else ""
        failed = "and failed since" if record.stand.error else ""
        return format_html(
            '{} <span class="zone">{}</span> <span class="tone-bad falls-short">{} {}</span>',
            text,
            zone_label(local),
            old,
            failed,
        )

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
        "rigs": [row.link for row in rows],
        "summary": summary,
        "stands_worst": worst,
        "may_register": access.may_register_rigs(request.user),
        **late_sweeps([row.stand.rig for row in rows], at),
        "register_address": reverse("equipment:rig-new"),
    }
    return render(request, "tests_app/home.html", context)
