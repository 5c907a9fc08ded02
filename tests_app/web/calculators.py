"""The calculations as pages. What was asked stands in the address, so that a sum can be sent to somebody."""

from collections.abc import Callable, Mapping
from datetime import datetime
from http import HTTPStatus
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from accounts.models import User
from calcs import surface
from calcs.units import System
from equipment.queries import access
from tests_app import rulebook
from tests_app.web.calculator_bank_answers import BANK_ANSWERS
from tests_app.web.calculator_base import CalculationForm
from tests_app.web.calculator_forms import CALCULATION_FORMS
from tests_app.web.calculator_hold_forms import FindHoldsForm
from tests_app.web.calculator_plots import PLOTS
from tests_app.web.due_words import deadline_text
from tests_app.web.entry import signed_in
from tests_app.web.function_rows import FunctionRows
from tests_app.web.refusals import attempt, status_of
from tests_app.web.uploads import limited_upload, too_large

_METHOD_WORDS: Final = {
    "pore-gas": "Formation pressure less the gas column",
    "fracture-gas": "Fracture pressure at the shoe less the gas column",
}


@require_GET
@signed_in
def index(request: HttpRequest) -> HttpResponse:
    """List the calculations."""
    context = {"calculations": CALCULATION_FORMS.values(), **rigs_of(request)}
    return render(request, "tests_app/calculations.html", context)


def rigs_of(request: HttpRequest) -> dict[str, Any]:
    """Return the rigs for the page head; the only one a person has is the one they look at."""
    rigs = list(access.rigs_visible(request.user))
    return {"rigs": rigs, "rig": rigs[0] if len(rigs) == 1 else None}


def _too_large(request: HttpRequest, name: str) -> HttpResponse:
    return too_large(request, lambda: request.path)


@require_http_methods(["GET", "POST"])
@limited_upload(_too_large)
@signed_in
def show(request: HttpRequest, name: str) -> HttpResponse:
    """Show one calculation and, once it is filled in, its answer with the working."""
    if name not in CALCULATION_FORMS:
        raise Http404("There is no calculation of that name.")
    assert isinstance(request.user, User)
    units = request.user.units_for()
    form = _form(request, CALCULATION_FORMS[name], units)
    found = _found(form, units) if form.is_bound and form.is_valid() else None
    answer = None if found is None else _SHOWN[form.name](found, form)
    refused = form.is_bound and answer is None
    context = {
        "calculation": form,
        "form": form,
        "answer": answer,
        "plot": _plot_address(request, name) if answer else "",
        "units": units,
        **rigs_of(request),
        "section": "calculation",
    }
    return render(request, "tests_app/calculation.html", context, status=status_of(form) if refused else HTTPStatus.OK)


@require_GET
@signed_in
def plot(request: HttpRequest, name: str) -> JsonResponse:
    """Return the plot of the calculation at this address."""
    if name not in PLOTS:
        raise Http404("This calculation has no plot.")
    assert isinstance(request.user, User)
    units = request.user.units_for()
    form = CALCULATION_FORMS[name](request.GET, units=units)
    found = _found(form, units) if form.is_valid() else None
    if found is None:
        return JsonResponse({"error": "The calculation has no answer."}, status=HTTPStatus.UNPROCESSABLE_ENTITY)
    return JsonResponse(PLOTS[name](found, form))


def _plot_address(request: HttpRequest, name: str) -> str:
    if name not in PLOTS:
        return ""
    return f"{reverse('tests_app:calculation-plot', args=[name])}?{request.GET.urlencode()}"


def _form(request: HttpRequest, form_class: type[CalculationForm], units: System) -> CalculationForm:
    if request.method == "POST":
        return form_class(request.POST, request.FILES, units=units)
    asked = request.GET if request.GET and not form_class.uploads else None
    form = form_class(asked, units=units)
    if not form.is_bound and "at" in form.fields:
        now = timezone.now().astimezone(ZoneInfo(form["zone"].value()))
        form.initial["at"] = now.strftime("%Y-%m-%dT%H:%M")
    return form


def _found(form: CalculationForm, units: System) -> Mapping[str, Any] | None:
    """Return what the calculation answers, or None once its refusal stands on the form."""
    rows: Mapping[str, str] = form.row_places() if isinstance(form, FunctionRows | FindHoldsForm) else {}
    return attempt(
        form,
        lambda: surface.calculate(form.name, {**form.document(), "units": units}, editions=rulebook.editions()),
        names={**form.places, **rows},
    )


Shown = Mapping[str, Any]


