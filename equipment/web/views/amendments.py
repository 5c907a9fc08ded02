"""Pages that amend what was written down of work, elastomers and documents."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_http_methods

from equipment.actions import amendments
from equipment.models import Document
from equipment.queries import access
from equipment.queries import components as queries
from equipment.queries.access import Right
from equipment.web.door import signed_in
from equipment.web.forms.amendments import DocumentAmendmentForm, ElastomerAmendmentForm, ServiceAmendmentForm
from equipment.web.views import instruments
from equipment.web.views.components import way_of
from equipment.web.visit import Visit

_DONE = "It is amended. What stood there before is in the history, with the reason."


@signed_in
@require_http_methods(["GET", "POST"])
def amend_service(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend work done on a component."""
    event = queries.service_event_for(request.user, pk, needs=Right.MANAGE)
    component = event.component
    visit = Visit.of(request, component.rig)
    form = ServiceAmendmentForm(
        request.POST or None, row=event, zone=component.rig.zone, at=visit.at, initial={"finished_at": event.at}
    )
    way = way_of(component, "service")
    return visit.fill_in(
        form,
        lambda: amendments.amend_service(event, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done=_DONE,
        leads_to=lambda _: way["back"],
        words={"title": f"Amend work on {component}", "verb": "Save", **way},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_elastomer(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend an elastomer of a component."""
    elastomer = queries.elastomer_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, elastomer.component.rig)
    form = ElastomerAmendmentForm(request.POST or None, row=elastomer)
    way = way_of(elastomer.component, "elastomers")
    return visit.fill_in(
        form,
        lambda: amendments.amend_elastomer(elastomer, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done=_DONE,
        leads_to=lambda _: way["back"],
        words={"title": f"Amend {elastomer.part}", "verb": "Save", **way},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def amend_document(request: HttpRequest, pk: int) -> HttpResponse:
    """Amend what is on file about a document."""
    document = queries.document_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, access.rig_of(document))
    form = DocumentAmendmentForm(request.POST or None, row=document)
    way = _way_of(document)
    return visit.fill_in(
        form,
        lambda: amendments.amend_document(document, **form.facts, seen=form.version, by=visit.user, at=visit.at),
        done=_DONE,
        leads_to=lambda _: way["back"],
        words={
            "title": f"Amend {document.title}",
            "lead": f"The file {document.file_name} stays as received; attach another document for another file.",
            "verb": "Save",
            **way,
        },
    )


def _way_of(document: Document) -> dict[str, Any]:
    if document.component is not None:
        return way_of(document.component, "documents")
    assert document.instrument is not None  # a document is of one or the other, which the database holds
    return instruments.way_of(document.instrument, "documents")
