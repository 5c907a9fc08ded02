"""What the pages of components and control items tell of their function tests."""

from collections.abc import Callable

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.safestring import SafeString

from equipment.models import Component, ControlItem, Rig
from equipment.queries import access
from equipment.queries.access import Right
from tests_app.models import FunctionLine, What
from tests_app.queries.component_tests import function_lines_of
from tests_app.queries.due_items import DueItem
from tests_app.queries.due_list import due_list
from tests_app.web.due_table import DueRow
from tests_app.web.due_words import STATE_KEYS

_SHOWN = 10


def component_functions(request: HttpRequest, component: Component) -> SafeString | None:
    """Return when a component is to be function tested next, and its latest function tests; nothing for neither."""
    item = _due(component.rig, lambda one: one.component is not None and one.component.pk == component.pk)
    return _panel(request, component.rig, item, list(function_lines_of(component=component)[:_SHOWN]))


def control_functions(request: HttpRequest, shown: ControlItem) -> SafeString | None:
    """Return the same of a control item."""
    rig = shown.stack.rig
    item = _due(rig, lambda one: one.control_item is not None and one.control_item.pk == shown.pk)
    return _panel(request, rig, item, list(function_lines_of(control_item=shown)[:_SHOWN]))


def _due(rig: Rig, is_it: Callable[[DueItem], bool]) -> DueItem | None:
    found = due_list(rig, at=timezone.now())
    return next((one for one in found if one.what == What.FUNCTION and is_it(one)), None)


def _panel(request: HttpRequest, rig: Rig, item: DueItem | None, lines: list[FunctionLine]) -> SafeString | None:
    if item is None and not lines:
        return None
    may_record = access.may(request.user, rig, Right.RECORD)
    context = {
        "row": DueRow(item, timezone.now(), rig.pk) if item else None,
        "state_key": STATE_KEYS[item.state] if item else "",
        "lines": lines,
        "rig": rig,
        "zone": rig.time_zone,
        "key": item.key if item and may_record else "",
    }
    return SafeString(render_to_string("tests_app/parts/function_panel.html", context, request=request))
