"""One rig on the fleet board: how it stands in words, and its row as it is written.

Two hundred rigs are written at once, so a row is put together in one go and not cell by cell through a template.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import Final
from zoneinfo import ZoneInfo

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from accounts.presentation import date_text, in_zone, zone_label
from accounts.templatetags.wellhold import state
from tests_app.queries.board import RigStanding
from tests_app.web.due_groups import NEXT_7_DAYS
from tests_app.web.entry import RigLink

NEVER_WORKED_OUT: Final = "not yet"
OLD: Final = timedelta(hours=24)
"""A rig's dates worked out longer ago than this are told as old: its alerts and this board may miss what came since."""
WORDS: Final = {
    "no-rules": ("unknown", "No rules chosen"),
    "never": ("unknown", "Not worked out yet"),
    "overdue": ("overdue", "Overdue"),
    "unknown": ("unknown", "Cannot be worked out"),
    "due-now": ("due-now", "Due now"),
    "next": ("due-soon", "Due within 7 days"),
    "in-date": ("in-date", "In date"),
}
"""State mark and words of each way a rig can stand."""
ORDER: Final = ("overdue", "no-rules", "never", "unknown", "due-now", "next", "in-date")
HEADS: Final = {
    "rig": "Rig",
    "standing": "Standing",
    "overdue": "Overdue",
    "due_now": "Due now",
    "next_days": "Next 7 days",
    "oldest": "Oldest overdue",
    "stops": "Stops operations",
    "deferred": "Deferred",
    "alerts": "Alerts open",
    "worked": "Worked out",
}
"""Head of each column."""
_QUERIES: Final = {
    "overdue": "?when=overdue",
    "due_now": "?when=now",
    "next_days": f"?when={NEXT_7_DAYS}",
    "deferred": "?waiting=deferred",
    "alerts": "alerts/",
}
"""What leads from a rig's front page to the rows a count counts."""
_FEW_DAYS: Final = 2


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
        return (ORDER.index(self.standing), *counts, stand.rig.name)

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
    def oldest_by(self) -> float:
        """Return since when the oldest is overdue as a number: nothing overdue comes last."""
        return self.stand.oldest_at.timestamp() if self.stand.oldest_at else float("inf")

    @property
    def worked_by(self) -> float:
        """Return when its dates were worked out as a number: what never was comes first."""
        return self.stand.worked_at.timestamp() if self.stand.worked_at else 0.0

    @property
    def is_old(self) -> bool:
        """Tell whether the rig's dates were worked out too long ago to be relied on."""
        worked = self.stand.worked_at
        return worked is not None and self.at - worked > OLD

    @property
    def link(self) -> RigLink:
        """Return where the rig's due list is."""
        return RigLink(self.stand.rig.pk, self.stand.rig.name)

    @property
    def oldest_words(self) -> str:
        """Return how long the oldest is overdue, in words; empty where nothing is."""
        days = self.oldest_days
        if days is None:
            return ""
        return f"{days:.0f} days" if days >= _FEW_DAYS else f"{days * 24:.0f} h"

    @property
    def stops_words(self) -> str:
        """Return what stops operations: some by name, the rest as a count."""
        named, count = self.stand.stopping_named, self.stand.stopping
        more = [f"and {count - len(named)} more"] if count > len(named) else []
        return "; ".join([*named, *more])

    def html(self) -> SafeString:
        """Return the row of the table."""
        front = self.link.get_absolute_url()
        cells = (
            ("rig", self._rig(front)),
            ("standing", _standing_shown(self.standing)),
            *((name, self._count(name, front)) for name in ("overdue", "due_now", "next_days")),
            ("oldest", self._oldest()),
            ("stops", self.stops_words or _NOTHING),
            *((name, self._count(name, front)) for name in ("deferred", "alerts")),
            ("worked", self._worked()),
        )
        return format_html(
            "<tr>{}</tr>",
            format_html_join(
                "",
                '<td data-label="{}"{}>{}</td>',
                ((HEADS[name], _NUMBER if name in _QUERIES else "", shown) for name, shown in cells),
            ),
        )

    def _rig(self, front: str) -> SafeString:
        rig = self.stand.rig
        kind = rig.get_kind_display().lower()
        return format_html('<a href="{}">{}</a><br><span class="small soft">{}</span>', front, rig.name, kind)

    def _count(self, name: str, front: str) -> SafeString:
        count: int = getattr(self.stand, name)
        return format_html('<a href="{}{}">{}</a>', front, _QUERIES[name], count) if count else _NONE

    def _oldest(self) -> SafeString | str:
        oldest = self.stand.oldest_at
        if oldest is None:
            return "–"
        since = _moment(oldest, self.zone)
        return format_html('{}<br><span class="small soft">since {}</span>', self.oldest_words, since)

    def _worked(self) -> SafeString | str:
        worked = self.stand.worked_at
        if worked is None:
            return NEVER_WORKED_OUT
        doubts = [words for words, is_so in (("old", self.is_old), ("failed since", bool(self.stand.error))) if is_so]
        shown = _moment(worked, self.zone)
        if not doubts:
            return shown
        return format_html('{}<br><b class="falls-short">{}</b>', shown, ", ".join(doubts))


_NUMBER: Final = SafeString(' class="num"')
_NONE: Final = SafeString('<span class="soft">0</span>')
_NOTHING: Final = SafeString('<span class="soft">nothing overdue</span>')


@cache
def _standing_shown(key: str) -> SafeString:
    return state(*WORDS[key])


def _moment(moment: datetime, zone: ZoneInfo) -> str:
    local = in_zone(moment, zone)
    return f"{date_text(local)}, {local:%H:%M} {zone_label(local)}"
