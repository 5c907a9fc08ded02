"""The tests a component was in, for its own page."""

from django.db.models import QuerySet

from equipment.models import Component
from tests_app.models import Line


def lines_of_component(component: Component) -> QuerySet[Line]:
    """Return the component's lines in tests not given up, the latest first, each with its record."""
    lines = Line.objects.filter(component=component, step__record__discarded_at__isnull=True)
    return lines.select_related("position", "step__record__superseded_by").order_by(
        "-step__record__started_at", "-step__order"
    )
