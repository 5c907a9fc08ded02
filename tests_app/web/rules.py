"""The rules of a rig, and each published edition in our own words."""

from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from equipment.queries import access
from equipment.queries.access import Right
from tests_app import rulebook
from tests_app.actions.programmes import choose_edition
from tests_app.models import Programme, SigningRole
from tests_app.queries import programmes
from tests_app.queries.editions import texts_of
from tests_app.web.calculators import rigs_of
from tests_app.web.entry import Visit, signed_in
from tests_app.web.refusals import attempt, status_of
from tests_app.web.rule_sheets import sheet_of
from tests_app.web.rule_titles import edition_named, title_of
from tests_app.web.rules_form import RulesForm
from trail.models import TrailEntry


@dataclass(frozen=True)
class Chosen:
    """One choice of rules as the trail tells it."""

    at: datetime
    actor: str
    before: str
    after: str
    since: datetime
    reason: str


@require_http_methods(["GET", "POST"])
@signed_in
def of_rig(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show which rules a rig follows, and let those who may choose others."""
    needs = Right.MANAGE if request.method == "POST" else Right.READ
    rig = access.rig_for(request.user, rig_pk, needs=needs)
    visit = Visit.of(request, rig)
    programme = programmes.programme_of(rig)
    form = RulesForm(request.POST if request.method == "POST" else None, rig=rig, programme=programme, at=visit.at)
    if form.is_valid() and _chosen(visit, form) is not None:
        messages.success(request, "The rules are chosen. What is due was worked out anew by them.")
        return redirect("tests_app:rig-rules", rig.pk)
    context = {
        "form": form,
        "programme": programme,
        "followed": edition_named(programme.edition) if programme else None,
        "sheets": [sheet_of(edition) for edition in rulebook.editions()],
        "choices": [_told(entry) for entry in programmes.choices_of(programme)],
    }
    status = status_of(form) if form.is_bound else HTTPStatus.OK
    return visit.show(request, "tests_app/rig_rules.html", context, status=status)


def _chosen(visit: Visit, form: RulesForm) -> Programme | None:
    given = form.cleaned_data
    return attempt(
        form,
        lambda: choose_edition(
            visit.rig,
            edition=given["edition"],
            since=form.since_moment,
            reason=given["reason"],
            by=visit.user,
            at=visit.at,
        ),
    )


def _told(entry: TrailEntry) -> Chosen:
    before, after = entry.before or {}, entry.after or {}
    since = datetime.fromisoformat(after["chosen_at"])
    return Chosen(
        entry.at, entry.actor_name, title_of(before.get("edition", "")), title_of(after["edition"]), since, entry.reason
    )


@require_GET
@signed_in
def show(request: HttpRequest, edition: str) -> HttpResponse:
    """Show an edition: each requirement, and each clause with what stands in it."""
    found = edition_named(edition)
    if found is None:
        raise Http404("There is no such edition in the rule book.")
    needed = found.signatures.capacities if found.signatures is not None else ()
    signed_by = [str(SigningRole(capacity.value).label).lower() for capacity in needed]
    context = {"sheet": sheet_of(found), "signed_by": signed_by, "texts": texts_of(found.id), **rigs_of(request)}
    return render(request, "tests_app/rules.html", context)
