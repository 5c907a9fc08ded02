"""Template tag of alerts in the head of every page. Load with ``{% load alerts %}``."""

from typing import Any

from django import template

from tests_app.queries.alerts import unseen_count

register = template.Library()


@register.simple_tag(takes_context=True)
def unseen_alerts(context: template.Context) -> int:
    """Return how many alerts the signed-in person has not seen. One query a page."""
    user: Any = context.get("user")
    return unseen_count(user) if user is not None else 0
