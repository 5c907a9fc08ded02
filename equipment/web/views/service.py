"""Pages of what is done to a component: service, elastomers; and of documents."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_http_methods

from equipment import files
from equipment.actions import documents, service
from equipment.models import Component, Document, Instrument
from equipment.queries import components as queries
from equipment.queries.access import Right
from equipment.queries.instruments import instrument_for
from equipment.web.door import signed_in
from equipment.web.forms.components import DocumentForm, ElastomerForm, ElastomerRemovalForm, ServiceForm
from equipment.web.views import instruments
from equipment.web.views.components import way_of
from equipment.web.visit import Visit


@signed_in
@require_http_methods(["GET", "POST"])
def record_service(request: HttpRequest, pk: int) -> HttpResponse:
    """Record work done on a component."""
    component = queries.component_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, component.rig)
    form = ServiceForm(request.POST or None, zone=component.rig.zone, at=visit.at)
    return visit.fill_in(
        form,
        lambda: service.record_service(component, **form.facts, by=visit.user, at=visit.at),
        done="The work is recorded.",
        leads_to=lambda _: _part_address(component, "service"),
        words={"title": f"Work on {component}", "verb": "Record the work", **way_of(component, "service")},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def fit_elastomer(request: HttpRequest, pk: int) -> HttpResponse:
    """Record an elastomer fitted in a component."""
    component = queries.component_for(request.user, pk, needs=Right.MANAGE)
    visit = Visit.of(request, component.rig)
    form = ElastomerForm(request.POST or None, initial={"installed_on": visit.today})
    return visit.fill_in(
        form,
        lambda: service.fit_elastomer(component, **form.facts, by=visit.user, at=visit.at),
        done="The elastomer is on file. Record the work too, when it was a change.",
        leads_to=lambda _: _part_address(component, "elastomers"),
        words={"title": f"Elastomer of {component}", "verb": "Record", **way_of(component, "elastomers")},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def remove_elastomer(request: HttpRequest, pk: int) -> HttpResponse:
    """Record that an elastomer was taken out."""
    elastomer = queries.elastomer_for(request.user, pk, needs=Right.MANAGE)
    component = elastomer.component
    visit = Visit.of(request, component.rig)
    form = ElastomerRemovalForm(request.POST or None, initial={"removed_on": visit.today})
    return visit.fill_in(
        form,
        lambda: service.remove_elastomer(elastomer, **form.facts, by=visit.user, at=visit.at),
        done="The elastomer is recorded as removed.",
        leads_to=lambda _: _part_address(component, "elastomers"),
        words={"title": f"{elastomer.part} removed", "verb": "Record", **way_of(component, "elastomers")},
    )


@signed_in
@require_http_methods(["GET", "POST"])
def attach_to_component(request: HttpRequest, pk: int) -> HttpResponse:
    """Attach a document to a component."""
    component = queries.component_for(request.user, pk, needs=Right.MANAGE)
    return _attach(request, component, way_of(component, "documents"))


@signed_in
@require_http_methods(["GET", "POST"])
def attach_to_instrument(request: HttpRequest, pk: int) -> HttpResponse:
    """Attach a document to an instrument."""
    instrument = instrument_for(request.user, pk, needs=Right.MANAGE)
    return _attach(request, instrument, instruments.way_of(instrument, "documents"))


@signed_in
@require_http_methods(["GET"])
def download(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand a document's file out as it was received: as an attachment, never shown or run by the browser."""
    document = queries.document_for(request.user, pk)
    try:
        content = files.fetch(document.sha256)
    except (files.FileMissing, files.FileAltered) as fault:
        messages.error(request, str(fault))
        return HttpResponseRedirect(_subject_address(document))
    headers = {
        "Content-Disposition": content_disposition_header(True, document.file_name) or "attachment",
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": "private, no-store",
    }
    return HttpResponse(content, content_type="application/octet-stream", headers=headers)


def _attach(request: HttpRequest, subject: Component | Instrument, way: dict[str, Any]) -> HttpResponse:
    visit = Visit.of(request, subject.rig)
    form = DocumentForm(request.POST or None, request.FILES or None)
    return visit.fill_in(
        form,
        lambda: _kept(form, subject, visit),
        done="The document is attached, kept as received.",
        leads_to=lambda _: way["back"],
        words={"title": f"Document of {subject}", "verb": "Attach", **way},
    )


def _kept(form: DocumentForm, subject: Component | Instrument, visit: Visit) -> Document:
    facts = form.facts
    file = facts.pop("file")
    return documents.attach_document(
        subject, **facts, content=file.read(), file_name=file.name, by=visit.user, at=visit.at
    )


def _part_address(component: Component, part: str) -> str:
    return f"{reverse('equipment:component', args=[component.pk])}#{part}"


def _subject_address(document: Document) -> str:
    if document.component_id:
        return reverse("equipment:component", args=[document.component_id])
    return reverse("equipment:instrument", args=[document.instrument_id])
