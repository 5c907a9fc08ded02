"""What the pages of components and control items tell of their defects."""

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from equipment.models import Component, ControlItem, Rig
from equipment.queries import access
from equipment.queries.access import Right
from tests_app.queries.defects import Standing, standings_on
from tests_app.web.defect_words import stands


def component_defects(request: HttpRequest, component: Component) -> SafeString | None:
    """Return the defects of a component and the way to open one; nothing where there is neither."""
    of = f"component-{component.pk}"
    return _panel(request, component.rig, standings_on(component=component), of, component.retired_at is None)


def control_defects(request: HttpRequest, shown: ControlItem) -> SafeString | None:
    """Return the same of a control item."""
    of = f"control-{shown.pk}"
    return _panel(request, shown.stack.rig, standings_on(control_item=shown), of, shown.retired_at is None)


def _panel(request: HttpRequest, rig: Rig, found: list[Standing], of: str, in_use: bool) -> SafeString | None:
    may_open = in_use and access.may(request.user, rig, Right.OPEN_DEFECT)
    if not found and not may_open:
        return None
    context = {
        "rows": [(one.defect, *stands(one)) for one in found],
        "of": of,
        "may_open": may_open,
        "rig": rig,
        "zone": rig.time_zone,
    }
    return SafeString(render_to_string("tests_app/parts/defect_panel.html", context, request=request))
