"""The auditor's page of a rig: twelve months of every requirement as time strips, and each time one was not met."""

from collections.abc import Iterable, Sequence

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_GET

from equipment.queries import access
from equipment.web.lists import listed
from tests_app.documents.compliance_rows import CourseRow, GapRow
from tests_app.documents.compliance_sheet import (
    legend,
    longest_words,
    month_choices,
    parts_of,
    summary_of,
    whole_rows,
    window_of,
)
from tests_app.documents.strips import scale_head
from tests_app.queries.compliance import alike, totals_of
from tests_app.queries.courses import Gap
from tests_app.queries.origins import Origins
from tests_app.queries.past import exceeded
from tests_app.web.as_of_form import AsOfForm
from tests_app.web.compliance_rows import GapTable, PastFilter
from tests_app.web.entry import Visit, signed_in
from tests_app.web.rule_titles import rules_followed


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show how every requirement of a rig went over twelve months."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    choices = month_choices(rig, visit.at)
    window = window_of(request.GET.get("month", ""), choices, rig, visit.at)
    past = exceeded(rig, window.since, window.until)
    origins = Origins.of(rig)
    groups: Iterable[Sequence[Gap]] = [(gap,) for gap in past.gaps] if "export" in request.GET else alike(past.gaps)
    found = listed(
        request,
        [GapRow(tuple(group), window, rig.zone, rig.pk, origins) for group in groups],
        GapTable,
        filter_class=PastFilter,
        filter_options={"months": choices},
        table_options={"zone": rig.zone, "units": visit.units},
        file_name=f"compliance-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    assert isinstance(found.form, PastFilter)
    rows = found.form.narrow([CourseRow(course, window, rig.pk) for course in past.courses])
    totals = totals_of(past)
    context = {
        **found.context(),
        "window": window,
        "summary": summary_of(totals),
        "longest": longest_words(totals, window, rig),
        "stands_worst": "in-date" if not totals.gaps and not totals.unknown else "overdue",
        "whole": whole_rows(past, window),
        "parts": parts_of(rows),
        "head": scale_head(window.months),
        "legend": legend(),
        "as_of": AsOfForm(zone=rig.zone, now=visit.at, auto_id="as-of-%s"),
        "shown": len(rows),
        "total": len(past.courses),
        "papers": [("a4", "A4"), ("letter", "Letter")],
        "rules_title": rules_followed(rig),
    }
    return visit.show(request, "tests_app/compliance.html", context)
