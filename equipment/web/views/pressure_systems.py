"""Pages of a stack's pressure system: its drawing, what is not right about it, its lists, its forms."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from equipment.actions import pressure_systems as actions
from equipment.documents.pressure_sketch import sketch_of
from equipment.errors import Refused
from equipment.models import Cavity, PressureSystem, Stack, SystemElement
from equipment.queries import history, stacks
from equipment.queries import pressure_systems as queries
from equipment.queries.access import Right
from equipment.queries.pressure_systems import Contents, pipe_strings_of
from equipment.queries.system_checks import findings
from equipment.queries.system_places import usual_pipe_strings
from equipment.queries.usual_system import usual_system
from equipment.web.door import signed_in
from equipment.web.forms.pressure_systems import AfreshForm, CavityForm, DrawUpForm, ElementForm, SystemForm
from equipment.web.lists import listed
from equipment.web.story import told
from equipment.web.system_list import (
    CavityFilter,
    CavityTable,
    ElementFilter,
    ElementTable,
    cavity_rows,
    element_rows,
)
from equipment.web.system_shown import drawn_both_ways, found_rows
from equipment.web.visit import Visit


@signed_in
@require_http_methods(["GET"])
def show_system(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a stack's pressure system: what is not right about it, its drawing, its elements; or offer to draw it up."""
    stack = stacks.stack_for(request.user, pk)
    visit = Visit.of(request, stack.rig)
    system = queries.pressure_system_of(stack)
    if system is None:
        return visit.show("equipment/no_system.html", {"stack": stack, **_way(stack)})
    contents = queries.contents_of(system, at=visit.at)
    may_manage = Right.MANAGE in visit.rights
    found = listed(
        request,
        element_rows(contents),
        ElementTable,
        filter_class=ElementFilter,
        table_options={**visit.table_options, "may_manage": may_manage},
        file_name="pressure-system",
        page_rows=100,
    )
    context = {**found.context(), **_page(contents, may_manage), "told": told(history.of_pressure_system(system))}
    return found.export or visit.show("equipment/system.html", context)


@signed_in
@require_http_methods(["GET"])
def show_cavities(request: HttpRequest, pk: int) -> HttpResponse:
    """List the cavities of a pressure system, or export them."""
    system = queries.pressure_system_for(request.user, pk)
    visit = Visit.of(request, system.stack.rig)
    found = listed(
        request,
        cavity_rows(queries.contents_of(system, at=visit.at)),
        CavityTable,
        filter_class=CavityFilter,
        table_options={**visit.table_options, "may_manage": Right.MANAGE in visit.rights},
        file_name="cavities",
        page_rows=100,
    )
    context = {**found.context(), "system": system, **_way(system.stack, system)}
    return found.export or visit.show("equipment/cavities.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def draw_up(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw up the pressure system a stack's positions suggest."""
    stack = stacks.stack_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, stack.rig)
    strings = usual_pipe_strings(stack, at=visit.at)
    form = DrawUpForm(request.POST or None, initial={"pipe_strings": strings})
    return visit.fill_in(
        form,
        lambda: actions.draw_up(stack, usual_system(stack), **form.facts, by=visit.user, at=visit.at),
        done="The pressure system is drawn up. Compare it with how the rig is piped, the manifold above all.",
        leads_to=lambda _: _address(stack),
        words={
            "title": f"Draw up the pressure system of {stack.name}",
            "lead": "As such stacks are usually piped, from the positions. Every part of it can be changed afterwards.",
            "verb": "Draw it up",
            **_way(stack),
        },
    )


