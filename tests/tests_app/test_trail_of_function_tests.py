"""Every action on a function test, and on a rig's own figures, writes exactly one entry: who did it, when, where."""

import inspect
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from calcs.rules import Subject, choose
from tests.builders_functions import a_function_draft, facts_of, line_of, subjects, with_controls, worked
from tests.builders_tests_app import SIGNED, STARTED, World, a_world
from tests_app import rulebook
from tests_app.actions import function_lines, function_tests, own_programmes
from tests_app.actions.function_tests import FunctionHeading, WorkedFrom
from tests_app.models import Record
from tests_app.queries.function_statements import statements_of
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db

Prepared = tuple[tuple[Any, ...], dict[str, Any]]
RAM = "Upper pipe ram"
AT = SIGNED + timedelta(days=1)
HEADING = FunctionHeading(started_at=STARTED, reason="interval", pipe_in_hole="5 in")
HOLD = {"rule": choose(rulebook.published("us-ocs"), Subject("annular")).rule.id, "figure": "hold"}


def draft(world: World, *names: str) -> Record:
    return a_function_draft(world, *names)


def opening(world: World) -> Prepared:
    facts = {"subjects": subjects(world, RAM), "worked_from": WorkedFrom(None, None), "instruments": []}
    return (), {"stack": world.stack, "section": None, "heading": HEADING, **facts}


def amending(world: World) -> Prepared:
    record = draft(world, RAM)
    heading = FunctionHeading(started_at=STARTED, reason="interval", pipe_in_hole="5 in", operator="Ada Frost")
    return (record,), {"section": None, "heading": heading, "instruments": [], "version": record.version}


def writing(world: World) -> Prepared:
    record = draft(world, RAM)
    line = line_of(record, RAM)
    return (record,), {"lines": {line.pk: facts_of(line)}, "version": record.version}


def working_again(world: World) -> Prepared:
    record = draft(world, RAM)
    worked(record, world, {RAM: {"closing_time": "45 s"}})
    return (line_of(record, RAM),), {}


def confirming(world: World) -> Prepared:
    items = with_controls(world)
    record = a_function_draft(world, "Deadman", reason="landed", station=items["Drill floor station"])
    keys = [one.key for one in statements_of(record, record.function_lines.all())]
    assert keys
    return (record,), {"confirmed": keys, "said_by": "Uma Field"}


def taking_back(world: World) -> Prepared:
    own_programmes.change_figure(world.rig, **changed_hold(world)[1], by=world.supervisor, at=SIGNED)
    return (world.rig,), {**HOLD, "reason": "Not any more"}


def changed_hold(world: World) -> Prepared:
    return (world.rig,), {**HOLD, "own": "10 min", "reason": "Operator's standard"}


CASES: dict[str, Callable[[World], Prepared]] = {
    "open_function_test": opening,
    "amend_function_heading": amending,
    "write_function_lines": writing,
    "work_again": working_again,
    "confirm_statements": confirming,
    "add_function_line": lambda world: ((draft(world, RAM),), {"subject": subjects(world, "Annular")[0]}),
    "remove_function_line": lambda world: ((line_of(draft(world, RAM, "Annular"), RAM),), {}),
    "change_figure": changed_hold,
    "take_back": taking_back,
}
SUBSEA = {"confirm_statements"}
ACTIONS = {
    name: function
    for module in (function_tests, function_lines, own_programmes)
    for name, function in inspect.getmembers(module, inspect.isfunction)
    if hasattr(function, "__wrapped__") and function.__module__ == module.__name__ and not name.startswith("_")
}


def test_every_action_is_tried():
    assert set(CASES) == set(ACTIONS)


@pytest.mark.parametrize("name", sorted(CASES))
def test_an_action_writes_one_entry(name: str):
    world = a_world("subsea" if name in SUBSEA else "surface")
    arguments, facts = CASES[name](world)
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    ACTIONS[name](*arguments, **facts, by=world.supervisor, at=AT)
    (entry,) = TrailEntry.objects.exclude(pk__in=before)
    assert (entry.actor, entry.at, entry.rig_number) == (world.supervisor, AT, world.rig.pk)
    assert "." in entry.event
    assert entry.subject_label
