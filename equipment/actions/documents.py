"""Documents of components and instruments."""

import re
from datetime import date, datetime
from typing import Final

from django.db import transaction

from calcs.sizes import MEGABYTE, megabytes
from equipment import files
from equipment.actions import saving
from equipment.actions.events import Event
from equipment.errors import Refused
from equipment.models import Component, Document, Instrument
from trail.actors import Actor, name_of

LARGEST_DOCUMENT: Final = 25 * MEGABYTE
"""In bytes; a scanned manual stays well below."""


@transaction.atomic
def attach_document(
    subject: Component | Instrument,
    *,
    kind: str,
    title: str,
    content: bytes,
    file_name: str,
    number: str = "",
    issued_on: date | None = None,
    expires_on: date | None = None,
    by: Actor,
    at: datetime,
) -> Document:
    """Keep a file as received, under its SHA-256, as a document of a component or an instrument.

    Raises Refused for an empty or too large file and for days out of order.
    """
    _check_size(content)
    document = Document(
        component=subject if isinstance(subject, Component) else None,
        instrument=subject if isinstance(subject, Instrument) else None,
        kind=kind,
        issued_on=issued_on,
        expires_on=expires_on,
        file_name=plain_name(file_name),
        sha256=files.keep(content),
        size=len(content),
        added_at=saving.aware(at),
        added_by=name_of(by),
    )
    saving.assign_values(document, {"title": title, "number": number})
    saving.add_row(document, Event.DOCUMENT_ATTACHED, by=by, at=at)
    return document


def plain_name(file_name: str) -> str:
    """Return the last part of a file's name without control characters, as it may stand in a download's header."""
    last = re.split(r"[\\/]", file_name)[-1]
    return re.sub(r"[\x00-\x1f\x7f\"]", "", last).strip()[-200:] or "document"


def _check_size(content: bytes) -> None:
    if not content:
        raise Refused("file", "The file is empty.", "Choose the file again.")
    if len(content) > LARGEST_DOCUMENT:
        raise Refused(
            "file",
            f"The file is larger than {megabytes(LARGEST_DOCUMENT)}.",
            "Attach a smaller scan, or the pages that count.",
        )
