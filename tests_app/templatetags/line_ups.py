"""Template tags of the pages of line-ups. Load with ``{% load line_ups %}``."""

from typing import Any

from django import template
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from tests_app.queries.due_items import DueItem
from tests_app.web.due_words import STATE_CHOICES, STATE_KEYS

register = template.Library()
_WORDS = dict(STATE_CHOICES)


@register.filter
def due_state(item: DueItem) -> SafeString:
    """Mark how something due stands, in a word or two."""
    return state(STATE_KEYS[item.state], _WORDS[item.state])


@register.filter
def kept(measured: Any) -> dict[str, Any]:
    """Give a quantity of a row as contents keep it: its value and its unit."""
    return {"value": measured.text, "unit": measured.unit}
