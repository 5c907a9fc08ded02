"""The defects of a rig as a list."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from accounts.templatetags.wellhold import state_mark
from calcs.moments import limit_words
from equipment.models import ComponentKind
from equipment.queries import access
from equipment.queries.access import Right
from equipment.web.columns import ListTable, MomentColumn, StateColumn
from equipment.web.fields import day_input
from equipment.web.lists import RowFilter, listed
from tests_app.models import BarrierAffected, Severity
from tests_app.queries.defects import DefectState, Standing, record_of, standings_of
from tests_app.queries.found_defects import not_taken_up, record_of_line
from tests_app.web.defect_words import SEVERITY_ORDER, STATES, stands, to_show
from tests_app.web.entry import Visit, signed_in

NOT_TAKEN_UP_FOR: Final = timedelta(days=365)
"""How far back failed lines without a defect are looked for."""
_MOST_LINES: Final = 10
ANY_OPEN: Final = "any-open"


@dataclass(frozen=True)
class DefectRow:
    """One defect of the list."""

    standing: Standing
    at: datetime

    @property
    def defect(self) -> Any:
        """The defect."""
        return self.standing.defect

    @property
    def state(self) -> str:
        """The key of the state mark."""
        return stands(self.standing)[0]

    @property
    def words(self) -> str:
        """The state in words."""
        return stands(self.standing)[1]

    @property
    def rank(self) -> tuple[int, int, float]:
        """The place: what is open first, of that what stops operations, the latest found first."""
        severity = SEVERITY_ORDER.index(self.defect.severity)
        return list(STATES).index(self.standing.state), severity, -self.defect.found_at.timestamp()

    @property
    def shown(self) -> "DefectRow":
        """The row, as the state column reads it."""
        return self

    @property
    def severity_rank(self) -> int:
        """The place of the severity."""
        return SEVERITY_ORDER.index(self.defect.severity)

    @property
    def kind(self) -> str:
        """The kind of what failed, in words."""
        component, item = self.defect.component, self.defect.control_item
        return str((component or item).get_kind_display())

    @property
    def report_at(self) -> datetime | None:
        """When the next report is due."""
        due = self.standing.next_report
        return due.due_at if due else None

    @property
    def report_by(self) -> float:
        """The same as a number: what has none comes last."""
        return self.report_at.timestamp() if self.report_at else float("inf")

    @property
    def report_is_late(self) -> bool:
        """Tell whether a report is overdue."""
        return self.standing.report_is_late(self.at)

    @property
    def found_in(self) -> str:
        """The test it was found in, or that it was entered by hand."""
        record = record_of(self.defect)
        return f"Test {record.number}" if record else "By hand"

    @property
    def demand(self) -> str:
        """What a retest has to show."""
        return to_show(self.defect)

    @property
    def done(self) -> str:
        """What was done about it, all of it."""
        return " ".join(one.done for one in self.defect.actions.all())

    @property
    def parts(self) -> str:
        """The parts fitted, all of them."""
        return "; ".join(one.parts_fitted.replace("\n", ", ") for one in self.defect.actions.all() if one.parts_fitted)

    @property
    def closed(self) -> str:
        """What closed it, in words."""
        closing = self.standing.closing
        if closing is None:
            return ""
        record = record_of(closing)
        if record is not None:
            return f"Test {record.number}"
        return f"{closing.get_disposition_display()}, {closing.approved_by}, {closing.reference}"

    @property
    def closed_at(self) -> datetime | None:
        """When that was entered."""
        return self.standing.closing.entered_at if self.standing.closing else None

    @property
    def text(self) -> str:
        """All that the search looks in."""
        return f"{self.defect} {self.defect.description} {self.closed} {self.parts}".casefold()


_STATE_CHOICES: Final = [
    ("", "Any"),
    (ANY_OPEN, "Not closed"),
    *((state.value, words) for state, (_, words) in STATES.items()),
]


class DefectFilter(RowFilter[DefectRow]):
    """State, severity, barrier, kind, when found, and words of it."""

    state = forms.ChoiceField(label="State", required=False, choices=_STATE_CHOICES)
    severity = forms.ChoiceField(label="Severity", required=False, choices=[("", "Any"), *Severity.choices])
    barrier = forms.ChoiceField(label="Barrier", required=False, choices=[("", "Any"), *BarrierAffected.choices])
    kind = forms.ChoiceField(label="Kind", required=False, choices=[("", "Any"), *ComponentKind.choices])
    report = forms.ChoiceField(
        label="Reports", required=False, choices=[("", "Any"), ("open", "One is due"), ("late", "One is overdue")]
    )
    since = forms.DateField(label="Found on or after", required=False, widget=day_input())
    until = forms.DateField(label="Found on or before", required=False, widget=day_input())
    text = forms.CharField(label="Name, serial or words", required=False, max_length=60)

    def keeps(self, row: DefectRow, wanted: Mapping[str, Any]) -> bool:
        """Tell whether the row stays."""
        found_on = row.defect.found_at.astimezone(row.defect.rig.zone).date()
        since, until = wanted.get("since"), wanted.get("until")
        return (
            _of_state(row, wanted.get("state", ""))
            and wanted.get("severity", "") in ("", row.defect.severity)
            and wanted.get("barrier", "") in ("", row.defect.barrier)
            and wanted.get("kind", "") in ("", row.defect.component.kind if row.defect.component else None)
            and _of_report(row, wanted.get("report", ""))
            and (since is None or found_on >= since)
            and (until is None or found_on <= until)
            and wanted.get("text", "").casefold() in row.text
        )


def _of_state(row: DefectRow, wanted: str) -> bool:
    return row.standing.is_open if wanted == ANY_OPEN else wanted in ("", row.standing.state)


def _of_report(row: DefectRow, wanted: str) -> bool:
    return {"": True, "open": row.report_at is not None, "late": row.report_is_late}[wanted]


class DefectTable(ListTable):
    """Defects, what presses most first."""

    subject = tables.Column("What failed", accessor="defect__subject")
    state = StateColumn("State", accessor="shown", order_by="rank")
    severity = tables.Column("Severity", accessor="defect__get_severity_display", order_by="severity_rank")
    barrier = tables.Column("Barrier affected", accessor="defect__get_barrier_display")
    found = MomentColumn("Found", accessor="defect__found_at")
    report_at = MomentColumn("Next report due", order_by="report_by")
    closed = tables.Column("Closed by", orderable=False, empty_values=())
    number = tables.Column("Number", accessor="defect__number", visible=False)
    kind = tables.Column("Kind", visible=False)
    description = tables.Column("What was seen", accessor="defect__description", visible=False)
    found_by = tables.Column("Found by", accessor="defect__found_by", visible=False)
    found_in = tables.Column("Found in", visible=False)
    demand = tables.Column("A retest has to show", visible=False)
    done = tables.Column("Action taken", visible=False)
    parts = tables.Column("Parts fitted", visible=False)
    closed_at = MomentColumn("Closed", visible=False)

    class Meta:
        order_by = "state"
        empty_text = "No defect matches."

    def render_subject(self, value: str, record: DefectRow) -> SafeString:
        return format_html(
            '<a href="{}">{}</a><br><span class="small soft">Defect {}, {}</span>',
            reverse("tests_app:defect", args=[record.defect.pk]),
            value,
            record.defect.number,
            record.found_in[:1].lower() + record.found_in[1:],
        )

    def render_severity(self, value: str, record: DefectRow) -> SafeString | str:
        if record.standing.stops_operations:
            return format_html('<strong class="tone-bad">{}</strong>', value)
        return value

    def render_report_at(self, value: datetime, record: DefectRow) -> SafeString | str:
        shown = limit_words(value, self.zone)
        if not record.report_is_late:
            return shown
        return format_html('<span class="tone-bad">{} overdue</span><br>{}', state_mark("overdue"), shown)

    def render_closed(self, record: DefectRow) -> str:
        return record.closed or "–"

    def value_subject(self, value: str) -> str:
        return value

    def value_closed(self, record: DefectRow) -> str:
        return record.closed

    def value_severity(self, value: str) -> str:
        return value

    def value_report_at(self, value: datetime, column: MomentColumn) -> str:
        return column.value(value, self)


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show the defects of the rig, and failed lines nobody opened one from."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    standings = standings_of(rig)
    rows = sorted((DefectRow(one, visit.at) for one in standings), key=lambda row: row.rank)
    found = listed(
        request,
        rows,
        DefectTable,
        filter_class=DefectFilter,
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"defects-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    lines = not_taken_up(rig, since=visit.at - NOT_TAKEN_UP_FOR)
    context = {
        **found.context(),
        "summary": summary_of(standings, visit.at),
        "stopping": [one for one in standings if one.stops_operations],
        "lines": [(line, record_of_line(line)) for line in lines[:_MOST_LINES]],
        "lines_count": len(lines),
        "may_open": visit.may(Right.OPEN_DEFECT),
    }
    return visit.show(request, "tests_app/defects.html", context)


def summary_of(standings: list[Standing], at: datetime) -> str:
    """Return how the defects of a rig stand, in one sentence."""
    still = [one for one in standings if one.is_open]
    if not still:
        return "No defect is open."
    parts = [f"{len(still)} {'defect is' if len(still) == 1 else 'defects are'} open"]
    stopping = sum(one.stops_operations for one in still)
    if stopping:
        parts.append(f"{stopping} of them {'stops' if stopping == 1 else 'stop'} operations")
    put_right = sum(one.state is DefectState.PUT_RIGHT for one in still)
    if put_right:
        parts.append(f"{put_right} {'waits' if put_right == 1 else 'wait'} for a retest")
    late = sum(one.report_is_late(at) for one in standings)
    if late:
        parts.append(f"reports of {late} {'is' if late == 1 else 'are'} overdue")
    return f"{', '.join(parts)}."
