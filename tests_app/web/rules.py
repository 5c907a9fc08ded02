"""The rules of a rig, and each published edition in our own words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from calcs.programmes import OWN_RULE
from calcs.rules import OwnFigure
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
from tests_app.web.rule_titles import edition_named, editions_titled, full_title
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
    left_behind: tuple[str, ...] = ()


@require_http_methods(["GET", "POST"])
@signed_in
def of_rig(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Show which rules a rig follows, and let those who may choose others."""
    needs = Right.MANAGE if request.method == "POST" else Right.READ
    rig = access.rig_for(request.user, rig_pk, needs=needs)
    visit = Visit.of(request, rig)
    programme = programmes.programme_of(rig)
    own = programmes.own_figures(programme)
    form = RulesForm(request.POST if request.method == "POST" else None, rig=rig, programme=programme, at=visit.at)
    if form.is_valid() and _chosen(visit, form) is not None:
        messages.success(request, f"The rules are chosen. What is due was worked out anew by them.{_left_behind(own)}")
        return redirect("tests_app:rig-rules", rig.pk)
    context = {
        "form": form,
        "programme": programme,
        "followed": edition_named(programme.edition) if programme else None,
        "sheets": [sheet_of(edition) for edition in rulebook.editions()],
        "own": own,
        "own_rule": OWN_RULE,
        "copies": list(programmes.copies_of(rig)),
        "choices": _choices(programme),
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


def _left_behind(own: Sequence[OwnFigure]) -> str:
    """Say which own values stay behind with the rules followed before."""
    if not own:
        return ""
    listed = "; ".join(f"{one.rule_title}, {one.label.lower()} {one.own}" for one in own)
    return f" The rig's own values of before no longer apply: {listed}."


def _choices(programme: Programme | None) -> list[Chosen]:
    """Return how the rules came about, the latest first. Two queries."""
    told = list(programmes.choices_of(programme))
    keys = {state["edition"] for entry in told for state in (entry.before, entry.after) if state}
    titles = {key: full_title(edition) for key, edition in editions_titled(keys).items()}
    return [_told(entry, titles) for entry in told]


def _told(entry: TrailEntry, titles: Mapping[str, str]) -> Chosen:
    before, after = entry.before or {}, entry.after or {}
    was, became = (titles.get(key, key) for key in (before.get("edition", ""), after["edition"]))
    since = datetime.fromisoformat(after["chosen_at"])
    return Chosen(entry.at, entry.actor_name, was, became, since, entry.reason, tuple(after.get("left_behind", ())))


@require_GET
@signed_in
def show(request: HttpRequest, edition: str) -> HttpResponse:
    """Show an edition: each requirement, and each clause with what stands in it."""
    found = edition_named(edition)
    if found is None:
        raise Http404("There is no such edition in the rule book.")
    copy = programmes.copy_for(request.user, found.id) if found.source_id else None
    needed = found.signatures.capacities if found.signatures is not None else ()
    signed_by = [str(SigningRole(capacity.value).label).lower() for capacity in needed]
    context = {
        "sheet": sheet_of(found),
        "signed_by": signed_by,
        "texts": texts_of(found.source_id or found.id),
        **rigs_of(request),
        **({"copy": copy, "rig": copy.rig, "zone": copy.rig.time_zone} if copy else {}),
    }
    return render(request, "tests_app/rules.html", context)
