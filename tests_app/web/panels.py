"""What the tests add to the pages of equipment: a component's tests and next due date, and states in the drawing."""

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.safestring import SafeString

from accounts.presentation import STATES
from equipment.models import Component, Stack
from equipment.web import panels
from equipment.web.panels import StateMark
from tests_app.queries.component_tests import lines_of_component
from tests_app.queries.due_items import DueItem, What
from tests_app.queries.due_list import due_list
from tests_app.web import bank_panel, brought_panel, defect_panel, function_panel
from tests_app.web.due_table import DueRow
from tests_app.web.due_words import STATE_CHOICES, STATE_KEYS, WHAT_WORDS, state_words

_SHOWN: Final = 10


def component_tests(request: HttpRequest, component: Component) -> SafeString | None:
    """Return the component's next due date and its latest tests; nothing for what is neither due nor tested."""
    at = timezone.now()
    rig = component.rig
    own = (one for one in due_list(rig, at=at) if one.component and one.component.pk == component.pk)
    item = next((one for one in own if one.what is What.PRESSURE), None)
    lines = list(lines_of_component(component)[:_SHOWN])
    if item is None and not lines:
        return None
    row = DueRow(item, at, rig.pk) if item else None
    key = STATE_KEYS[item.state] if item else ""
    context = {"row": row, "state_key": key, "lines": lines, "rig": rig, "zone": rig.time_zone}
    return SafeString(render_to_string("tests_app/parts/component_tests.html", context, request=request))


def position_states(stack: Stack, at: datetime) -> Mapping[int, StateMark]:
    """Return how each position of a stack stands at a moment: the most pressing of what is due there."""
    marks: dict[int, StateMark] = {}
    for item in due_list(stack.rig, at=at):
        if item.position is not None and item.position.stack_id == stack.pk:
            marks.setdefault(item.position.pk, _mark(item, at))
    return marks


def _mark(item: DueItem, at: datetime) -> StateMark:
    key = STATE_KEYS[item.state]
    row = DueRow(item, at)
    detail = f"{'since' if row.is_since else 'before'} {row.due_text}" if row.due_text else ""
    words = state_words(item, at)
    return StateMark(
        word=words if item.what is What.PRESSURE else f"{WHAT_WORDS[item.what]}: {words[:1].lower()}{words[1:]}",
        shape=key,
        tone=STATES[key].tone,
        detail=detail,
        short=dict(STATE_CHOICES)[item.state],
    )


def register() -> None:
    """Hang them on the pages of equipment."""
    panels.component.register(component_tests)
    panels.component.register(brought_panel.brought_in)
    panels.component.register(bank_panel.component_bank)
    panels.component.register(function_panel.component_functions)
    panels.component.register(defect_panel.component_defects)
    panels.control.register(function_panel.control_functions)
    panels.control.register(defect_panel.control_defects)
    panels.bank.register(bank_panel.bank_tests)
    panels.position_state.register(position_states)
