"""Documents of components and instruments."""

import re
from dataclasses import dataclass
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
    follows: Document | None = None,
    by: Actor,
    at: datetime,
) -> Document:
    """Keep a file as received, under its SHA-256, as a document of a component or an instrument.

    With `follows` it renews that one, which falls due no more. Raises Refused for an empty or too large file, days
    out of order, and one to follow that is of something else or followed already.
    """
    kept = keep_file(content, file_name)
    if follows is not None and not _is_of(follows, subject):
        raise Refused("follows", f"“{follows}” is a document of something else.", "Renew one of this thing.")
    document = Document(
        component=subject if isinstance(subject, Component) else None,
        instrument=subject if isinstance(subject, Instrument) else None,
        kind=kind,
        issued_on=issued_on,
        expires_on=expires_on,
        file_name=kept.name,
        sha256=kept.sha256,
        size=kept.size,
        follows=follows,
        added_at=saving.aware(at),
        added_by=name_of(by),
    )
    saving.assign_values(document, {"title": title, "number": number})
    saving.add_row(document, Event.DOCUMENT_ATTACHED, by=by, at=at)
    return document


@transaction.atomic
def withdraw_document(document: Document, *, reason: str, by: Actor, at: datetime) -> Document:
    """Withdraw a document attached in error; its file stays, and what it renewed counts again.

    Raises Refused when it is withdrawn, another renews it, or no reason is given.
    """
    later = document.followed_by.filter(withdrawn_at__isnull=True).first()
    if later is not None:
        raise Refused("", f"“{later}” renews this document.", "Withdraw that one first.")
    return saving.withdraw_row(document, Event.DOCUMENT_WITHDRAWN, reason=reason, by=by, at=at)


@dataclass(frozen=True)
class Kept:
    """A file in the store: its name as received, its SHA-256 and its size in bytes."""

    name: str
    sha256: str
    size: int


def keep_file(content: bytes, file_name: str) -> Kept:
    """Store a file as received, once. Raises Refused for an empty or too large one."""
    _check_size(content)
    return Kept(plain_name(file_name), files.keep(content), len(content))


def _is_of(document: Document, subject: Component | Instrument) -> bool:
    key = document.component_id if isinstance(subject, Component) else document.instrument_id
    return key == subject.pk


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
