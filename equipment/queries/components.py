"""Components, as one person may see them."""

from django.db.models import CharField, Exists, F, Min, OuterRef, Q, QuerySet, Subquery

from equipment.models import Component, Document, Elastomer, Installation, Instrument, Position, Rig, ServiceEvent
from equipment.queries import access
from equipment.queries.access import Right, Viewer


def _with_place(components: QuerySet[Component]) -> QuerySet[Component]:
    standing = Installation.objects.filter(component=OuterRef("pk"), removed_at__isnull=True)
    return components.annotate(
        stack_name=Subquery(standing.values("position__stack__name")[:1], output_field=CharField()),
        position_name=Subquery(standing.values("position__name")[:1], output_field=CharField()),
        stack_pk=Subquery(standing.values("position__stack")[:1]),
        position_pk=Subquery(standing.values("position")[:1]),
        elastomer_expires_on=Min(
            "elastomers__expires_on",
            filter=Q(elastomers__removed_on__isnull=True, elastomers__withdrawn_at__isnull=True),
        ),
    )


def components_of(rig: Rig) -> QuerySet[Component]:
    """Return the rig's components, each with where it stands now and the elastomer that runs out first.

    Added to each: `stack_name`, `stack_pk`, `position_name`, `position_pk`, `elastomer_expires_on`.
    """
    return _with_place(Component.objects.filter(rig=rig)).select_related("rig").order_by("kind", "serial")


def component_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Component:
    """Return the component; raises NotYours or NotAllowed."""
    return access.checked(user, Component.objects.select_related("rig").filter(pk=pk).first(), needs=needs)


def installable(position: Position) -> QuerySet[Component]:
    """Return the components that fit the position and stand nowhere now: of its kind, on its rig, not retired."""
    standing = Installation.objects.filter(component=OuterRef("pk"), removed_at__isnull=True)
    return Component.objects.filter(
        ~Exists(standing), rig=position.stack.rig_id, kind=position.kind, retired_at__isnull=True
    ).order_by("serial")


def documents_of(subject: Component | Instrument) -> QuerySet[Document]:
    """Return the documents, the latest added of each kind first."""
    return subject.documents.order_by("kind", "-added_at")


def elastomers_of(component: Component) -> QuerySet[Elastomer]:
    """Return the elastomers, those fitted now first."""
    return component.elastomers.order_by(F("removed_on").desc(nulls_first=True), "part", "-installed_on")


def elastomer_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Elastomer:
    """Return the elastomer; raises NotYours or NotAllowed."""
    elastomer: Elastomer | None = Elastomer.objects.select_related("component__rig").filter(pk=pk).first()
    return access.checked(user, elastomer, needs=needs)


def service_events_of(component: Component) -> QuerySet[ServiceEvent]:
    """Return the service events, newest first."""
    return component.service_events.order_by("-at", "-pk")


def service_event_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> ServiceEvent:
    """Return the service event; raises NotYours or NotAllowed."""
    event: ServiceEvent | None = ServiceEvent.objects.select_related("component__rig").filter(pk=pk).first()
    return access.checked(user, event, needs=needs)


def document_for(user: Viewer, pk: int, *, needs: Right = Right.READ) -> Document:
    """Return the document of a component or an instrument; raises NotYours or NotAllowed."""
    everything = Document.objects.select_related("component__rig", "instrument__rig")
    document: Document | None = everything.filter(pk=pk).first()
    return access.checked(user, document, needs=needs)
