"""Components, with their elastomers, documents and service, over HTTP."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request

from equipment.actions import components as actions
from equipment.api.marks import require_seen
from equipment.api.operations import Given, View, acts, amends, caller, lists, reads
from equipment.api.shapes import Taken, shown, taken, with_example
from equipment.models import Component, Document, Elastomer, ServiceEvent
from equipment.narrowing import ComponentFilter
from equipment.queries import access, components, instruments
from equipment.queries.access import Right

_FIELDS = (
    "kind",
    "serial",
    "maker",
    "model",
    "nominal_bore",
    "rated_working_pressure",
    "temperature_class",
    "closing_volume",
    "opening_volume",
    "closing_ratio",
    "opening_ratio",
    "rated_operating_pressure",
    "closes_on_smallest",
    "closes_on_largest",
    "closes_on_open_hole",
    "manufactured_on",
    "last_major_inspection_on",
    "remarks",
)
_EXAMPLE = {"kind": "pipe-ram", "serial": "PR-4471", "rated_working_pressure": "10000 psi", "nominal_bore": "18.75 in"}

ComponentShown = shown(Component, "id", "rig", *_FIELDS, "retired_at", "retired_reason")
ComponentListed = shown(
    Component,
    *("id", "rig", *_FIELDS, "retired_at", "retired_reason"),
    name="ComponentListed",
    stack=serializers.IntegerField(source="stack_pk", allow_null=True, help_text="In which it stands now."),
    position=serializers.IntegerField(source="position_pk", allow_null=True, help_text="In which it stands now."),
    elastomer_expires_on=serializers.DateField(allow_null=True, help_text="Of the fitted one that runs out first."),
)
ComponentTaken = taken(Component, *_FIELDS, name="ComponentTaken", example=_EXAMPLE)
ComponentAmended = taken(
    Component,
    *_FIELDS,
    name="ComponentAmended",
    example={"rated_working_pressure": "5000 psi", "reason": "Derated by the maker's letter."},
    reason=serializers.CharField(required=False, allow_blank=True, max_length=200),
)
ElastomerShown = shown(
    Elastomer, "id", "component", "part", "compound", "batch", "installed_on", "expires_on", "removed_on"
)
ServiceShown = shown(ServiceEvent, "id", "component", "kind", "at", "description", "recorded_by")
DocumentShown = shown(
    Document,
    *("id", "component", "instrument", "kind", "title", "number", "issued_on", "expires_on", "file_name"),
    *("sha256", "size", "follows", "added_at", "added_by"),
)


class WhyTaken(Taken):
    """Why something is done."""

    reason = serializers.CharField(max_length=200)


with_example(WhyTaken, {"reason": "Washed out beyond repair."})


class Components(View):
    """The components of a rig."""

    @lists(ComponentListed, "List the components of a rig", narrowed_by=ComponentFilter)
    def get(self, request: Request, rig_pk: int) -> tuple[QuerySet[Component], dict[str, Any]]:
        rig = access.rig_for(request.user, rig_pk)
        return components.components_of(rig), {"today": self.at.astimezone(rig.zone).date()}

    @acts(ComponentShown, "Register a component", takes=ComponentTaken, description="It stands nowhere yet.")
    def post(self, request: Request, given: Given, rig_pk: int) -> Component:
        rig = access.rig_for(request.user, rig_pk, needs=Right.MANAGE)
        return actions.register_component(rig, **given(), by=caller(request), at=self.at)


class ComponentByKey(View):
    """One component."""

    @reads(ComponentShown, "Show a component")
    def get(self, request: Request, pk: int) -> Component:
        return components.component_for(request.user, pk)

    @amends(ComponentShown, "Amend a component", takes=ComponentAmended, description="A rating needs its reason.")
    def patch(self, request: Request, given: Given, pk: int) -> Component:
        component = components.component_for(request.user, pk, needs=Right.MANAGE)
        seen = require_seen(request, component)
        return actions.amend_component(component, seen=seen, **given(), by=caller(request), at=self.at)


class Retirement(View):
    """Taking a component out of use."""

    @acts(ComponentShown, "Retire a component", takes=WhyTaken, description="It stays on file.")
    def post(self, request: Request, given: Given, pk: int) -> Component:
        component = components.component_for(request.user, pk, needs=Right.MANAGE)
        return actions.retire_component(component, **given(), by=caller(request), at=self.at)


class Elastomers(View):
    """The elastomers of a component."""

    @lists(ElastomerShown, "List the elastomers of a component")
    def get(self, request: Request, pk: int) -> QuerySet[Elastomer]:
        return components.elastomers_of(components.component_for(request.user, pk))


class ServiceEvents(View):
    """The service of a component."""

    @lists(ServiceShown, "List the service of a component", order=("-at", "-pk"))
    def get(self, request: Request, pk: int) -> QuerySet[ServiceEvent]:
        return components.service_events_of(components.component_for(request.user, pk))


class DocumentsOfComponent(View):
    """The documents of a component."""

    @lists(DocumentShown, "List the documents of a component")
    def get(self, request: Request, pk: int) -> QuerySet[Document]:
        return components.documents_of(components.component_for(request.user, pk))


class DocumentsOfInstrument(View):
    """The documents of an instrument."""

    @lists(DocumentShown, "List the documents of an instrument")
    def get(self, request: Request, pk: int) -> QuerySet[Document]:
        return components.documents_of(instruments.instrument_for(request.user, pk))


class DocumentByKey(View):
    """One document."""

    @reads(DocumentShown, "Show a document")
    def get(self, request: Request, pk: int) -> Document:
        return components.document_for(request.user, pk)
