"""The due list as rows, filter and table: what each row says, where it leads, and which rows stay."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import django_tables2 as tables
from django import forms
from django.template.loader import render_to_string
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from calcs.recurrence import State
from calcs.rule_words import OCCASION_WORDS
from calcs.rules import Occasion
from calcs.schedule_rule_words import REASON_WORDS
from calcs.schedule_rules import PostponeReason
from equipment.models import NOT_PRESSURE_TESTED
from equipment.queries.access import Right
from equipment.web.columns import ListTable, MomentColumn
from equipment.web.lists import RowFilter
from tests_app.models import PartOfSystem
from tests_app.queries.due_items import DueItem, What
from tests_app.web.clauses import clauses_linked
from tests_app.web.due_groups import WHEN_CHOICES, WHO_CHOICES, Group, group_of, is_when, last_day, who_key
from tests_app.web.due_words import (
    STATE_CHOICES,
    STATE_KEYS,
    WHAT_CHOICES,
    WHAT_WORDS,
    deadline_text,
    due_text,
    state_words,
)

_FAR: Final = float("inf")
_RECORDED_BY: Final[Mapping[str, str]] = {
    What.PRESSURE: "tests_app:pressure-test-new",
    What.FUNCTION: "tests_app:function-test-new",
    What.DRAWDOWN: "tests_app:drawdown-new",
    What.PUMP: "tests_app:pump-test-new",
}
"""Tests with a record of their own; everything else is entered as work done."""
_TESTS: Final = frozenset({*_RECORDED_BY, What.CASING})


@dataclass(frozen=True)
class Link:
    """Where a row leads, and the words of it."""

    address: str
    words: str


@dataclass(frozen=True)
class DueRow:
    """One row of the due list, ready to sort, filter and show.

    Attributes:
        item: what is due.
        at: the moment of looking.
        rig_pk: the rig, for the addresses; without it the row leads to none of its pages.
        rights: of the person who looks; what they may not do is not offered.
        by: how the list is parted.
    """

    item: DueItem
    at: datetime
    rig_pk: int = 0
    rights: frozenset[Right] = frozenset()
    by: str = "nothing"

    @property
    def zone(self) -> ZoneInfo:
        """Return the rig's clock."""
        return self.item.zone

    @property
    def group(self) -> Group:
        """Return the part of the list it stands in."""
        return group_of(self.item, self.at, self.by)

    @property
    def urgency(self) -> tuple[int, float]:
        """Return the place among the most pressing."""
        return self.item.rank, self.due_at.timestamp() if self.due_at else _FAR

    @property
    def words(self) -> str:
        """Return the state in words."""
        return state_words(self.item, self.at)

    @property
    def element(self) -> str:
        """Return what it is about, in one text."""
        return ", ".join(filter(None, (self.item.subject, self.item.subject_detail)))

    @property
    def what(self) -> str:
        """Return what has to be done, in words."""
        return WHAT_WORDS[self.item.what]

    @property
    def part(self) -> str:
        """Return the part of the system, in words."""
        return group_of(self.item, self.at, "part").title

    @property
    def due_at(self) -> datetime | None:
        """Return the limit, to sort by."""
        return self.item.due.due_at if self.item.due else None

    @property
    def due_by(self) -> float:
        """Return the limit as a number: what has none comes last."""
        return self.due_at.timestamp() if self.due_at else _FAR

    @property
    def amber_at(self) -> datetime | None:
        """Return the earlier of the two dates the clause can be read as, where there are two."""
        return self.item.due.amber_at if self.item.due else None

    @property
    def due_text(self) -> str:
        """Return the limit in words."""
        return due_text(self.item)

    @property
    def limit_words(self) -> str:
        """Return the limit as it stands in a column: since when, for what is due at once."""
        if not self.due_text:
            return "–"
        return f"at once, since {self.due_text}" if self.is_since else self.due_text

    @property
    def amber_text(self) -> str:
        """Return the earlier date in words."""
        return deadline_text(self.amber_at, self.zone) if self.amber_at else ""

    @property
    def is_since(self) -> bool:
        """Tell whether the date is when it became due, not a day still ahead."""
        return self.item.due is not None and self.item.due.state == State.DUE_NOW

    @property
    def done_by(self) -> float:
        """Return when it was last done as a number: what never was comes first."""
        return self.item.last_tested_at.timestamp() if self.item.last_tested_at else 0.0

    @property
    def waiting(self) -> str:
        """Return why it may wait: a deferral with the date it moved, a postponement with the date it keeps."""
        return " ".join(filter(None, (_deferral_words(self.item), _postponement_words(self.item))))

    @property
    def subject_address(self) -> str:
        """Return where what it is about is shown."""
        item = self.item
        found = (("bank", item.bank), ("component", item.component), ("instrument", item.instrument))
        for name, row in found:
            if row is not None:
                return address_of(f"equipment:{name}", row.pk)
        return address_of("equipment:stack", item.stack.pk) if item.stack else ""

    @property
    def why_address(self) -> str:
        """Return the page on which its date is worked out step by step; empty where there is none."""
        return address_of("tests_app:why", self.rig_pk, self.item.key)

    @property
    def links(self) -> list[Link]:
        """Return what the person may do about it: record it, have it wait."""
        return [link for link in (self._record, self._defer, self._postpone) if link is not None]

    @property
    def _record(self) -> Link | None:
        bank, words = self.item.bank, "Record it"
        if bank is not None and self.item.what == What.PRECHARGE:
            return self._offered(Right.RECORD, address_of("equipment:precharge-new", bank.pk), words)
        if bank is not None and self.item.what == What.SHELL:
            return self._offered(Right.MANAGE, address_of("equipment:bank", bank.pk), words)
        if self.item.what in _RECORDED_BY and not self._is_work:
            return self._offered(Right.RECORD, self._keyed(_RECORDED_BY[self.item.what]), words)
        return self._offered(Right.WORK, self._keyed("tests_app:work-new"), words)

    @property
    def _is_work(self) -> bool:
        """Tell whether a test of it is entered as work done: a diverter's pressure, the riser package as a whole."""
        component = self.item.component
        if self.item.what == What.FUNCTION:
            return component is None and self.item.control_item is None
        held_in_none = component is None or component.kind in NOT_PRESSURE_TESTED
        return self.item.what == What.PRESSURE and held_in_none

    @property
    def _defer(self) -> Link | None:
        return self._offered(Right.DEFER, self._keyed("tests_app:deferral-new"), "Defer")

    @property
    def _postpone(self) -> Link | None:
        address = self._keyed("tests_app:postponement-new") if self.item.what in _TESTS else ""
        return self._offered(Right.DEFER, address, "Not safe to test now")

    def _keyed(self, name: str) -> str:
        address = address_of(name, self.rig_pk)
        return f"{address}?key={self.item.key}" if address else ""

    def _offered(self, right: Right, address: str, words: str) -> Link | None:
        return Link(address, words) if address and right in self.rights else None


