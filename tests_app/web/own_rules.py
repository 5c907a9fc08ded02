"""Pages of a rig's own values in the rules it follows: all figures, changing one, adding a rule, taking back."""

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_http_methods

from calcs.errors import InputError
from calcs.programmes import OWN_RULE, Changeable, figures_of, rules_of
from calcs.rule_words import scope_words
from calcs.rules import Edition, OwnFigure
from equipment.models import Rig
from equipment.queries import access
from equipment.queries.access import Right
from equipment.web.lists import listed
from tests_app import rulebook
from tests_app.actions.own_programmes import change_figure, take_back
from tests_app.models import Programme
from tests_app.queries import programmes
from tests_app.web.entry import Visit, signed_in
from tests_app.web.own_figure_forms import BACK, FigureForm, OwnRuleForm, TakeBackForm
from tests_app.web.own_figures import FigureFilter, FigureTable, rows_of
from tests_app.web.refusals import attempt, status_of


@require_GET
@signed_in
def show(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """List every figure of the rules a rig follows, its own value beside the source's."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    programme, source = _followed(rig)
    own = programmes.own_figures(programme)
    found = listed(
        request,
        rows_of(source, own, programme.edition) if source and programme else [],
        FigureTable,
        filter_class=FigureFilter,
        table_options={"rig_pk": rig.pk, "may_manage": visit.may(Right.MANAGE)},
        file_name=f"rules-{rig.pk}",
    )
    if found.export is not None:
        return found.export
    return visit.show(request, "tests_app/own_rules.html", {**found.context(), "source": source, "own": own})


@require_http_methods(["GET", "POST"])
@signed_in
def change(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Give one figure the rig's own value."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.MANAGE)
    visit = Visit.of(request, rig)
    programme, source = _followed(rig)
    found, own = _asked(request, source, programme)
    if found is None:
        return _page(request, visit, found, own, None, TakeBackForm(prefix=BACK))
    approval = own.approval if own else ""
    posted = request.POST if request.method == "POST" else None
    form = FigureForm(posted, found=found, units=visit.units, approval=approval)
    if form.is_valid():
        given = form.cleaned_data
        copy = attempt(
            form,
            lambda: change_figure(
                rig,
                rule=found.rule.id,
                figure=found.figure,
                own=form.own,
                approval=given["approval"],
                reason=given["reason"],
                by=visit.user,
                at=visit.at,
            ),
            names=form.names,
        )
        if copy is not None:
            messages.success(request, f"Copy no. {copy.number} of the rules is followed from now on.")
            return redirect("tests_app:rig-rules", rig.pk)
    return _page(request, visit, found, own, form, TakeBackForm(prefix=BACK))


@require_http_methods(["GET", "POST"])
@signed_in
def take_back_figure(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Let one figure have the source's value again."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.MANAGE)
    visit = Visit.of(request, rig)
    programme, source = _followed(rig)
    found, own = _asked(request, source, programme)
    form = TakeBackForm(request.POST if request.method == "POST" else None, prefix=BACK)
    if form.is_valid():
        rule, figure = request.GET["rule"], request.GET["figure"]
        reason = form.cleaned_data["reason"]
        back = attempt(
            form, lambda: take_back(rig, rule=rule, figure=figure, reason=reason, by=visit.user, at=visit.at)
        )
        if back is not None:
            messages.success(request, "The own value is taken back; the source's stands again from now on.")
            return redirect("tests_app:rig-rules", rig.pk)
    change_form = FigureForm(found=found, units=visit.units, approval=own.approval if own else "") if found else None
    return _page(request, visit, found, own, change_form, form)


@require_http_methods(["GET", "POST"])
@signed_in
def add_rule(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Add a rule of the rig's own."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.MANAGE)
    visit = Visit.of(request, rig)
    form = OwnRuleForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        copy = attempt(
            form,
            lambda: change_figure(
                rig,
                rule=form.rule_id,
                figure=OWN_RULE,
                own=form.own,
                reason=form.cleaned_data["reason"],
                by=visit.user,
                at=visit.at,
            ),
            names=form.names,
        )
        if copy is not None:
            messages.success(request, f"The rule is added. Copy no. {copy.number} is followed from now on.")
            return redirect("tests_app:rig-rules", rig.pk)
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    return visit.show(request, "tests_app/own_rule_new.html", {"form": form}, status=status)


def _page(
    request: HttpRequest,
    visit: Visit,
    found: Changeable | None,
    own: OwnFigure | None,
    form: FigureForm | None,
    back: TakeBackForm,
) -> HttpResponse:
    refused = next((one for one in (form, back) if one is not None and one.is_bound), None)
    context: dict[str, Any] = {
        "found": found,
        "applies": [scope_words(scope) for scope in found.rule.scopes] if found else [],
        "own": own,
        "form": form,
        "back": back,
        "asked": request.GET.urlencode(),
    }
    status = status_of(refused) if refused is not None else HTTPStatus.OK
    return visit.show(request, "tests_app/own_figure.html", context, status=status)


def _followed(rig: Rig) -> tuple[Programme | None, Edition | None]:
    programme = programmes.programme_of(rig)
    try:
        return programme, rulebook.published(programme.edition) if programme else None
    except InputError:
        return programme, None


def _asked(
    request: HttpRequest, source: Edition | None, programme: Programme | None
) -> tuple[Changeable | None, OwnFigure | None]:
    """Return the figure the address names and its own value; a rule of the rig's own has no source's figure."""
    key = (request.GET.get("rule", ""), request.GET.get("figure", ""))
    own = next((one for one in programmes.own_figures(programme) if (one.rule_id, one.figure) == key), None)
    rules = rules_of(source) if source else ()
    found = next((one for rule in rules if rule.id == key[0] for one in figures_of(rule) if one.figure == key[1]), None)
    if found is None and own is None:
        raise Http404("The rules followed have no such figure.")
    return found, own
