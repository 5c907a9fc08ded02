"""Template tags of the test pages. Load with ``{% load testing %}``."""

import uuid
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from equipment.web.columns import day_text
from tests_app.documents.calibration import calibration_stands
from tests_app.documents.unproven import otherwise_proved, unproven_rows
from tests_app.models import InstrumentUse, Record
from tests_app.queries.completeness import day_of, is_in_date
from tests_app.queries.corrections import is_corrected
from tests_app.web import times, wording
from tests_app.web.defect_links import place_of
from tests_app.web.once import FIELD
from tests_app.web.record_list import state_of

register = template.Library()
register.filter("said", wording.said)
register.filter("said_held", wording.said_held)
register.filter("said_least", wording.said_least)
register.filter("said_most", wording.said_most)
register.filter("moment_said", wording.moment_said)
register.filter("lasts", times.lasts)
register.filter("into", times.span_text)


register.filter("is_superseded", is_corrected)


@register.filter
def record_state(record: Record) -> SafeString:
    """Mark how a record of a list stands: draft, signed by some, sealed."""
    return state(*state_of(record))


register.simple_tag(unproven_rows)
register.simple_tag(otherwise_proved)
_CALIBRATION_STATES: Final = {"in-date": "in-date", "out-of-date": "overdue", "unknown": "unknown"}


@register.simple_tag
def calibration(instrument: Mapping[str, Any]) -> SafeString:
    """Mark how an instrument's calibration stood on the day of the test, in shape and words."""
    stands = calibration_stands(instrument)
    return state(_CALIBRATION_STATES[stands.state], stands.words)


@register.simple_tag
def calibration_of(use: InstrumentUse, record: Record) -> SafeString:
    """Mark how the calibration of an instrument named in a draft stands on the day its test began."""
    kept = use.as_used
    marked = calibration({**kept, "in_date": is_in_date(kept, day_of(record))})
    if kept["calibration_due_on"]:
        return format_html('{} <span class="soft">(until {})</span>', marked, day_said(kept["calibration_due_on"]))
    return marked


@register.filter
def outcome_state(outcome: str) -> str:
    """Give the key of the state mark of an outcome."""
    return wording.OUTCOME_STATES.get(outcome, "not-judged")


@register.simple_tag
def pressure_said(quantity: Any, units: str) -> SafeString | str:
    """Show a kept pressure, and in the reader's unit behind it where that differs."""
    return wording.said_in(quantity, "si" if units == "si" else "us")


@register.filter
def limit(measured: Any) -> SafeString | str:
    """Show a quantity of a row (`Measured`) as it was entered."""
    return wording.said({"value": measured.text, "unit": measured.unit}) if measured else ""


@register.simple_tag(takes_context=True)
def defect_of(context: template.Context, order: int, element: str = "", side: str = "") -> SafeString | str:
    """Lead from a failed line of a signed test to its defect, or to where one is opened."""
    link = (context.get("failed_lines") or {}).get(place_of(order, element, side))
    return format_html('<br><a class="small" href="{}">{}</a>', link.address, link.words) if link else ""


@register.simple_tag
def once() -> SafeString:
    """Write the hidden word that makes a form act once, however often it is sent."""
    return format_html('<input type="hidden" name="{}" value="{}">', FIELD, uuid.uuid4().hex)


register.simple_tag(wording.window_said)


@register.filter
def day_said(iso: str) -> str:
    """Show a day kept as ISO text, its month in letters."""
    return day_text(date.fromisoformat(iso)) if iso else ""


@register.filter
def clock_in(iso: str, zone: str) -> SafeString | str:
    """Show a moment kept as ISO text on the clock of a zone."""
    local = datetime.fromisoformat(iso).astimezone(ZoneInfo(zone))
    return wording.moment_said({"local": local.isoformat()})


_CONFIDENCE = {
    "given": "the rig's own value",
    "read": "read in the source",
    "read-2": "read in a second source",
    "derived": "derived",
    "memory": "from memory: check it",
    "memory-low": "from memory, unsure: check it",
}


@register.filter
def confidence_words(confidence: str) -> str:
    """Say how surely a figure of a rule is known."""
    return _CONFIDENCE.get(confidence, confidence)