def _hydrostatic(found: Shown, _: CalculationForm) -> Shown:
    return {"figures": [("Pressure", found["pressure"]), ("Gradient", found["gradient"])], "working": found["working"]}


def _masp(found: Shown, _: CalculationForm) -> Shown:
    figures = [("MASP", found["pressure"])]
    if "differential" in found:
        figures = [("At the wellhead", found["wellhead_pressure"]), ("Over the seawater", found["differential"])]
    considered = [(_METHOD_WORDS[method], figure) for method, figure in found["considered"].items()]
    governs = f"{_METHOD_WORDS[found['governs']]} governs."
    return {"figures": figures, "words": governs, "facts": considered, "working": found["working"]}


def _test_pressures(found: Shown, _: CalculationForm) -> Shown:
    cited = {"clause": found["clause"], "confidence": found["confidence"], "notes": found["notes"]}
    if not found["required"]:
        return {"words": "These rules ask for no pressure test of it.", **cited}
    low = found["low"]
    figures = [("Low, from", low["min"]), ("Low, to", low["max"])] if low else []
    figures += [("High", found["high"])]
    if low and found["low_hold"] != found["hold"]:
        figures += [("Low held", found["low_hold"]), ("High held", found["hold"])]
    else:
        figures += [("Each held" if low else "Held", found["hold"])]
    limited = "The weakest exposed part sets the high pressure." if found["limited_by_weakest_part"] else ""
    return {"figures": figures, "words": limited, "working": found["working"], "sources": found["sources"], **cited}


def _due(found: Shown, form: CalculationForm) -> Shown:
    zone = ZoneInfo(form.cleaned_data["zone"])
    texts = {
        name: deadline_text(datetime.fromisoformat(found[name]), zone) if found[name] else ""
        for name in ("due_at", "amber_at")
    }
    facts = [("Begin the next test before", texts["due_at"]), ("Better before", texts["amber_at"])]
    return {"state": found["state"], "texts": [fact for fact in facts if fact[1]], "words": found["reason"]}


def _hold_check(found: Shown, _: CalculationForm) -> Shown:
    words, notes = _read_words("Judged on", found["recording"])
    holds = {"low": _low(found["low"]), "high": _hold(found["high"])}
    if found["low"] is None:
        words = f"{words} No low test was asked: the high one alone is judged."
    return {"passes": found["passes"], **holds, "words": words, "notes": notes}


def _find_holds(found: Shown, _: CalculationForm) -> Shown:
    words, notes = _read_words("Searched", found["recording"])
    rows = [_found_row(number, hold) for number, hold in enumerate(found["holds"], start=1)]
    left = ", ".join(str(step + 1) for step in found["unmatched_steps"])
    if left:
        notes = [f"Left without a hold: step {left}.", *notes]
    return {"searched": True, "found": rows, "words": words, "notes": notes}


def _found_row(number: int, hold: Shown) -> Shown:
    return {
        "number": number,
        "step": None if hold["step"] is None else hold["step"] + 1,
        "judged_by": hold["judged_by_step"] + 1,
        "start_s": hold["start"]["value"],
        "end_s": hold["end"]["value"],
        "why": hold["why"],
        "passes": hold["passes"],
        "low": _low(hold["low"]),
        "high": _hold(hold["high"]),
    }


def _read_words(what: str, about: Shown) -> tuple[str, list[str]]:
    notes = [about["channel_note"]] if about["channel_note"] else []
    return f"{what} {about['samples']:,} samples.", notes


def _low(hold: Shown | None) -> Shown | None:
    """Return the low hold, None where no low test is asked."""
    return None if hold is None else _hold(hold)


def _hold(hold: Shown) -> Shown:
    """Return a hold of the answer in the shape `parts/hold.html` reads."""
    seconds = {name: hold[name]["value"] if hold[name] else None for name in ("start", "end", "duration")}
    return {
        **hold,
        "start_s": seconds["start"],
        "end_s": seconds["end"],
        "duration_s": seconds["duration"],
        "start_at": _moment(hold.get("start_at")),
        "end_at": _moment(hold.get("end_at")),
        "highest_before": hold.get("peak_before_low"),
    }


def _moment(text: str | None) -> Shown | None:
    return {"local": text} if text else None


_SHOWN: Final[Mapping[str, Callable[[Shown, CalculationForm], Shown]]] = {
    "hydrostatic": _hydrostatic,
    "masp": _masp,
    "test-pressures": _test_pressures,
    "due": _due,
    "hold-check": _hold_check,
    "find-holds": _find_holds,
    **BANK_ANSWERS,
}
