"""Rigs and their crews over HTTP."""

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request

from equipment.actions import rigs as actions
from equipment.api.marks import require_seen
from equipment.api.operations import Given, View, acts, amends, caller, lists, reads
from equipment.api.shapes import shown, taken
from equipment.errors import NotAllowed
from equipment.models import CrewMember, Rig
from equipment.queries import access, rigs
from equipment.queries.access import Right

_EXAMPLE = {"name": "Tern Six", "kind": "jack-up", "time_zone": "America/Chicago", "display_units": "us"}
_FIELDS = ("name", "kind", "time_zone", "display_units")

RigShown = shown(Rig, "id", *_FIELDS, "created_at", example={"id": 1, **_EXAMPLE, "created_at": "2026-03-02T12:00:00Z"})
RigTaken = taken(Rig, *_FIELDS, name="RigTaken", example=_EXAMPLE)
CrewMemberShown = shown(
    CrewMember, "id", "rig", "person", "role", person_name=serializers.CharField(source="person.name_shown")
)


class Rigs(View):
    """The rigs a person sees."""

    @lists(RigShown, "List rigs", description="The rigs on which the caller has a role.")
    def get(self, request: Request) -> QuerySet[Rig]:
        return access.rigs_visible(request.user)

    @acts(RigShown, "Register a rig", takes=RigTaken, description="Whoever registers it becomes its administrator.")
    def post(self, request: Request, given: Given) -> Rig:
        if not access.may_register_rigs(request.user):
            raise NotAllowed("Your role does not allow you to register rigs.", "It takes an administrator of some rig.")
        return actions.register_rig(**given(), by=caller(request), at=self.at)


class RigByKey(View):
    """One rig."""

    @reads(RigShown, "Show a rig")
    def get(self, request: Request, rig_pk: int) -> Rig:
        return access.rig_for(request.user, rig_pk)

    @amends(RigShown, "Amend a rig", takes=RigTaken)
    def patch(self, request: Request, given: Given, rig_pk: int) -> Rig:
        rig = access.rig_for(request.user, rig_pk, needs=Right.ADMINISTER)
        return actions.amend_rig(rig, seen=require_seen(request, rig), **given(), by=caller(request), at=self.at)


class Crew(View):
    """The people of a rig."""

    @lists(CrewMemberShown, "List the crew of a rig")
    def get(self, request: Request, rig_pk: int) -> QuerySet[CrewMember]:
        return rigs.crew_of(access.rig_for(request.user, rig_pk))
