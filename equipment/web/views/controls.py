"""Pages of control items: the list, one item, its forms."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from equipment.actions import controls as actions
from equipment.models import ControlItem, ControlKind, Stack
from equipment.narrowing import ControlFilter
from equipment.queries import access, history, stacks
from equipment.queries import controls as queries
from equipment.queries.access import Right
from equipment.web import panels
from equipment.web.control_list import ControlTable
from equipment.web.door import signed_in
from equipment.web.forms.controls import ControlAmendmentForm, ControlForm, ControlRetirementForm
from equipment.web.lists import listed
from equipment.web.story import told
from equipment.web.visit import Visit


@signed_in
@require_http_methods(["GET"])
def show_controls(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """List a rig's control items, or export them."""
    rig = access.rig_for(request.user, rig_pk)
    visit = Visit.of(request, rig)
    found = listed(
        request,
        queries.controls_of_rig(rig),
        ControlTable,
        filter_class=ControlFilter,
        filter_options={"rig": rig},
        table_options=visit.table_options,
        file_name="control-items",
    )
    context = {**found.context(), "stacks": list(rig.stacks.all()), "section": "stack"}
    return found.export or visit.show("equipment/controls.html", context)


@signed_in
@require_http_methods(["GET"])
def show_control(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a control item: what and where it is, its tests and its trail."""
    item = queries.control_for(request.user, pk)
    context = {
        "item": item,
        "parts": panels.control_parts(request, item),
        "told": told(history.of_row(item)),
        **_way(item.stack),
    }
    return Visit.of(request, item.stack.rig).show("equipment/control.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def add_control(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a control item of a stack on file."""
    stack = stacks.stack_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, stack.rig)
    asked = {"kind": request.GET["kind"]} if request.GET.get("kind") in ControlKind else {}
    form = ControlForm(request.POST or None, initial=asked, stack=stack, at=visit.at)
    return visit.fill_in(
        form,
        lambda: actions.add_control_item(stack, **form.facts, by=visit.user, at=visit.at),
        done=lambda item: f"{item.name} is on file.",
        leads_to=lambda _: f"{reverse('equipment:stack', args=[stack.pk])}#controls",
        words={"title": "New control item", "verb": "Put on file", **_way(stack)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_control(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend a control item."""
    item = queries.control_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, item.stack.rig)
    form = ControlAmendmentForm(request.POST or None, row=item, stack=item.stack, at=visit.at)
    return visit.fill_in(
        form,
        lambda: actions.amend_control_item(item, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done="It is amended. Records signed before keep it as it was.",
        leads_to=_address,
        words={"title": f"Amend {item.name}", "verb": "Save", **_way(item.stack, item)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def retire_control(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a control item out of service."""
    item = queries.control_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, item.stack.rig)
    form = ControlRetirementForm(request.POST or None, zone=item.stack.rig.zone, at=visit.at)
    return visit.fill_in(
        form,
        lambda: actions.retire_control_item(item, **form.facts, by=visit.user, at=visit.at),
        done=f"{item.name} is out of service. It stays on file with its tests.",
        leads_to=_address,
        words={
            "title": f"Take {item.name} out of service",
            "lead": "Nothing is due of it any more. For work on it that ends, leave it in service and defer its test.",
            "verb": "Take out of service",
            "danger": True,
            **_way(item.stack, item),
        },
    )


def _address(item: ControlItem) -> str:
    return reverse("equipment:control", args=[item.pk])


def _way(stack: Stack, item: ControlItem | None = None) -> dict[str, Any]:
    crumbs = [(reverse("equipment:stack", args=[stack.pk]), stack.name)]
    if item is not None:
        crumbs.append((_address(item), item.name))
        return {"crumbs": crumbs, "back": _address(item), "section": "stack"}
    return {"crumbs": crumbs, "back": f"{crumbs[0][0]}#controls", "section": "stack"}
