"""What the tests add to the pages of a bank and of its component: what is due, the last tests, the worksheet."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.safestring import SafeString

from equipment.models import Bank, BottleState, Component, ComponentKind
from equipment.queries import access, banks
from equipment.queries.access import Right
from tests_app.models import Outcome, Record
from tests_app.queries.drawdowns import last_drawdown, last_pump_test
from tests_app.queries.due_list import due_list
from tests_app.web.due_table import DueRow
from tests_app.web.due_words import STATE_KEYS
from tests_app.web.wording import OUTCOME_STATES
from tests_app.web.worksheet_link import worksheet_address


@dataclass(frozen=True)
class DueLine:
    """One thing due on the bank, and the key of its state."""

    row: DueRow
    state_key: str


_NOTHING: Final[Mapping[str, Any]] = {}


def bank_tests(request: HttpRequest, bank: Bank) -> SafeString:
    """Return what is due on a bank, its last drawdown and pump test, and the way to the worksheet."""
    at, rig = timezone.now(), bank.component.rig
    due = [item for item in due_list(rig, at=at) if item.bank is not None and item.bank.pk == bank.pk]
    drawdown, pump = last_drawdown(bank), last_pump_test(bank)
    context = {
        "due": [DueLine(DueRow(item, at, rig.pk), STATE_KEYS[item.state]) for item in due],
        "drawdown": drawdown,
        "drawdown_state": _state(drawdown),
        "drawdown_verdict": drawdown.drawdown_test.verdict if drawdown else _NOTHING,
        "pump": pump,
        "pump_state": _state(pump),
        "zone": rig.time_zone,
        "rig": rig,
        "bank": bank,
        "may_record": access.may(request.user, rig, Right.RECORD),
        **_worksheet(bank),
    }
    return SafeString(render_to_string("tests_app/parts/bank_tests.html", context, request=request))


def component_bank(request: HttpRequest, component: Component) -> SafeString | None:
    """Return the same for the page of the bank's component; nothing without a bank on file."""
    bank = banks.bank_of(component) if component.kind == ComponentKind.ACCUMULATOR_BANK else None
    return None if bank is None else bank_tests(request, bank)


def _state(record: Record | None) -> str:
    if record is None:
        return ""
    return OUTCOME_STATES[Outcome.PASSED if record.passed else Outcome.FAILED]


def _worksheet(bank: Bank) -> dict[str, Any]:
    standing = banks.bottles_standing(bank)
    serving = [bottle for bottle in standing if bottle.state == BottleState.IN_SERVICE]
    return {"address": worksheet_address(bank, serving) if serving else "", "bottles": len(serving)}
