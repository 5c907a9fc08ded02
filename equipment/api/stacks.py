"""Stacks, their positions, and what stands in them over HTTP."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from equipment.actions import installations as installing
from equipment.actions import stacks as actions
from equipment.api.asked import moment_asked
from equipment.api.components import ComponentShown
from equipment.api.marks import require_seen
from equipment.api.operations import Given, View, acts, amends, caller, lists, reads, removes
from equipment.api.shapes import Taken, shown, taken, with_example
from equipment.errors import NotYours, Refused
from equipment.models import ControlItem, Installation, Position, Stack
from equipment.narrowing import ControlFilter
from equipment.queries import access, components, controls, installations, stacks
from equipment.queries.access import Right
from equipment.queries.stacks import Standing

_AT = OpenApiParameter("at", {"type": "string", "format": "date-time"}, description="The moment; now without it.")

StackShown = shown(Stack, "id", "rig", "name", "kind")
StackTaken = taken(Stack, "name", "kind", name="StackTaken", example={"name": "Main stack", "kind": "surface"})
PositionShown = shown(Position, "id", "stack", "order", "name", "kind", "group", "outlet_of")
PositionTaken = taken(
    Position,
    "name",
    "kind",
    "group",
    "outlet_of",
    name="PositionTaken",
    example={"name": "Upper pipe ram", "kind": "pipe-ram", "order": 2},
    order=serializers.IntegerField(required=False, min_value=1, max_value=1000, help_text="Counted from the top."),
)
InstallationShown = shown(Installation, "id", "component", "position", "installed_at", "removed_at", "removal_reason")
ControlShown = shown(
    ControlItem, "id", "stack", "kind", "name", "place", "in_service_from", "retired_at", name="ControlItem"
)


class StandingShown(serializers.Serializer):
    """A position and what stood in it at the moment asked for; nothing when it was empty."""

    position = PositionShown()
    component = ComponentShown(allow_null=True)
    installation = InstallationShown(allow_null=True)


class InstallTaken(Taken):
    """Which component was installed, and when."""

    component = serializers.IntegerField(min_value=1)
    installed_at = serializers.DateTimeField()


class RemovalTaken(Taken):
    """When a component was removed, and why."""

    removed_at = serializers.DateTimeField()
    reason = serializers.CharField(max_length=200)


with_example(InstallTaken, {"component": 12, "installed_at": "2026-03-02T06:30:00-06:00"})
with_example(RemovalTaken, {"removed_at": "2026-03-09T14:00:00-06:00", "reason": "Sent ashore for overhaul."})


class Stacks(View):
    """The stacks of a rig."""

    @lists(StackShown, "List the stacks of a rig")
    def get(self, request: Request, rig_pk: int) -> QuerySet[Stack]:
        return stacks.stacks_of(access.rig_for(request.user, rig_pk))

    @acts(StackShown, "Register a stack", takes=StackTaken)
    def post(self, request: Request, given: Given, rig_pk: int) -> Stack:
        rig = access.rig_for(request.user, rig_pk, needs=Right.MANAGE)
        return actions.register_stack(rig, **given(), by=caller(request), at=self.at)


class StackByKey(View):
    """One stack."""

    @reads(StackShown, "Show a stack")
    def get(self, request: Request, pk: int) -> Stack:
        return stacks.stack_for(request.user, pk)

    @amends(StackShown, "Amend a stack", takes=StackTaken)
    def patch(self, request: Request, given: Given, pk: int) -> Stack:
        stack = stacks.stack_for(request.user, pk, needs=Right.MANAGE)
        return actions.amend_stack(stack, seen=require_seen(request, stack), **given(), by=caller(request), at=self.at)


class AsInstalled(View):
    """What stands in a stack."""

    @lists(
        StandingShown,
        "Show what stands in a stack",
        query=[_AT],
        key=lambda standing: str(standing.position.pk),
        description="Every position, top first, with what stood in it at the moment.",
    )
    def get(self, request: Request, pk: int) -> list[Standing]:
        return stacks.as_installed(stacks.stack_for(request.user, pk), at=moment_asked(request, "at") or self.at)


class Positions(View):
    """The positions of a stack."""

    @lists(PositionShown, "List the positions of a stack", order=("order", "pk"))
    def get(self, request: Request, pk: int) -> QuerySet[Position]:
        return stacks.positions_of(stacks.stack_for(request.user, pk))

    @acts(PositionShown, "Add a position", takes=PositionTaken, description="At the bottom without an order.")
    def post(self, request: Request, given: Given, pk: int) -> Position:
        stack = stacks.stack_for(request.user, pk, needs=Right.MANAGE)
        return actions.add_position(stack, **_with_outlet(request, given()), by=caller(request), at=self.at)


class PositionByKey(View):
    """One position."""

    @reads(PositionShown, "Show a position")
    def get(self, request: Request, pk: int) -> Position:
        return stacks.position_for(request.user, pk)

    @amends(PositionShown, "Amend a position", takes=PositionTaken)
    def patch(self, request: Request, given: Given, pk: int) -> Position:
        position = stacks.position_for(request.user, pk, needs=Right.MANAGE)
        seen = require_seen(request, position)
        facts = _with_outlet(request, given())
        return actions.amend_position(position, seen=seen, **facts, by=caller(request), at=self.at)

    @removes("Remove a position", description="One in which nothing ever stood and which nothing names.")
    def delete(self, request: Request, pk: int) -> None:
        position = stacks.position_for(request.user, pk, needs=Right.MANAGE)
        actions.remove_position(position, by=caller(request), at=self.at)


def _with_outlet(request: Request, given: dict[str, Any]) -> dict[str, Any]:
    """Return the facts with the position in place of its key."""
    if given.get("outlet_of") is None:
        return given
    try:
        return {**given, "outlet_of": stacks.position_for(request.user, given["outlet_of"])}
    except NotYours as error:
        raise Refused("outlet_of", "There is no such position.", "Give the key of one of this stack.") from error


class InstallationsOfPosition(View):
    """What stood in a position."""

    @lists(InstallationShown, "List what stood in a position", order=("-installed_at", "-pk"))
    def get(self, request: Request, pk: int) -> QuerySet[Installation]:
        return installations.of_position(stacks.position_for(request.user, pk))

    @acts(InstallationShown, "Install a component", takes=InstallTaken, description="It stands there from then on.")
    def post(self, request: Request, given: Given, pk: int) -> Installation:
        position = stacks.position_for(request.user, pk, needs=Right.MANAGE)
        sent = given()
        try:
            component = components.component_for(request.user, sent["component"], needs=Right.MANAGE)
        except NotYours as error:
            raise Refused("component", "There is no such component.", "Give the key of one of this rig.") from error
        moment = sent["installed_at"]
        return installing.install_component(component, position, installed_at=moment, by=caller(request), at=self.at)


class InstallationsOfComponent(View):
    """Where a component stood."""

    @lists(InstallationShown, "List where a component stood", order=("-installed_at", "-pk"))
    def get(self, request: Request, pk: int) -> QuerySet[Installation]:
        return installations.of_component(components.component_for(request.user, pk))


class InstallationByKey(View):
    """One installation."""

    @reads(InstallationShown, "Show an installation")
    def get(self, request: Request, pk: int) -> Installation:
        return installations.installation_for(request.user, pk)


class Removal(View):
    """The removal of a component from its position."""

    @acts(InstallationShown, "Remove a component from its position", takes=RemovalTaken)
    def post(self, request: Request, given: Given, pk: int) -> Installation:
        installation = installations.installation_for(request.user, pk, needs=Right.MANAGE)
        return installing.remove_component(installation, **given(), by=caller(request), at=self.at)


class Controls(View):
    """The stations, pods and panels of a rig."""

    @lists(ControlShown, "List the control items of a rig", narrowed_by=ControlFilter)
    def get(self, request: Request, rig_pk: int) -> tuple[QuerySet[ControlItem], dict[str, Any]]:
        rig = access.rig_for(request.user, rig_pk)
        return controls.controls_of_rig(rig), {"rig": rig}