def address_of(name: str, *arguments: object) -> str:
    """Return an address; empty where there is no such page."""
    try:
        return reverse(name, args=arguments)
    except NoReverseMatch:
        return ""


def _deferral_words(item: DueItem) -> str:
    deferral, due = item.deferral, item.due
    if deferral is None:
        return ""
    was = f"; was due {deadline_text(due.original_due_at, item.zone)}" if due and due.original_due_at else ""
    until = deadline_text(deferral.until, item.zone)
    return f"Deferred until {until} by {deferral.approved_by} ({deferral.reference}){was}."


def _postponement_words(item: DueItem) -> str:
    waiting = item.postponement
    if waiting is None:
        return ""
    why = _said(REASON_WORDS, PostponeReason, waiting.reason)
    then = _said(OCCASION_WORDS, Occasion, waiting.then)
    since = deadline_text(waiting.made_at, item.zone)
    return f"Not safe to test since {since} ({why}): to be made {then}; the date it was due on stays."


def _said(words: Mapping[Any, str], kind: Any, key: str) -> str:
    return words.get(kind(key), key) if key in set(kind) else key


class DueFilter(RowFilter[DueRow]):
    """When, how it stands, what has to be done, where, by whom, what may wait, and a word of the name."""

    when = forms.ChoiceField(label="When", required=False, choices=[("", "Any time"), *WHEN_CHOICES])
    state = forms.ChoiceField(label="State", required=False, choices=[("", "Any"), *STATE_CHOICES])
    what = forms.ChoiceField(label="What", required=False, choices=[("", "All"), *WHAT_CHOICES])
    part = forms.ChoiceField(label="Part", required=False, choices=[("", "All"), *PartOfSystem.choices])
    who = forms.ChoiceField(label="Who", required=False, choices=[("", "All"), *WHO_CHOICES])
    waiting = forms.ChoiceField(
        label="May wait",
        required=False,
        choices=[("", "All"), ("deferred", "Deferred"), ("postponed", "Not safe to test"), ("no", "May not wait")],
    )
    since = forms.DateField(label="Due from", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    before = forms.DateField(label="Due until", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    text = forms.CharField(label="Name or serial", required=False, max_length=60)
    by = forms.CharField(required=False, widget=forms.HiddenInput)

    def keeps(self, row: DueRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        item = row.item
        when = wanted.get("when", "")
        return (
            (not when or is_when(item, row.at, when))
            and wanted.get("state", "") in ("", item.state)
            and wanted.get("what", "") in ("", item.what)
            and wanted.get("part", "") in ("", item.part)
            and wanted.get("who", "") in ("", who_key(item.what))
            and _waits(item, wanted.get("waiting", ""))
            and _in_days(row, wanted)
            and wanted.get("text", "").casefold() in f"{row.element} {row.what}".casefold()
        )


def _waits(item: DueItem, wanted: str) -> bool:
    waits = {"deferred": item.deferral is not None, "postponed": item.postponement is not None}
    if wanted == "no":
        return not any(waits.values())
    return waits.get(wanted, True)


def _in_days(row: DueRow, wanted: Mapping[str, Any]) -> bool:
    """Tell whether the last day for it lies in the days asked for; both count."""
    since, before = wanted.get("since"), wanted.get("before")
    if since is None and before is None:
        return True
    if row.due_at is None:
        return False
    last = last_day(row.item)
    return (since is None or last >= since) and (before is None or last <= before)


@dataclass(frozen=True)
class GroupHead:
    """The head of a part of the list: how many rows stand in it, and on which page it begins."""

    group: Group
    count: int
    page: int


class DueTable(ListTable):
    """The due list, its parts under heads of their own."""

    standing = tables.Column("State", accessor="words", order_by="urgency")
    element = tables.Column("What is due", accessor="element", order_by=("item__subject", "what"))
    what = tables.Column("What", visible=False)
    part = tables.Column("Part", visible=False)
    tested = MomentColumn("Last done", accessor="item__last_tested_at", order_by="done_by")
    next_due = tables.Column(
        "Begin the next before",
        accessor="due_text",
        order_by="due_by",
        empty_values=(),
        attrs={"td": {"class": "deadline"}},
    )
    waiting = tables.Column("May wait", visible=False)
    clause = tables.Column("Clause", accessor="item__clause")
    why = tables.Column("", accessor="item__reason", orderable=False, empty_values=(), attrs={"td": {"class": "tools"}})

    class Meta:
        empty_text = "Nothing matches. Show all, or install components in the stack first: what is installed is due."
        template_name = "tests_app/parts/due_table.html"
        attrs = {"class": "due"}

    @property
    def order_by(self) -> Any:
        """Return the columns sorted by."""
        return tables.Table.order_by.fget(self)

    @order_by.setter
    def order_by(self, value: Any) -> None:
        tables.Table.order_by.fset(self, value)
        # Within each part only: sorting never mixes the parts.
        self.data.data.sort(key=lambda row: row.group.order)

    def heads(self) -> dict[str, GroupHead]:
        """Return the head of each part, in order; none where the list is not parted."""
        rows = list(self.data)
        counts = Counter(row.group.key for row in rows)
        size = self.paginator.per_page if hasattr(self, "paginator") else max(1, len(rows))
        first = {row.group.key: (place, row.group) for place, row in reversed(list(enumerate(rows)))}
        found = {
            key: GroupHead(group, counts[key], place // size + 1)
            for key, (place, group) in sorted(first.items(), key=lambda one: one[1][0])
        }
        return found if any(head.group.title for head in found.values()) else {}

    def render_standing(self, value: str, record: DueRow) -> SafeString:
        return state(STATE_KEYS[record.item.state], value)

    def render_element(self, record: DueRow) -> SafeString:
        item, address = record.item, record.subject_address
        name = format_html('<a href="{}">{}</a>', address, item.subject) if address else item.subject
        return format_html(
            '{}<br><span class="small">{}</span> <span class="small soft">{}</span>',
            name,
            record.what,
            item.subject_detail,
        )

    def render_tested(self, value: datetime, record: DueRow) -> SafeString:
        test, bank = record.item.last_record, record.item.bank
        shown = MomentColumn("").render(value, self)
        if test is None and bank is not None:
            return format_html('<a href="{}">{}</a>', reverse("equipment:bank-readings", args=[bank.pk]), shown)
        return format_html('<a href="{}">{}</a>', reverse("tests_app:record", args=[test.pk]), shown) if test else shown

    def render_next_due(self, value: str, record: DueRow) -> SafeString | str:
        shown = self._limit(value, record)
        if not record.waiting:
            return shown
        return format_html('{}<br><span class="waiting">{}</span>', shown, record.waiting)

    def _limit(self, value: str, record: DueRow) -> SafeString | str:
        if record.is_since or record.amber_at is None:
            return record.limit_words
        return format_html('{}<br><span class="small soft">better before {}</span>', value, record.amber_text)

    def render_why(self, value: str, record: DueRow) -> SafeString:
        return SafeString(render_to_string("tests_app/parts/due_tools.html", {"row": record, "reason": value}))

    def render_clause(self, value: str, record: DueRow) -> SafeString | str:
        return clauses_linked(value, record.item.edition)

    def value_clause(self, value: str) -> str:
        return value

    def value_element(self, record: DueRow) -> str:
        return record.element

    def value_next_due(self, record: DueRow) -> str:
        return record.due_at.astimezone(record.zone).isoformat(timespec="minutes") if record.due_at else ""

    def value_why(self, value: str) -> str:
        return value
