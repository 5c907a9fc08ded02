"""The tests a component was in, for its own page."""

from typing import Final

from django.db.models import QuerySet

from equipment.models import Component, ControlItem
from tests_app.models import FunctionLine, Line

_BULKY: Final = (
    "step__verdict",
    "step__limits",
    "step__record__content",
    "step__record__superseded_by__content",
)


def lines_of_component(component: Component) -> QuerySet[Line]:
    """Return the component's lines in tests not given up, the latest first, each with its record."""
    lines = Line.objects.filter(component=component, step__record__discarded_at__isnull=True).defer(*_BULKY)
    return lines.select_related("position", "step__record__superseded_by").order_by(
        "-step__record__started_at", "-step__order"
    )


def function_lines_of(**subject: Component | ControlItem) -> QuerySet[FunctionLine]:
    """Return the lines of function tests about a component or a control item, the latest first, each with its record.

    Drafts and signed tests; those given up are left out.
    """
    lines = FunctionLine.objects.filter(**subject, record__discarded_at__isnull=True)
    kept = lines.defer("record__content", "record__superseded_by__content")
    return kept.select_related("record__superseded_by").order_by("-record__started_at", "-order")
