"""Pages of components: the list, the component itself, its form, its end."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from equipment.actions import components as actions
from equipment.models import Component, ComponentKind, QuantityField, Rig
from equipment.narrowing import ComponentFilter
from equipment.queries import access, history, installations
from equipment.queries import components as queries
from equipment.queries.access import Right
from equipment.queries.banks import bank_of
from equipment.web import panels
from equipment.web.component_list import ComponentTable
from equipment.web.door import signed_in
from equipment.web.facts import Fact, quantity_fact
from equipment.web.forms.amendments import ComponentAmendmentForm
from equipment.web.forms.components import ComponentForm
from equipment.web.forms.rigs import ReasonForm
from equipment.web.lists import listed
from equipment.web.story import told
from equipment.web.visit import Visit

_RATINGS = ("rated_working_pressure", "nominal_bore", "temperature_class", "rated_operating_pressure")
_CLOSING = (
    "closing_volume",
    "opening_volume",
    "closing_ratio",
    "opening_ratio",
    "closes_on_smallest",
    "closes_on_largest",
)


@signed_in
@require_http_methods(["GET"])
def show_components(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """List a rig's components, filtered and sorted by the address, or export them."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    found = listed(
        request,
        queries.components_of(rig),
        ComponentTable,
        filter_class=ComponentFilter,
        filter_options={"today": visit.today},
        table_options=visit.table_options,
        file_name="components",
    )
    return found.export or visit.show("equipment/components.html", found.context())


@signed_in
@require_http_methods(["GET"])
def show_component(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a component: identity, elastomers, documents, where it stood, its service and its trail."""
    component = queries.component_for(request.user, pk)
    visit = Visit.of(request, component.rig)
    placed = list(installations.of_component(component))
    context = {
        "component": component,
        "standing": next((one for one in placed if one.removed_at is None), None),
        "installations": placed,
        "bank": bank_of(component) if component.kind == ComponentKind.ACCUMULATOR_BANK else None,
        "ratings": _facts(component, _RATINGS, visit),
        "closing": _facts(component, _CLOSING, visit),
        "elastomers": queries.elastomers_of(component),
        "documents": queries.documents_of(component),
        "service_events": queries.service_events_of(component),
        "parts": panels.component_parts(request, component),
        "told": told(history.of_component(component)),
        **_way(component.rig),
    }
    return visit.show("equipment/component.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def register_component(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Register a component; ``?kind=`` chooses its kind beforehand."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.MANAGE)
    visit = Visit.of(request, rig)
    kind = request.GET.get("kind", "")
    initial = {"kind": kind} if kind in ComponentKind else {}
    form = ComponentForm(request.POST or None, units=visit.units, initial=initial)
    return visit.fill_in(
        form,
        lambda: actions.register_component(rig, **form.facts, by=visit.user, at=visit.at),
        done="The component is registered. It stands nowhere until it is installed in a position.",
        leads_to=_address,
        words={"title": "New component", "verb": "Register the component", **_way(rig)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_component(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend a component."""
    component = queries.component_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, component.rig)
    form = ComponentAmendmentForm(request.POST or None, row=component, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.amend_component(component, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done="The component is amended. Records signed before keep it as it was.",
        leads_to=_address,
        words={"title": f"Amend {component}", "verb": "Save", **_way(component.rig, component)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def retire_component(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a component out of use."""
    component = queries.component_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, component.rig)
    form = ReasonForm(request.POST or None)
    return visit.fill_in(
        form,
        lambda: actions.retire_component(component, **form.facts, by=visit.user, at=visit.at),
        done="The component is retired. It stays on file with all its history.",
        leads_to=_address,
        words={
            "title": f"Retire {component}",
            "lead": "A retired component stays on file and can't be installed. Nothing is deleted.",
            "verb": "Retire",
            "danger": True,
            **_way(component.rig, component),
        },
    )


@signed_in
@require_http_methods(["GET", "POST"])
def reinstate_component(request: HttpRequest, pk: int) -> HttpResponse:
    """Bring a retired component back into use."""
    component = queries.component_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, component.rig)
    form = ReasonForm(request.POST or None)
    return visit.fill_in(
        form,
        lambda: actions.reinstate_component(component, **form.facts, by=visit.user, at=visit.at),
        done="The component is in use again.",
        leads_to=_address,
        words={"title": f"Bring {component} back into use", "verb": "Bring back", **_way(component.rig, component)},
    )


def _facts(component: Component, names: tuple[str, ...], visit: Visit) -> list[Fact]:
    """Return what is on file under these names; what is empty is left out."""
    found = []
    for name in names:
        value = getattr(component, name)
        quantity = vars(Component).get(name)
        if value in (None, ""):
            continue
        if isinstance(quantity, QuantityField):
            found.append(quantity_fact(quantity.verbose_name, value, quantity.dimension, visit.units))
        else:
            found.append(
                Fact(name.replace("_", " "), f"{value.normalize():f}" if name.endswith("_ratio") else str(value))
            )
    return found


def _address(component: Component) -> str:
    return reverse("equipment:component", args=[component.pk])


def _way(rig: Rig, component: Component | None = None) -> dict[str, Any]:
    crumbs = [(reverse("equipment:components", args=[rig.pk]), "Components")]
    if component is not None:
        crumbs.append((_address(component), str(component)))
    return {"crumbs": crumbs, "back": crumbs[-1][0], "section": "component"}


def way_of(component: Component, part: str) -> dict[str, Any]:
    """Return crumbs and the way back to a part of the component's page."""
    way = _way(component.rig, component)
    return {**way, "back": f"{way['back']}#{part}"}
