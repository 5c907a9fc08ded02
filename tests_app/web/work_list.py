"""The work done on a rig as a list."""

from collections.abc import Mapping
from typing import Any, Final

import django_filters
import django_tables2 as tables
from django import forms
from django.db.models import Q, QuerySet
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
from tests_app.models import Completion, What
from tests_app.queries.completed import completions_visible
from tests_app.queries.owed import ENTERED_AS_WORK
from tests_app.web.clauses import clauses_linked
from tests_app.web.entry import Visit, signed_in

_STATES: Final[Mapping[str, tuple[str, str, Q]]] = {
    "passed": ("passed", "Passed", Q(withdrawn_at__isnull=True, passed=True)),
    "not-passed": ("not-passed", "Not passed", Q(withdrawn_at__isnull=True, passed=False)),
    "withdrawn": ("superseded", "Withdrawn", Q(withdrawn_at__isnull=False)),
}
_KINDS: Final = [(what.value, what.label) for what in What if what in {*ENTERED_AS_WORK, What.PRESSURE, What.FUNCTION}]


def state_of(entry: Completion) -> tuple[str, str]:
    """Return the key of the state mark of an entry and its words."""
    if entry.withdrawn_at is not None:
        return _STATES["withdrawn"][:2]
    return _STATES["passed" if entry.passed else "not-passed"][:2]


def _day(label: str, lookup: str) -> django_filters.DateFilter:
    return django_filters.DateFilter(
        label=label, field_name="concluded_at", lookup_expr=lookup, widget=forms.DateInput({"type": "date"})
    )


class WorkFilter(django_filters.FilterSet):
    """What was done, how it went, on what, and when."""

    what = django_filters.ChoiceFilter(label="What", choices=_KINDS, empty_label="All")
    result = django_filters.ChoiceFilter(
        label="Result",
        method="of_state",
        empty_label="Any",
        choices=[(key, words) for key, (_, words, _) in _STATES.items()],
    )
    text = django_filters.CharFilter(label="Name, serial or by whom", method="named")
    since = _day("On or after", "date__gte")
    until = _day("On or before", "date__lte")

    class Meta:
        model = Completion
        fields: list[str] = []

    def of_state(self, queryset: QuerySet[Completion], _: str, value: str) -> QuerySet[Completion]:
        """Narrow to one result."""
        return queryset.filter(_STATES[value][2])

    def named(self, queryset: QuerySet[Completion], _: str, value: str) -> QuerySet[Completion]:
        """Narrow to a word of the subject or of who did it."""
        return queryset.filter(Q(subject__icontains=value) | Q(done_by__icontains=value))


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
