"""Where the pages of the past lead: the working of one date, and the row an event stands on."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Final
from urllib.parse import urlencode

from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from tests_app.queries.origins import Origin, Place

_PAGES: Final[Mapping[Place, str]] = {
    Place.RECORD: "tests_app:record",
    Place.WORK: "tests_app:work-entry",
    Place.COMPONENT: "equipment:component",
    Place.SECTION: "equipment:well",
    Place.DEFERRAL: "tests_app:deferral",
    Place.BANK: "equipment:bank-readings",
    Place.CONTROL_ITEM: "equipment:control",
}
THEN: Final = "then"
"""As known then; without it, as known now."""


def why_address(rig_pk: int, key: str, *, at: datetime | None = None, known: str = "") -> str:
    """Return where the date of an obligation is worked out, as of a moment."""
    address = reverse("tests_app:why", args=[rig_pk, key])
    asked = {"at": moment_asked(at)} if at is not None else {}
    asked |= {"known": known} if known else {}
    return f"{address}?{urlencode(asked)}" if asked else address


def moment_asked(at: datetime) -> str:
    """Return a moment as an address carries it: in UTC, to the second, which no clock shows twice."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def origin_link(origin: Origin | None) -> SafeString | str:
    """Return a link to the row an event stands on; its words alone where it has no page."""
    if origin is None:
        return ""
    try:
        address = reverse(_PAGES[origin.place], args=[origin.pk])
    except NoReverseMatch:
        return origin.words
    return format_html('<a href="{}">{}</a>', address, origin.words)
