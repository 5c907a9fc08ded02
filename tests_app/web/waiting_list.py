"""The deferrals and postponed tests of a rig as one list."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from calcs.rule_words import OCCASION_WORDS
from calcs.rules import Occasion
from calcs.schedule_rule_words import REASON_WORDS
from calcs.schedule_rules import PostponeReason
from equipment.models import Rig
from equipment.queries import access
from equipment.web.columns import ListTable, MomentColumn, StateColumn
from equipment.web.lists import RowFilter, listed
from tests_app.models import Deferral, Postponement, What
from tests_app.queries.waiting import everything_waiting
from tests_app.web.entry import Visit, signed_in

DEFERRED: Final = "Deferral"
POSTPONED: Final = "Not safe to test"
_STATES: Final[Mapping[str, tuple[str, str]]] = {
    "called": ("due-now", "Called for"),
    "in-force": ("waiting", "In force"),
    "waits": ("waiting", "Waits"),
    "run-out": ("not-judged", "Run out"),
    "ended": ("superseded", "Ended"),
    "withdrawn": ("superseded", "Withdrawn"),
}
"""Every state with its mark and its word, what bears on today first."""


def then_words(occasion: str) -> str:
    """Return when a test that waits is made, in words."""
    if occasion == Occasion.TRIP:
        return "on the first trip out"
    return OCCASION_WORDS[Occasion(occasion)]


def _deferral_key(row: Deferral, at: datetime) -> str:
    if row.withdrawn_at is not None:
        return "withdrawn"
    return "in-force" if at < row.until else "run-out"


def _postponement_key(row: Postponement) -> str:
    if row.ended_at is not None:
        return "ended"
    return "waits" if row.called_at is None else "called"


def deferral_state(row: Deferral, at: datetime) -> tuple[str, str]:
    """Return the key of the state mark of a deferral and its words."""
    return _STATES[_deferral_key(row, at)]


def postponement_state(row: Postponement) -> tuple[str, str]:
    """Return the key of the state mark of a postponed test and its words."""
    return _STATES[_postponement_key(row)]


@dataclass(frozen=True)
class WaitingRow:
    """A deferral or a postponed test."""

    row: Deferral | Postponement
    key: str

    @property
    def standing(self) -> "WaitingRow":
        """Return the row, as the state column reads it."""
        return self

    @property
    def state(self) -> str:
        """Return the key of the state mark."""
        return _STATES[self.key][0]

    @property
    def words(self) -> str:
        """Return the state in words."""
        return _STATES[self.key][1]

    @property
    def rank(self) -> int:
        """Return the place: what is in force first."""
        return list(_STATES).index(self.key)

    @property
    def kind(self) -> str:
        """Return which of both it is, in words."""
        return DEFERRED if isinstance(self.row, Deferral) else POSTPONED

    @property
    def what(self) -> str:
        """Return what waits, in words."""
        return str(What(self.row.obligation_key.partition("/")[0]).label)

    @property
    def since(self) -> datetime:
        """Return since when it waits."""
        return self.row.granted_at if isinstance(self.row, Deferral) else self.row.made_at

    @property
    def until(self) -> datetime | None:
        """Return until when: of a postponed test when it ended."""
        return self.row.until if isinstance(self.row, Deferral) else self.row.ended_at

    @property
    def then(self) -> str:
        """Return what ends it, in words."""
        if isinstance(self.row, Deferral):
            return f"Approved by {self.row.approved_by}, {self.row.reference}"
        return f"Made {then_words(self.row.then)} ({self.row.clause})"

    @property
    def reason(self) -> str:
        """Return why it waits, in words."""
        if isinstance(self.row, Deferral):
            return self.row.reason
        words = REASON_WORDS[PostponeReason(self.row.reason)]
        return f"{words[:1].upper()}{words[1:]}: {self.row.explanation}"

    @property
    def address(self) -> str:
        """Return the address of its page."""
        name = "deferral" if isinstance(self.row, Deferral) else "postponement"
        return reverse(f"tests_app:{name}", args=[self.row.pk])


class WaitingFilter(RowFilter[WaitingRow]):
    """State, which of both, and a word of the name."""

    state = forms.ChoiceField(
        label="State", required=False, choices=[("", "Any"), *((key, words) for key, (_, words) in _STATES.items())]
    )
    kind = forms.ChoiceField(
        label="Which", required=False, choices=[("", "All"), (DEFERRED, DEFERRED), (POSTPONED, POSTPONED)]
    )
    what = forms.ChoiceField(label="What waits", required=False, choices=[("", "All"), *What.choices])
    text = forms.CharField(label="Name, serial or reference", required=False, max_length=60)

    def keeps(self, row: WaitingRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        return (
            wanted.get("state", "") in ("", row.key)
            and wanted.get("kind", "") in ("", row.kind)
            and row.row.obligation_key.startswith(f"{wanted['what']}/" if wanted.get("what") else "")
            and wanted.get("text", "").casefold() in f"{row.row.subject} {row.then}".casefold()
        )


class WaitingTable(ListTable):
    """Deferrals and postponed tests."""

    standing = StateColumn("State", order_by="rank")
    subject = tables.Column("What waits", accessor="row__subject")
    what = tables.Column("Test or work", visible=False)
    kind = tables.Column("Which", visible=False)
    original = MomentColumn("First date", accessor="row__original_due_at")
    since = MomentColumn("Since")
    until = MomentColumn("Until")
    reason = tables.Column("Why", orderable=False)
    then = tables.Column("By whom, or what ends it", visible=False)

    class Meta:
        empty_text = "Nothing matches. What waits is entered from its row of the due list."

    def render_subject(self, value: str, record: WaitingRow) -> SafeString:
        return format_html(
            '<a href="{}">{}</a><br><span class="small soft">{}, {}</span>',
            record.address,
            value,
            record.what,
            record.kind.lower(),
        )

    def render_reason(self, value: str, record: WaitingRow) -> SafeString:
        return format_html('{}<br><span class="small soft">{}</span>', value, record.then)

    def value_reason(self, value: str) -> str:
        return value

    def value_subject(self, value: str) -> str:
        return value


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show what waits or waited on the rig, what is in force first."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    found = listed(
        request,
        rows_of(rig, visit.at),
        WaitingTable,
        filter_class=WaitingFilter,
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"deferrals-{rig.pk}",
    )
    return found.export or visit.show(request, "tests_app/waiting_list.html", found.context())


def rows_of(rig: Rig, at: datetime) -> list[WaitingRow]:
    """Return every deferral and postponed test of a rig, what is in force first, then the latest. Two queries."""
    rows = [
        WaitingRow(row, _deferral_key(row, at) if isinstance(row, Deferral) else _postponement_key(row))
        for row in everything_waiting(rig)
    ]
    return sorted(rows, key=lambda row: (row.rank, -row.since.timestamp()))