@signed_in
@require_http_methods(["GET", "POST"])
def draw_up_afresh(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw a pressure system up again from the positions; what was changed by hand is lost."""
    system = queries.pressure_system_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, system.stack.rig)
    form = AfreshForm(request.POST or None)
    return visit.fill_in(
        form,
        lambda: actions.draw_up_afresh(system, usual_system(system.stack), **form.facts, by=visit.user, at=visit.at),
        done="The pressure system is drawn up again from the positions.",
        leads_to=lambda _: _address(system.stack),
        words={
            "title": f"Draw up the pressure system of {system.stack.name} again",
            "lead": "Every cavity and element is made anew from the positions: what was changed by hand is lost.",
            "verb": "Draw it up again",
            "danger": True,
            **_way(system.stack, system),
        },
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_system(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend the pipe that can stand in the hole, or the remarks."""
    system = queries.pressure_system_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, system.stack.rig)
    form = SystemForm(request.POST or None, row=system)
    return visit.fill_in(
        form,
        lambda: actions.amend_pressure_system(system, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done="It is saved.",
        leads_to=lambda _: _address(system.stack),
        words={"title": "Pipe in the hole", "verb": "Save", **_way(system.stack, system)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def add_cavity(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a cavity."""
    system = queries.pressure_system_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, system.stack.rig)
    form = CavityForm(request.POST or None, system=system, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.add_cavity(system, **form.facts, by=visit.user, at=visit.at),
        done=lambda cavity: f"{cavity.name} is added. Now add the elements that close it.",
        leads_to=lambda _: _address(system.stack),
        words={"title": "New cavity", "verb": "Add the cavity", **_way(system.stack, system)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_cavity(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend a cavity."""
    cavity = queries.cavity_for(request.user, pk, needs=Right.MANAGE)
    system = cavity.system
    visit = Visit.of(request, system.stack.rig)
    form = CavityForm(request.POST or None, row=cavity, system=system, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.amend_cavity(cavity, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done=lambda amended: f"{amended.name} is saved.",
        leads_to=lambda _: _address(system.stack),
        template="equipment/system_part.html",
        words={
            "title": f"Amend {cavity.name}",
            "verb": "Save",
            "part": cavity,
            "removal": reverse("equipment:cavity-remove", args=[cavity.pk]),
            **_way(system.stack, system),
        },
    )


@signed_in
@require_http_methods(["GET", "POST"])
def add_element(request: HttpRequest, pk: int) -> HttpResponse:
    """Add an element between two cavities."""
    system = queries.pressure_system_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, system.stack.rig)
    form = ElementForm(request.POST or None, system=system, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.add_element(system, **form.facts, by=visit.user, at=visit.at),
        done=lambda element: f"{element.name} is added.",
        leads_to=lambda _: _address(system.stack),
        words={"title": "New element", "verb": "Add the element", **_way(system.stack, system)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_element(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend an element."""
    element = queries.element_for(request.user, pk, needs=Right.MANAGE)
    system = element.system
    visit = Visit.of(request, system.stack.rig)
    form = ElementForm(request.POST or None, row=element, system=system, units=visit.units)
    return visit.fill_in(
        form,
        lambda: actions.amend_element(element, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done=lambda amended: f"{amended.name} is saved.",
        leads_to=lambda _: _address(system.stack),
        template="equipment/system_part.html",
        words={
            "title": f"Amend {element.name}",
            "verb": "Save",
            "part": element,
            "removal": reverse("equipment:element-remove", args=[element.pk]),
            **_way(system.stack, system),
        },
    )


@signed_in
@require_http_methods(["POST"])
def remove_cavity(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove a cavity no element touches."""
    cavity = queries.cavity_for(request.user, pk, needs=Right.MANAGE)
    return _removed(request, cavity, actions.remove_cavity)


@signed_in
@require_http_methods(["POST"])
def remove_element(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove an element."""
    element = queries.element_for(request.user, pk, needs=Right.MANAGE)
    return _removed(request, element, actions.remove_element)


def _removed(request: HttpRequest, part: Cavity | SystemElement, act: Any) -> HttpResponse:
    """Remove a part and lead back to the system, or say why it stays."""
    stack = part.system.stack
    visit = Visit.of(request, stack.rig)
    try:
        act(part, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, f"{part.name} is removed.")
    return HttpResponseRedirect(_address(stack))


def _page(contents: Contents, may_manage: bool) -> dict[str, Any]:
    """Return what the page of a system shows besides its list of elements."""
    system = contents.system
    return {
        "system": system,
        "stack": system.stack,
        "pipe": ", ".join(pipe_strings_of(system)),
        "found": found_rows(findings(contents), may_manage),
        "drawing": drawn_both_ways(sketch_of(system), contents, may_manage),
        "cavity_count": len(contents.cavities),
        **_way(system.stack),
    }


def _address(stack: Stack) -> str:
    return reverse("equipment:system", args=[stack.pk])


def _way(stack: Stack, system: PressureSystem | None = None) -> dict[str, Any]:
    crumbs = [(reverse("equipment:stack", args=[stack.pk]), stack.name)]
    if system is not None:
        crumbs.append((_address(stack), "Pressure system"))
    return {"crumbs": crumbs, "back": crumbs[-1][0], "section": "stack"}
