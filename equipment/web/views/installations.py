"""Pages that install a component in a position and remove it."""

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from equipment.actions import installations as actions
from equipment.models import Position
from equipment.queries import stacks
from equipment.queries.access import Right
from equipment.queries.components import installable
from equipment.queries.installations import installation_for
from equipment.web.door import signed_in
from equipment.web.forms.stacks import CorrectionForm, InstallForm, RemovalForm
from equipment.web.views.stacks import way_of
from equipment.web.visit import Visit


@signed_in
@require_http_methods(["GET", "POST"])
def install(request: HttpRequest, pk: int) -> HttpResponse:
    """Install a component in a position: one of its kind that stands nowhere."""
    position = stacks.position_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, position.stack.rig)
    form = InstallForm(request.POST or None, position=position, zone=position.stack.rig.zone, at=visit.at)
    kind = position.get_kind_display()
    register = reverse("equipment:component-new", args=[position.stack.rig_id])
    return visit.fill_in(
        form,
        lambda: actions.install_component(
            form.cleaned_data["component"],
            position,
            installed_at=form.cleaned_data["installed_at"],
            by=visit.user,
            at=visit.at,
        ),
        done="The component is installed.",
        leads_to=lambda _: _address(position),
        words={
            "title": f"Install in {position.name}",
            "lead": f"{position.stack.name}, position {position.order}. It takes the kind “{kind}”.",
            "verb": "Install",
            "nothing_to_choose": not installable(position).exists(),
            "kind": kind,
            "register": f"{register}?kind={position.kind}",
            **way_of(position),
        },
        template="equipment/install.html",
    )


@signed_in
@require_http_methods(["GET", "POST"])
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove a component from where it stands."""
    installation = installation_for(request.user, pk, needs=Right.MANAGE)
    position = installation.position
    visit = Visit.of(request, position.stack.rig)
    form = RemovalForm(request.POST or None, zone=position.stack.rig.zone, at=visit.at)
    return visit.fill_in(
        form,
        lambda: actions.remove_component(installation, **form.facts, by=visit.user, at=visit.at),
        done="The component is removed. Its history stays.",
        leads_to=lambda _: _address(position),
        words={
            "title": f"Remove {installation.component}",
            "lead": f"From {position.name} of {position.stack.name}.",
            "since": installation.installed_at,
            "verb": "Remove",
            **way_of(position),
        },
    )


@signed_in
@require_http_methods(["GET", "POST"])
def correct(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct the times of an installation."""
    installation = installation_for(request.user, pk, needs=Right.MANAGE)
    position = installation.position
    visit = Visit.of(request, position.stack.rig)
    form = CorrectionForm(request.POST or None, zone=position.stack.rig.zone, installation=installation)
    return visit.fill_in(
        form,
        lambda: actions.correct_installation(
            installation, **{"removed_at": None, **form.facts}, by=visit.user, at=visit.at
        ),
        done="The times are corrected; the trail keeps what stood there before.",
        leads_to=lambda _: reverse("equipment:position", args=[position.pk]),
        words={
            "title": f"Correct the times of {installation.component}",
            "lead": f"In {position.name} of {position.stack.name}. Tests signed before keep what they say.",
            "verb": "Correct",
            **way_of(position),
            "back": reverse("equipment:position", args=[position.pk]),
        },
    )


def _address(position: Position) -> str:
    return f"{reverse('equipment:stack', args=[position.stack_id])}#position-{position.pk}"
