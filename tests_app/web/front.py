"""The front page of a rig: what is due, the most pressing first; and the page of all one's rigs."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from accounts.templatetags.wellhold import state
from calcs.recurrence import State
from equipment.queries import access
from equipment.web.columns import ListTable, MomentColumn
from equipment.web.lists import RowFilter, listed
from tests_app.models import PartOfSystem, Record
from tests_app.queries import records
from tests_app.queries.due_items import CANNOT_BE_WORKED_OUT, NEVER_TESTED, NOT_PASSED, DueItem, What
from tests_app.queries.due_list import due_list
from tests_app.web.clauses import clauses_linked
from tests_app.web.due_words import (
    STATE_CHOICES,
    STATE_KEYS,
    WHAT_CHOICES,
    WHAT_WORDS,
    deadline_text,
    due_text,
    state_words,
)
from tests_app.web.entry import RigLink, Visit, signed_in
from tests_app.web.rule_titles import rules_followed

_ORDER: Final = tuple(STATE_KEYS)
_URGENT: Final = (CANNOT_BE_WORKED_OUT, State.OVERDUE, NOT_PASSED, NEVER_TESTED, State.DUE_NOW)
_COUNTED: Final[Mapping[str, tuple[str, str]]] = {
    CANNOT_BE_WORKED_OUT: ("cannot be worked out", "cannot be worked out"),
    State.OVERDUE: ("is overdue", "are overdue"),
    NOT_PASSED: ("did not pass its last test", "did not pass their last test"),
    NEVER_TESTED: ("was never tested", "were never tested"),
    State.DUE_NOW: ("is due now", "are due now"),
    State.DUE_SOON: ("is due soon", "are due soon"),
    State.IN_PROGRESS: ("is being tested", "are being tested"),
    State.IN_DATE: ("is in date", "are in date"),
    State.OUT_OF_SERVICE: ("is out of service", "are out of service"),
}

NO_RULES: Final = "No rules are chosen for it: nothing can be in date."


@dataclass(frozen=True)
class DueRow:
    """One row of the due list, ready to sort, filter and show."""

    item: DueItem
    at: datetime
    zone: ZoneInfo

    @property
    def urgency(self) -> tuple[int, float]:
        """Return the place among the most pressing."""
        due_at = self.item.due.due_at if self.item.due else None
        return self.item.rank, due_at.timestamp() if due_at else float("inf")

    @property
    def words(self) -> str:
        """Return the state in words."""
        return state_words(self.item, self.at)

    @property
    def element(self) -> str:
        """Return what stands where, in one text."""
        item = self.item
        detail = item.component.serial if item.component and item.position else item.subject_detail
        return ", ".join(filter(None, [item.subject, detail]))

    @property
    def what(self) -> str:
        """Return what has to be done, in words."""
        return WHAT_WORDS[self.item.what]

    @property
    def due_at(self) -> datetime | None:
        """Return the limit, to sort by."""
        return self.item.due.due_at if self.item.due else None

    @property
    def amber_at(self) -> datetime | None:
        """Return the earlier of the two dates the clause can be read as, where there are two."""
        return self.item.due.amber_at if self.item.due else None

    @property
    def due_text(self) -> str:
        """Return the limit in words."""
        return due_text(self.item)

    @property
    def amber_text(self) -> str:
        """Return the earlier date in words."""
        return deadline_text(self.amber_at, self.zone) if self.amber_at else ""

    @property
    def is_since(self) -> bool:
        """Tell whether the date is when it became due, not a day still ahead."""
        return self.item.due is not None and self.item.due.state == State.DUE_NOW


class DueFilter(RowFilter[DueRow]):
    """State, what has to be done, part of the system, and a word of the name or serial."""

    state = forms.ChoiceField(label="State", required=False, choices=[("", "Any"), *STATE_CHOICES])
    what = forms.ChoiceField(label="What", required=False, choices=[("", "All"), *WHAT_CHOICES])
    group = forms.ChoiceField(label="Part", required=False, choices=[("", "All"), *PartOfSystem.choices])
    text = forms.CharField(label="Name or serial", required=False, max_length=60)

    def keeps(self, row: DueRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        text = wanted.get("text", "").casefold()
        return (
            wanted.get("state", "") in ("", row.item.state)
            and wanted.get("what", "") in ("", row.item.what)
            and wanted.get("group", "") in ("", row.item.part)
            and text in f"{row.element} {row.item.subject_detail}".casefold()
        )


class DueTable(ListTable):
    """The due list."""

    standing = tables.Column("State", accessor="words", order_by="urgency")
    element = tables.Column("Element", order_by="item__subject")
    what = tables.Column("What", visible=False)
    tested = MomentColumn("Last passing test", accessor="item__last_tested_at")
    next_due = tables.Column(
        "Begin the next before",
        accessor="due_text",
        order_by="due_at",
        empty_values=(),
        attrs={"td": {"class": "deadline"}},
    )
    clause = tables.Column("Clause", accessor="item__clause")
    why = tables.Column("Why", accessor="item__reason", orderable=False)

    class Meta:
        empty_text = "Nothing matches. Show all, or install components in the stack first: what is installed is due."

    def render_standing(self, value: str, record: DueRow) -> SafeString:
        return state(STATE_KEYS[record.item.state], value)

    def render_element(self, record: DueRow) -> SafeString:
        item = record.item
        address = subject_address(item)
        name = format_html('<a href="{}">{}</a>', address, item.subject) if address else item.subject
        if item.what is What.PRESSURE:
            return format_html('{}<br><span class="small soft">{}</span>', name, item.subject_detail)
        return format_html(
            '{}<br><span class="small">{}</span> <span class="small soft">{}</span>',
            name,
            record.what,
            item.component.serial if item.component and item.position else item.subject_detail,
        )

    def render_tested(self, value: datetime, record: DueRow) -> SafeString:
        test, bank = record.item.last_record, record.item.bank
        shown = MomentColumn("").render(value, self)
        if test is None and bank is not None:
            return format_html('<a href="{}">{}</a>', reverse("equipment:bank-readings", args=[bank.pk]), shown)
        return format_html('<a href="{}">{}</a>', reverse("tests_app:record", args=[test.pk]), shown) if test else shown

    def render_next_due(self, value: str, record: DueRow) -> SafeString | str:
        if not value:
            return "–"
        if record.is_since:
            return format_html("at once, since {}", value)
        if record.amber_at is None:
            return value
        return format_html('{}<br><span class="small soft">better before {}</span>', value, record.amber_text)

    def render_why(self, value: str, record: DueRow) -> SafeString:
        return SafeString(render_to_string("tests_app/parts/why.html", {"row": record, "reason": value}))

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


def subject_address(item: DueItem) -> str:
    """Return the page of what an item is about; empty where it has none of its own."""
    if item.bank is not None:
        return reverse("equipment:bank", args=[item.bank.pk])
    if item.component is not None:
        return reverse("equipment:component", args=[item.component.pk])
    if item.instrument is not None:
        return reverse("equipment:instrument", args=[item.instrument.pk])
    return reverse("equipment:stack", args=[item.stack.pk]) if item.stack is not None else ""


def summary_of(items: Sequence[DueItem]) -> str:
    """Return how the rig stands in one sentence."""
    counts = Counter(item.state for item in items)
    parts = [f"{counts[state]} {_COUNTED[state][counts[state] != 1]}" for state in _ORDER if counts[state]]
    if not parts:
        return "Nothing that has to be tested is installed on this rig yet."
    if not any(counts[state] for state in _URGENT):
        parts.insert(0, "nothing is overdue")
    joined = " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else parts[0]
    return f"{joined[:1].upper()}{joined[1:]}."


@require_GET
@signed_in
def rig_front(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show what is due on a rig, with the tests in progress."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    items = due_list(rig, at=visit.at)
    found = listed(
        request,
        [DueRow(item, visit.at, rig.zone) for item in items],
        DueTable,
        filter_class=DueFilter,
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"due-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    context = {
        **found.context(),
        "summary": summary_of(items),
        "drafts": _drafts(visit),
        "stands_worst": _worst(items),
        "rules_title": rules_followed(rig),
    }
    return visit.show(request, "tests_app/rig.html", context)


def _drafts(visit: Visit) -> list[Record]:
    drafts = records.records_visible(visit.user, visit.rig).filter(
        sealed_at=None, discarded_at=None, superseded_by=None
    )
    return list(drafts.order_by("-started_at"))


def _worst(items: Sequence[DueItem]) -> str:
    """Return the key of the worst state on the rig; in date when there is nothing to show."""
    return STATE_KEYS[items[0].state] if items else "not-judged"


@dataclass(frozen=True)
class RigRow:
    """One of the person's rigs and how it stands."""

    link: RigLink
    kind: str
    summary: str
    worst: str


@require_GET
@signed_in
def home(request: HttpRequest) -> HttpResponse:
    """Show the person's rigs and how each stands; straight to it where there is one."""
    rigs = list(access.rigs_visible(request.user))
    if len(rigs) == 1:
        return redirect("tests_app:rig", rigs[0].pk)
    at = timezone.now()
    rows = []
    for rig in rigs:
        items = due_list(rig, at=at)
        summary, worst = (
            (summary_of(items), _worst(items)) if rules_followed(rig) else (NO_RULES, STATE_KEYS[CANNOT_BE_WORKED_OUT])
        )
        rows.append(RigRow(RigLink(rig.pk, rig.name), rig.get_kind_display(), summary, worst))
    context = {"rows": rows, "rigs": rigs, "may_register": access.may_register_rigs(request.user)}
    return render(request, "tests_app/home.html", context)
