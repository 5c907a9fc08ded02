"""Every action on a drawdown or pump test writes exactly one entry in the trail, of who did it, when, and where."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest

from tests.builders_drawdowns import (
    SIGNED,
    STARTED,
    BankWorld,
    a_drawdown_draft,
    a_drawdown_heading,
    a_pump,
    a_pump_draft,
    a_recharge,
    filled,
    lawful_readings,
)
from tests.drawdowns_made import drawdown
from tests.tests_app.test_drawdown_recordings import DROPS, attached, csv_of
from tests.tests_app.test_trail_of_actions import actions
from tests_app.actions.drawdown_functions import FunctionFacts
from tests_app.actions.pump_tests import PumpFacts, PumpHeading
from tests_app.actions.recharges import RechargeFacts
from tests_app.models import Record
from tests_app.web.story import EVENTS, story_of
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db

Prepared = tuple[tuple[Any, ...], dict[str, Any]]
CHARGING = RechargeFacts("all", "1000 psi", "3000 psi", 700.0)
PUMP = PumpFacts("Triplex 9", "secondary", "air", "2600 psi", "2950 psi", "75 psi")
FUNCTION = FunctionFacts("Diverter, close", volume="3 gal", volume_from="measured")


def opening(world: BankWorld) -> Prepared:
    facts = {"section": world.section, "precharge_check": world.check, "instruments": [world.gauge]}
    return (), {"bank": world.bank, **facts, "heading": a_drawdown_heading()}


def amending(world: BankWorld) -> Prepared:
    record = a_drawdown_draft(world)
    facts = {"section": world.section, "precharge_check": world.check, "instruments": [world.gauge]}
    return (record,), {**facts, "heading": a_drawdown_heading(operator="Ada Frost"), "version": record.version}


def reading(world: BankWorld) -> Prepared:
    record = filled(a_drawdown_draft(world), world)
    return (record,), {"readings": lawful_readings(record), "version": record.version}


def searched(world: BankWorld) -> Record:
    record = filled(a_drawdown_draft(world), world)
    attached(record, world)
    record.refresh_from_db()
    return record


def accepting(world: BankWorld) -> Prepared:
    record = searched(world)
    return (record,), {"version": record.version}


def attaching(world: BankWorld) -> Prepared:
    content = csv_of(drawdown(DROPS, wait=60))
    file = {"file_name": "a.csv", "content": content, "content_type": "text/csv"}
    return (filled(a_drawdown_draft(world), world),), file


def amending_pump_heading(world: BankWorld) -> Prepared:
    record = a_pump_draft(world)
    heading = PumpHeading(STARTED, "interval", operator="Ada Frost")
    return (record,), {"heading": heading, "instruments": [world.gauge], "version": record.version}


def function_of(world: BankWorld) -> Any:
    return filled(a_drawdown_draft(world), world).drawdown_functions.get(order=2)


CASES: dict[str, Callable[[BankWorld], Prepared]] = {
    "open_drawdown_test": opening,
    "amend_drawdown_heading": amending,
    "fill_functions": lambda world: ((a_drawdown_draft(world),), {}),
    "add_function": lambda world: ((a_drawdown_draft(world),), {"facts": FUNCTION}),
    "amend_function": lambda world: ((function_of(world),), {"facts": FUNCTION}),
    "remove_function": lambda world: ((function_of(world),), {}),
    "move_function": lambda world: ((function_of(world),), {"to_order": 4}),
    "write_readings": reading,
    "attach_drawdown_recording": attaching,
    "search_steps_again": lambda world: ((searched(world).recordings.get(),), {}),
    "accept_proposed": accepting,
    "add_recharge": lambda world: ((a_drawdown_draft(world),), {"facts": CHARGING}),
    "amend_recharge": lambda world: ((a_recharge(a_pump_draft(world), world),), {"facts": CHARGING}),
    "remove_recharge": lambda world: ((a_recharge(a_pump_draft(world), world),), {}),
    "open_pump_test": lambda world: (
        (),
        {"bank": world.bank, "heading": PumpHeading(STARTED, "interval"), "instruments": [world.gauge]},
    ),
    "amend_pump_heading": amending_pump_heading,
    "add_pump": lambda world: ((a_pump_draft(world),), {"facts": PUMP}),
    "amend_pump": lambda world: ((a_pump(a_pump_draft(world), world),), {"facts": PUMP}),
    "remove_pump": lambda world: ((a_pump(a_pump_draft(world), world),), {}),
}
ACTIONS = dict(actions(on_banks=True))


def entries_by(name: str, world: BankWorld) -> Iterator[TrailEntry]:
    arguments, facts = CASES[name](world)
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    ACTIONS[name](*arguments, **facts, by=world.supervisor, at=SIGNED + timedelta(days=1))
    yield from TrailEntry.objects.exclude(pk__in=before)


@pytest.mark.parametrize("name", sorted(ACTIONS))
def test_an_action_writes_one_entry(name: str, bank_world: BankWorld):
    (entry,) = entries_by(name, bank_world)
    at = SIGNED + timedelta(days=1)
    assert (entry.actor, entry.at, entry.rig_number) == (bank_world.supervisor, at, bank_world.rig.pk)
    assert entry.event in EVENTS
    assert entry.subject_label
    assert entry.before or entry.after


def test_no_case_is_left_over():
    assert set(CASES) == set(ACTIONS)


def test_the_story_of_a_drawdown_tells_of_its_functions_and_chargings(bank_world: BankWorld):
    record = filled(a_drawdown_draft(bank_world), bank_world)
    a_recharge(record, bank_world)
    told = [one.what for one in story_of(Record.objects.get(pk=record.pk))]
    assert told == ["added Recharge 1, all pumps", "entered the usual functions from the stack", "opened the test"]
