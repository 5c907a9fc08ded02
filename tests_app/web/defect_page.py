"""The page of one defect: what was found, how it stands, what was done, what closes it, and who did what."""

from collections.abc import Mapping
from dataclasses import replace
from http import HTTPStatus
from typing import Any, Final

from django.db.models import Model
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_GET

from equipment.queries.access import Right
from equipment.web.story import Told, told
from tests_app.models import Defect, FunctionLine, Line
from tests_app.queries.corrections import counts_instead_of
from tests_app.queries.defects import Standing, defect_for, record_of
from tests_app.queries.retests import Retest, retests_of
from tests_app.web.defect_forms import DispositionForm, JudgeForm, ReportForm, RetestForm, WorkForm
from tests_app.web.defect_words import ReportRow, no_reports_words, report_rows, stands, to_show
from tests_app.web.entry import Visit, signed_in
from trail import entries

_EVENTS: Final[Mapping[str, str]] = {
    "defect.opened": "Opened",
    "defect.judged-anew": "Judged anew",
    "defect.acted-on": "Acted on",
    "defect.reported": "Reported",
    "defect.proven": "Closed by a retest",
    "defect.disposed": "Closed as approved",
}


@require_GET
@signed_in
def show(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one defect with all that was done about it."""
    standing = defect_for(request.user, pk)
    return defect_page(request, Visit.of(request, standing.defect.rig), standing, {})


def defect_page(
    request: HttpRequest,
    visit: Visit,
    standing: Standing,
    forms: Mapping[str, BaseForm],
    *,
    status: int = HTTPStatus.OK,
) -> HttpResponse:
    """Show a defect, a refused form in its place as it was typed."""
    defect = standing.defect
    reports = report_rows(standing, visit.at)
    retests = retests_of(standing) if standing.is_open else []
    key, words = stands(standing)
    found_in = record_of(defect)
    context = {
        "standing": standing,
        "defect": defect,
        "state_key": key,
        "state_words": words,
        "found_in": found_in,
        "corrected_by": counts_instead_of(found_in) if found_in else None,
        "closing": standing.closing,
        "closed_in": Retest(shown, ()) if (shown := _line_of(standing)) else None,
        "fallen_in": record_of(standing.fallen) if standing.fallen else None,
        "demand": to_show(defect),
        "actions_taken": list(defect.actions.all()),
        "reports": reports,
        "no_reports": no_reports_words(standing),
        "retests": retests,
        "told": story_of(defect),
        **_offered(visit, standing, reports, retests),
        **forms,
    }
    return visit.show(request, "tests_app/defect.html", context, status=status)


def _line_of(standing: Standing) -> Line | FunctionLine | None:
    """Return the line that closed a defect."""
    return (standing.closing.line or standing.closing.function_line) if standing.closing else None


def _offered(visit: Visit, standing: Standing, reports: list[ReportRow], retests: list[Retest]) -> dict[str, Any]:
    """Return the forms the person may send now."""
    defect, may_act = standing.defect, visit.may(Right.ACT_ON_DEFECT)
    offered: dict[str, Any] = {}
    if may_act and standing.is_open:
        offered["work_form"] = WorkForm(defect=defect, at=visit.at)
        offered["judge_form"] = JudgeForm(defect=defect)
        if any(one.shows_it_cured for one in retests):
            offered["retest_form"] = RetestForm(retests=retests)
    if may_act and any(one.may_be_entered for one in reports):
        offered["report_form"] = report_form(visit, standing)
    if visit.may(Right.DISPOSE) and standing.is_open:
        offered["dispose_form"] = DispositionForm()
    return offered


def report_form(visit: Visit, standing: Standing, posted: Any = None) -> ReportForm:
    """Return the form for the reports that may be entered now."""
    rows = [row for row in report_rows(standing, visit.at) if row.may_be_entered]
    offered = [(row.due.rule.id, row.title) for row in rows]
    return ReportForm(posted, offered=offered, defect=standing.defect, at=visit.at)


def story_of(defect: Defect) -> list[Told]:
    """Return what was done to a defect and what hangs on it, the latest first. A constant number of queries."""
    rows: list[Model] = [defect, *defect.actions.all(), *defect.reports.all(), *defect.closings.all()]
    found = list(entries.of_subjects(rows).order_by("-at", "-pk"))
    return [
        replace(one, what=_EVENTS.get(entry.event, one.what), subject="")
        for one, entry in zip(told(found), found, strict=True)
    ]
