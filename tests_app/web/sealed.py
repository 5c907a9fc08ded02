"""The page of a signed record: what was sealed, its certificate, and what it moved."""

import json
from datetime import datetime, timedelta
from http import HTTPStatus
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from equipment.queries.access import Right
from tests_app.models import Record, RecordKind
from tests_app.queries import records
from tests_app.queries.capacities import capacities_of
from tests_app.queries.corrections import counts_instead_of
from tests_app.queries.signatories import signatories_of
from tests_app.web.bank_page import bank_facts, picture_of
from tests_app.web.content_shown import content_shown
from tests_app.web.defect_links import links_of
from tests_app.web.draft_pages import draft_page
from tests_app.web.entry import Visit, signed_in
from tests_app.web.moved import moved_by
from tests_app.web.record_page import edition_title
from tests_app.web.story import story_of

PATIENCE: Final = timedelta(seconds=60)
"""After this the page says that the worker has not answered, and what to do."""
_STOP_ASKING: Final = timedelta(minutes=10)


@require_GET
@signed_in
def show(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a record: a draft to work on, or what was signed."""
    record = records.record_for(request.user, pk)
    visit = Visit.of(request, record.rig)
    if record.sealed_at is not None:
        return visit.show(request, "tests_app/sealed.html", _sealed_context(visit, record))
    if record.frozen_at is not None:
        return visit.show(request, "tests_app/waiting.html", _waiting_context(visit, record))
    if record.discarded_at is not None:
        return visit.show(request, "tests_app/discarded.html", _discarded_context(record))
    return draft_page(request, visit, record)


def _discarded_context(record: Record) -> dict[str, Any]:
    if record.kind == RecordKind.PRESSURE:
        return {"record": record, "test": record.pressure_test}
    if record.kind == RecordKind.FUNCTION:
        uses = list(record.instrument_uses.all())
        return {"record": record, "test": record.function_test, "uses": uses, "edition_title": edition_title(record)}
    return {"record": record, "test": records.heading_of(record), **bank_facts(record)}


def _sealed_context(visit: Visit, record: Record) -> dict[str, Any]:
    return {
        "record": record,
        "content": json.loads(record.content),
        "failed_lines": links_of(visit, record),
        "later": counts_instead_of(record),
        "moved": moved_by(record),
        "live_picture": picture_of(visit, record),
        "story": story_of(record),
        "recordings": list(records.recordings_of(record)),
        **certificate_state(record, visit.at),
    }


def _waiting_context(visit: Visit, record: Record) -> dict[str, Any]:
    """Return how the signing of a frozen record stands, and what will be sealed."""
    signatories = signatories_of(record)
    own = signatories.capacities_for(capacities_of(visit.user, visit.rig))
    mine = signatories.signature_of(visit.user)
    return {
        "record": record,
        "content": content_shown(record, visit.at),
        "failed_lines": links_of(visit, record),
        "signatories": signatories,
        "mine": mine,
        "live_picture": picture_of(visit, record),
        "may_add": visit.may(Right.SIGN) and mine is None and bool(own),
        "story": story_of(record),
        "recordings": list(records.recordings_of(record)),
    }


def certificate_state(record: Record, at: datetime) -> dict[str, Any]:
    """Return how the certificate of a signed record stands."""
    certificate = getattr(record, "certificate", None)
    waited = at - record.sealed_at if record.sealed_at else timedelta(0)
    return {
        "certificate": certificate,
        "is_late": certificate is None and waited > PATIENCE,
        "asks_again": certificate is None and waited < _STOP_ASKING,
    }


@require_GET
@signed_in
def certificate_part(request: HttpRequest, pk: int) -> HttpResponse:
    """Return the part of the page that waits for the certificate."""
    record = records.record_for(request.user, pk)
    visit = Visit.of(request, record.rig)
    context = {**visit.context(), "record": record, **certificate_state(record, visit.at)}
    return render(request, "tests_app/parts/certificate_state.html", context, status=HTTPStatus.OK)
