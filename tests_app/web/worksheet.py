"""The bank worksheet: a bank tried by every gas law side by side. It stands in its address; nothing of it is kept."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any, Final
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from accounts.models import User
from calcs.units import System
from tests_app.web import worksheet_tables
from tests_app.web.calculators import rigs_of
from tests_app.web.entry import signed_in
from tests_app.web.refusals import attempt
from tests_app.web.worksheet_curves import curves_of
from tests_app.web.worksheet_form import Question, WorksheetForm
from tests_app.web.worksheet_plot import plotted
from tests_app.web.worksheet_sums import ByModel, apart_in_words, verdict_in_words, worked

_HANDBOOK: Final = {
    "bottle_volume_number": "10",
    "bottle_volume_unit": "gal",
    "count": "12",
    "precharge_number": "1000",
    "precharge_unit": "psi",
    "charged_number": "3000",
    "charged_unit": "psi",
    "minimum_number": "1200",
    "minimum_unit": "psi",
    "function_1": "Annular",
    "volume_1_number": "20",
    "volume_1_unit": "gal",
    "least_1_number": "1500",
    "least_1_unit": "psi",
    "function_2": "Pipe ram",
    "volume_2_number": "12",
    "volume_2_unit": "gal",
}
"""The bottle of the training handbooks, twelve of it, to begin with."""

Answer = tuple[Question, list[ByModel]]


@require_GET
@signed_in
def show(request: HttpRequest) -> HttpResponse:
    """Show the form and, once it is filled in, every gas law's answer."""
    units = _units(request)
    form = WorksheetForm(request.GET or None, units=units)
    answer = _answer(form) if form.is_bound else None
    context = {
        "form": form,
        "units": units,
        "example": f"{request.path}?{urlencode(_HANDBOOK)}",
        "plot": f"{reverse('tests_app:bank-worksheet-plot')}?{request.GET.urlencode()}",
        "section": "calculation",
        **rigs_of(request),
        **(_shown(answer, units) if answer else {}),
    }
    refused = form.is_bound and answer is None
    status = HTTPStatus.UNPROCESSABLE_ENTITY if refused else HTTPStatus.OK
    return render(request, "tests_app/worksheet.html", context, status=status)


@require_GET
@signed_in
def plot(request: HttpRequest) -> JsonResponse:
    """Return the plot of the worksheet at this address."""
    units = _units(request)
    form = WorksheetForm(request.GET, units=units)
    answer = _answer(form)
    if answer is None:
        return JsonResponse({"error": "The worksheet has no answer."}, status=HTTPStatus.UNPROCESSABLE_ENTITY)
    question, found = answer
    levels = _levels(answer)
    curves = curves_of(question, [pressure for _, pressure in levels], units)
    return JsonResponse(plotted(curves, found, levels, units))


def _units(request: HttpRequest) -> System:
    assert isinstance(request.user, User)
    return request.user.units_for()


def _answer(form: WorksheetForm) -> Answer | None:
    if not form.is_valid():
        return None

    def answered() -> Answer:
        question = form.question()
        return question, worked(question)

    return attempt(form, answered, names=form.row_places())


def _levels(answer: Answer) -> list[tuple[str, float]]:
    """Return the pressures the bank must not lose, named; precharge and reserve apart only where it differs."""
    question, _ = answer
    bank = question.bank
    limit = bank.at_surface(bank.precharge_at_bottle) + question.reserve
    both = abs(limit - question.minimum) < 1
    levels = [("Minimum and reserve" if both else "Minimum", float(question.minimum))]
    return levels if both else [*levels, ("Precharge and reserve", float(limit))]


def _shown(answer: Answer, units: System) -> Mapping[str, Any]:
    question, found = answer
    levels = _levels(answer)
    curves = curves_of(question, [pressure for _, pressure in levels], units)
    return {
        "found": found,
        "bottles": question.bank.count,
        "apart": apart_in_words(found, units),
        "verdict": verdict_in_words(found),
        "minimum": worksheet_tables.pressure_text(question.minimum, units),
        "minimum_is_given": question.minimum_is_given,
        "limit": worksheet_tables.pressure_text(levels[-1][1], units),
        "rows": worksheet_tables.usable_rows(found, units),
        "ends": worksheet_tables.ends(found, units) if question.functions else [],
        "steps": worksheet_tables.step_rows(found, units),
        "curves": curves.curves,
        "curve_rows": worksheet_tables.curve_rows(curves, levels, units),
        "end_row": worksheet_tables.end_row(curves, units),
        "workings": worksheet_tables.workings(found, units),
        "cautions": worksheet_tables.cautions(found),
    }
