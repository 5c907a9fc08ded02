"""Pages of stacks and positions: as they stand, as they stood, and as they are arranged."""

from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from equipment.actions import stacks as actions
from equipment.errors import Refused
from equipment.models import Position, PositionGroup, Rig, Stack
from equipment.queries import access, installations
from equipment.queries import stacks as queries
from equipment.queries.access import Right
from equipment.queries.controls import controls_of
from equipment.queries.stacks import Standing
from equipment.web import elevation, panels
from equipment.web.door import signed_in
from equipment.web.forms.stacks import MomentForm, PositionForm, StackForm
from equipment.web.visit import Visit


@dataclass(frozen=True)
class Row:
    """A line of the table of positions."""

    standing: Standing
    state: panels.StateMark | None


@signed_in
@require_http_methods(["GET"])
def show_stacks(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """List a rig's stacks; a rig with one is led straight to it."""
    rig = access.rig_for(request.user, rig_pk)
    found = list(queries.stacks_of(rig))
    if len(found) == 1 and "all" not in request.GET:
        return HttpResponseRedirect(_address(found[0]))
    return Visit.of(request, rig).show("equipment/stacks.html", {"stacks": found})


@signed_in
@require_http_methods(["GET", "POST"])
def register_stack(request: HttpRequest, rig_pk: int) -> HttpResponse:
    """Register a stack."""
    rig = access.rig_for(request.user, rig_pk, needs=Right.MANAGE)
    visit = Visit.of(request, rig)
    form = StackForm(request.POST or None)
    return visit.fill_in(
        form,
        lambda: actions.register_stack(rig, **form.facts, by=visit.user, at=visit.at),
        done="The stack is registered. Add its positions from the top.",
        leads_to=lambda stack: reverse("equipment:stack-arrange", args=[stack.pk]),
        words={"title": "New stack", "verb": "Register the stack", **_way(rig)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_stack(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend a stack's name or kind."""
    stack = queries.stack_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, stack.rig)
    form = StackForm(request.POST or None, row=stack)
    return visit.fill_in(
        form,
        lambda: actions.amend_stack(stack, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done="The stack is amended.",
        leads_to=_address,
        words={"title": f"Amend {stack.name}", "verb": "Save", **_way(stack.rig, stack)},
    )


@signed_in
@require_http_methods(["GET"])
def show_stack(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a stack as it stands, or with ``?at=`` as it stood: its drawing and its table of positions."""
    stack = queries.stack_for(request.user, pk)
    visit = Visit.of(request, stack.rig)
    form = MomentForm(request.GET if request.GET.get("at") else None, zone=stack.rig.zone, latest=visit.at)
    past: datetime | None = form.cleaned_data["at"] if form.is_bound and form.is_valid() else None
    at = past or visit.at
    standings = queries.as_installed(stack, at=at)
    states = panels.states_of(stack, at)
    context = {
        "stack": stack,
        "moment_form": form,
        "past": past,
        "at": at,
        "drawing": elevation.draw(stack, standings, states, units=visit.units),
        "groups": _groups(standings, states),
        "has_states": bool(states),
        "filled": sum(1 for one in standings if one.component),
        "positions": len(standings),
        "controls": controls_of(stack, at=at),
        **_way(stack.rig),
    }
    return visit.show("equipment/stack.html", context)


@signed_in
@require_http_methods(["GET"])
def arrange_stack(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the positions of a stack to add, move and amend them."""
    stack = queries.stack_for(request.user, pk, needs=Right.MANAGE)
    context = {"stack": stack, "positions": queries.positions_of(stack), **_way(stack.rig, stack)}
    return Visit.of(request, stack.rig).show("equipment/arrange.html", context)


@signed_in
@require_http_methods(["GET", "POST"])
def add_position(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a position to a stack."""
    stack = queries.stack_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, stack.rig)
    form = PositionForm(request.POST or None, stack=stack)
    return visit.fill_in(
        form,
        lambda: actions.add_position(stack, **form.facts, by=visit.user, at=visit.at),
        done="The position is added.",
        leads_to=lambda _: _arrange_address(stack),
        words={"title": "New position", "verb": "Add the position", **_way(stack.rig, stack, arranging=True)},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_position(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend a position, or move it."""
    position = queries.position_for(request.user, pk, needs=Right.MANAGE)
    stack = position.stack
    visit = Visit.of(request, stack.rig)
    form = PositionForm(request.POST or None, stack=stack, row=position)
    return visit.fill_in(
        form,
        lambda: actions.amend_position(position, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done="The position is amended.",
        leads_to=lambda _: _arrange_address(stack),
        words={"title": f"Amend {position.name}", "verb": "Save", **_way(stack.rig, stack, arranging=True)},
    )


@signed_in
@require_http_methods(["POST"])
def move_position(request: HttpRequest, pk: int, step: int) -> HttpResponse:
    """Move a position one place up or down."""
    position = queries.position_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, position.stack.rig)
    try:
        actions.amend_position(position, order=position.order + step, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
    return HttpResponseRedirect(f"{_arrange_address(position.stack)}#position-{position.pk}")


@signed_in
@require_http_methods(["POST"])
def remove_position(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove a position that was never used."""
    position = queries.position_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, position.stack.rig)
    try:
        actions.remove_position(position, by=visit.user, at=visit.at)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, f"{position.name} is removed.")
    return HttpResponseRedirect(_arrange_address(position.stack))


@signed_in
@require_http_methods(["GET"])
def show_position(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what has stood in a position."""
    position = queries.position_for(request.user, pk)
    context = {
        "position": position,
        "history": list(installations.of_position(position)),
        **_way(position.stack.rig, position.stack),
    }
    return Visit.of(request, position.stack.rig).show("equipment/position.html", context)


def _groups(standings: list[Standing], states: dict[int, panels.StateMark]) -> list[tuple[str, list[Row]]]:
    """Return the rows by the part of the stack they belong to, each part where its first position stands."""
    first: dict[str, int] = {}
    for index, one in enumerate(standings):
        first.setdefault(one.position.group, index)
    ordered = sorted(standings, key=lambda one: (first[one.position.group], one.position.order))
    return [
        (PositionGroup(group).label, [Row(one, states.get(one.position.pk)) for one in members])
        for group, members in groupby(ordered, key=lambda one: one.position.group)
    ]


def _address(stack: Stack) -> str:
    return reverse("equipment:stack", args=[stack.pk])


def _arrange_address(stack: Stack) -> str:
    return reverse("equipment:stack-arrange", args=[stack.pk])


def _way(rig: Rig, stack: Stack | None = None, *, arranging: bool = False) -> dict[str, Any]:
    crumbs = [(f"{reverse('equipment:stacks', args=[rig.pk])}?all=1", "Stacks")]
    if stack is not None:
        crumbs.append((_address(stack), stack.name))
        if arranging:
            crumbs.append((_arrange_address(stack), "Positions"))
    return {"crumbs": crumbs, "back": crumbs[-1][0], "section": "stack"}


def way_of(position: Position) -> dict[str, Any]:
    """Return crumbs and the way back for a page about one position."""
    way = _way(position.stack.rig, position.stack)
    return {**way, "back": f"{way['back']}#position-{position.pk}"}
