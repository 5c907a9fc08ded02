"""The tests of a rig as a list: drafts, signed, superseded, discarded."""

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from accounts.templatetags.wellhold import state
from equipment.queries import access, stacks
from equipment.web.columns import ListTable, MomentColumn
from equipment.web.lists import listed
from tests_app.models import Record, TestReason
from tests_app.narrowing import REASON_OF_TEST, RecordFilter
from tests_app.queries import records
from tests_app.queries.corrections import counts_instead_of
from tests_app.queries.signatories import signed_words
from tests_app.web.entry import Visit, signed_in


def state_of(record: Record) -> tuple[str, str]:
    """Return the key of the state mark of a record and its words."""
    if record.discarded_at is not None:
        return "not-judged", "Discarded"
    if record.frozen_at is None:
        return "draft", "Draft"
    later = counts_instead_of(record)
    if later is not None:
        return "superseded", f"Superseded by {later.number}"
    if record.sealed_at is None:
        return _unsealed(record)
    return ("passed", "Signed, passed") if record.passed else ("not-passed", "Signed, not passed")


def _unsealed(record: Record) -> tuple[str, str]:
    later = getattr(record, "superseded_by", None)
    if later is not None:
        return "superseded", f"Never sealed, being corrected by {later.number}"
    return "waiting", signed_words(record)


class RecordTable(ListTable):
    """The tests of a rig."""

    number = tables.Column("Test")
    kind = tables.Column("Kind", accessor="get_kind_display", order_by="kind")
    state = tables.Column("State", accessor="pk", orderable=False)
    stack = tables.Column("Stack", accessor="stack__name")
    reason = tables.Column("Reason", accessor="reason_of_test")
    started = MomentColumn("Began", accessor="started_at")
    concluded = MomentColumn("Concluded", accessor="concluded_at")
    certificate = tables.Column("Paper", accessor="certificate__number", orderable=False, default="")

    class Meta:
        empty_text = "No test matches. The first test of a rig is opened by New test."

    def render_number(self, value: int, record: Record) -> SafeString:
        return format_html('<a href="{}">Test {}</a>', reverse("tests_app:record", args=[record.pk]), value)

    def render_state(self, record: Record) -> SafeString:
        return state(*state_of(record))

    def render_reason(self, value: str) -> str:
        return str(TestReason(value).label)

    def render_certificate(self, value: str, record: Record) -> SafeString:
        return format_html('<a href="{}">{}</a>', reverse("tests_app:certificate", args=[record.pk]), value)

    def value_number(self, value: int) -> int:
        return value

    def value_reason(self, value: str) -> str:
        return str(TestReason(value).label)

    def value_state(self, record: Record) -> str:
        return state_of(record)[1]

    def value_certificate(self, value: str) -> str:
        return value


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show the rig's tests, latest first."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    rows = records.records_visible(visit.user, rig).annotate(reason_of_test=REASON_OF_TEST)
    rows = rows.order_by("-started_at", "-number")
    found = listed(
        request,
        rows,
        RecordTable,
        filter_class=RecordFilter,
        filter_options={"stacks": stacks.stacks_of(rig)},
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"tests-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    return visit.show(request, "tests_app/records.html", found.context())
