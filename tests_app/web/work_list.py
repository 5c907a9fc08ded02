"""The work done on a rig as a list."""

from typing import Any

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from accounts.templatetags.wellhold import state
from equipment.queries import access
from equipment.queries.access import Right
from equipment.web.columns import ListTable, MomentColumn
from equipment.web.lists import listed
from tests_app.models import Completion
from tests_app.narrowing import WORK_STATES, WorkFilter
from tests_app.queries.completed import completions_visible
from tests_app.web.clauses import clauses_linked
from tests_app.web.entry import Visit, signed_in


def state_of(entry: Completion) -> tuple[str, str]:
    """Return the key of the state mark of an entry and its words."""
    if entry.withdrawn_at is not None:
        return WORK_STATES["withdrawn"][:2]
    return WORK_STATES["passed" if entry.passed else "not-passed"][:2]


class WorkTable(ListTable):
    """The work done on a rig."""

    what = tables.Column("What", accessor="get_what_display", order_by="what")
    subject = tables.Column("On what")
    result = tables.Column("Result", accessor="pk", orderable=False)
    concluded = MomentColumn("Concluded", accessor="concluded_at")
    done_by = tables.Column("Done by")
    clause = tables.Column("Clause")
    evidence = tables.Column("Evidence", accessor="evidence_name", orderable=False, empty_values=())
    started = MomentColumn("Started", accessor="started_at", visible=False)
    findings = tables.Column("Findings", visible=False)
    entered = MomentColumn("Entered", accessor="entered_at", visible=False)
    entered_by = tables.Column("Entered by", visible=False)

    class Meta:
        empty_text = "No work matches. It is entered from the row of the due list it renews, or by Enter work."

    def render_what(self, value: str, record: Completion) -> SafeString:
        return format_html('<a href="{}">{}</a>', reverse("tests_app:work-entry", args=[record.pk]), value)

    def render_result(self, record: Completion) -> SafeString:
        return state(*state_of(record))

    def render_clause(self, value: str, record: Completion) -> SafeString | str:
        return clauses_linked(value, record.edition)

    def render_evidence(self, record: Completion) -> SafeString | str:
        if not record.evidence_sha256:
            return "–"
        return format_html(
            '<a href="{}">{}</a>', reverse("tests_app:work-evidence", args=[record.pk]), record.evidence_name
        )

    def value_what(self, value: str) -> str:
        return value

    def value_result(self, record: Completion) -> str:
        return state_of(record)[1]

    def value_clause(self, value: str) -> str:
        return value

    def value_evidence(self, record: Completion) -> str:
        return record.evidence_name


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show the work done on the rig, the latest first."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    found = listed(
        request,
        completions_visible(rig),
        WorkTable,
        filter_class=WorkFilter,
        table_options=_options(visit),
        file_name=f"work-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    context = {**found.context(), "may_work": visit.may(Right.WORK)}
    return visit.show(request, "tests_app/work_list.html", context)


def _options(visit: Visit) -> dict[str, Any]:
    return {"zone": visit.rig.zone, "units": visit.units}
