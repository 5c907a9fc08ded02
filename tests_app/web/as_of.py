"""Was this rig in date then? One sentence, and every requirement as it stood at a moment."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus
from typing import Any, Final
from urllib.parse import urlencode

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from accounts.templatetags.wellhold import state
from calcs.conditions import Condition
from calcs.moments import limit_words, moment_words
from calcs.recurrence import State
from equipment.models import Rig
from equipment.queries import access
from equipment.web.columns import ListTable, MomentColumn
from equipment.web.lists import RowFilter, listed
from tests_app.documents.compliance_rows import STATE_OF, counted_words
from tests_app.models import PartOfSystem
from tests_app.queries.due_items import What
from tests_app.queries.past import Stood, StoodAt, standing_at
from tests_app.web.as_of_form import AsOfForm
from tests_app.web.clauses import clauses_linked
from tests_app.web.entry import Visit, signed_in
from tests_app.web.past_links import THEN, moment_asked, why_address

_FAR: Final = float("inf")


@dataclass(frozen=True)
class StoodRow:
    """How one requirement stood at the moment, ready to sort, filter and show."""

    stood: Stood
    asked: StoodAt
    known: str

    @property
    def condition(self) -> Condition:
        """Return how it stood."""
        return self.stood.condition

    @property
    def rank(self) -> int:
        """Return its place among the worst."""
        return self.stood.rank

    @property
    def name(self) -> str:
        """Return what it is about."""
        return self.stood.derived.subject.name

    @property
    def detail(self) -> str:
        """Return what stood there."""
        return self.stood.derived.subject.detail

    @property
    def what(self) -> What:
        """Return what had to be done."""
        return self.stood.derived.what

    @property
    def done_at(self) -> datetime | None:
        """Return when it had last been done well."""
        return self.stood.derived.last_done_at

    @property
    def due_by(self) -> float:
        """Return its date as a number; what has none comes last."""
        due = self.stood.due
        return due.due_at.timestamp() if due and due.due_at else _FAR

    @property
    def due_text(self) -> str:
        """Return its date in words: the limit, or since when it was due."""
        due, zone = self.stood.due, self.asked.rig.zone
        if due is None or due.due_at is None:
            return ""
        if due.state is State.DUE_NOW:
            return f"at once, since {moment_words(due.due_at, zone)}"
        return limit_words(due.due_at, zone)

    @property
    def clause(self) -> str:
        """Return the clause of the interval."""
        asked = self.stood.derived.requirement
        return asked.clause if asked else ""

    @property
    def reason(self) -> str:
        """Return why, in words, with what the reader must know beside it: that a test was brought in, for one."""
        return " ".join(filter(None, (self.stood.reason, self.stood.derived.note)))


class StoodFilter(RowFilter[StoodRow]):
    """The moment, and how, what, where and a word of the name."""

    at = forms.CharField(required=False, widget=forms.HiddenInput)
    known = forms.CharField(required=False, widget=forms.HiddenInput)
    how = forms.ChoiceField(
        label="How it stood",
        required=False,
        choices=[("", "Any"), ("not-met", "Not met"), *((key.value, word) for key, (_, word) in STATE_OF.items())],
    )
    part = forms.ChoiceField(label="Part", required=False, choices=[("", "All"), *PartOfSystem.choices])
    what = forms.ChoiceField(label="What", required=False, choices=[("", "All"), *What.choices])
    text = forms.CharField(label="Name or serial", required=False, max_length=60)

    def keeps(self, row: StoodRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        how = wanted.get("how", "")
        return (
            (how in ("", row.condition.value) or (how == "not-met" and not row.stood.is_met))
            and wanted.get("part", "") in ("", row.stood.derived.subject.part)
            and wanted.get("what", "") in ("", row.what)
            and wanted.get("text", "").casefold() in f"{row.name} {row.detail}".casefold()
        )


class StoodTable(ListTable):
    """Every requirement as it stood."""

    standing = tables.Column("How it stood", accessor="condition", order_by="rank")
    element = tables.Column("Requirement", accessor="name")
    what = tables.Column("What", visible=False)
    done = MomentColumn("Last done before", accessor="done_at")
    due = tables.Column("Had to begin before", accessor="due_text", order_by="due_by", default="")
    clause = tables.Column("Clause")
    why = tables.Column("Why", accessor="reason", orderable=False)

    class Meta:
        empty_text = "No requirement matches. Show all, or ask for another moment."

    def render_standing(self, value: Condition) -> SafeString:
        return state(*STATE_OF[value])

    def value_standing(self, value: Condition) -> str:
        return STATE_OF[value][1]

    def render_element(self, record: StoodRow) -> SafeString:
        return format_html(
            '<a href="{}">{}</a><br><span class="small">{}</span> <span class="small soft">{}</span>',
            why_address(record.asked.rig.pk, record.stood.derived.key, at=record.asked.at, known=record.known),
            record.name,
            record.what.label,
            record.detail,
        )

    def value_element(self, record: StoodRow) -> str:
        return ", ".join(filter(None, (f"{record.what.label}: {record.name}", record.detail)))

    def render_clause(self, value: str, record: StoodRow) -> SafeString | str:
        asked = record.stood.derived.requirement
        return clauses_linked(value, asked.edition if asked else "")

    def value_clause(self, value: str) -> str:
        return value


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show how a rig stood at a moment, as known then or as known now."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    form = AsOfForm.asked(request.GET, zone=rig.zone, now=visit.at, auto_id="as-of-%s")
    if not form.is_valid():
        return visit.show(request, "tests_app/as_of.html", {"form": form}, status=HTTPStatus.BAD_REQUEST)
    asked = standing_at(rig, form.moment, form.known_at)
    found = listed(
        request,
        [StoodRow(stood, asked, form.known_key) for stood in asked.rows],
        StoodTable,
        filter_class=StoodFilter,
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"as-of-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    context = {
        **found.context(),
        "form": form,
        "asked": asked,
        "moment": moment_words(asked.at, rig.zone),
        "answer": answer_of(asked, rig),
        "show_all": f"{request.path}?{urlencode({'at': moment_asked(asked.at), 'known': form.known_key})}",
        "otherwise": _otherwise(asked, rig, form),
        "stands_worst": "in-date" if asked.is_in_date else "overdue",
    }
    return visit.show(request, "tests_app/as_of.html", context)


def answer_of(asked: StoodAt, rig: Rig) -> str:
    """Return the answer in one sentence."""
    known = "as known then" if asked.known_at is not None else "as known now"
    when = f"On {moment_words(asked.at, rig.zone)}, {known},"
    total = len(asked.rows)
    if not total:
        return f"{when} nothing was asked of {rig.name}: nothing that has to be tested was on file."
    waits = f" {_were(asked.counts[Condition.DEFERRED])} deferred." if asked.counts[Condition.DEFERRED] else ""
    unknown = asked.counts[Condition.UNKNOWN]
    if asked.is_in_date:
        return f"{when} {rig.name} was in date: all {counted_words(total, 'requirement')} were met.{waits}"
    untold = f" {counted_words(unknown, 'requirement')} could not be worked out." if unknown else ""
    if not asked.not_met:
        return f"{when} {rig.name} can not be shown to have been in date.{untold}{waits}"
    parts = [
        f"{asked.counts[condition]} {words}"
        for condition, words in ((Condition.OVERDUE, "overdue"), (Condition.OPEN, "open since an event"))
        if asked.counts[condition]
    ]
    not_met = f"{asked.not_met} of {total} requirements were not met, {' and '.join(parts)}"
    return f"{when} {rig.name} was not in date: {not_met}.{untold}{waits}"


def _were(count: int) -> str:
    return f"{count} {'was' if count == 1 else 'were'}"


def _otherwise(asked: StoodAt, rig: Rig, form: AsOfForm) -> str:
    """Return the answer on the other knowledge, where it differs."""
    other_known = None if form.known_key == THEN else asked.at
    other = standing_at(rig, asked.at, other_known)
    same = {row.derived.key: row.condition for row in asked.rows} == {
        row.derived.key: row.condition for row in other.rows
    }
    return "" if same else answer_of(other, rig)
