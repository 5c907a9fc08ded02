"""Every action writes exactly one entry in the trail, of who did it, when, and on which rig."""

import importlib
import inspect
import pkgutil
from collections.abc import Callable, Iterator
from datetime import timedelta
from types import FunctionType
from typing import Any

import pytest

import tests_app.actions
from equipment.models import Component
from tests.builders import PASSWORD
from tests.builders_tests_app import (
    CONCLUDED,
    HIGH,
    LOW,
    SIGNED,
    World,
    a_draft,
    a_heading,
    a_judged_draft,
    a_recording,
    a_sealed_record,
    a_step,
    good,
    leaking,
    typed,
)
from tests_app.actions.steps import LineSpec
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db

Prepared = tuple[tuple[Any, ...], dict[str, Any]]


ON_BANKS = frozenset(
    {"bank_records", "drawdowns", "drawdown_functions", "drawdown_recordings", "recharges", "pump_tests"}
)
"""Modules whose actions are tried on a bank, in `test_trail_of_bank_actions`."""
OF_ALERTS = frozenset({"alert_choices", "answering", "digests", "feeds", "sending", "sweeping", "telling"})
"""Modules whose actions are tried in `test_trail_of_alerts`."""
OF_WORK = frozenset({"work", "renewals", "deferrals", "postponements"})
"""Modules whose actions are tried in `test_trail_of_work`."""
OF_DEFECTS = frozenset({"defects", "defect_steps"})
"""Modules whose actions are tried in `test_trail_of_defects`."""
OF_FUNCTION_TESTS = frozenset({"function_tests", "function_lines", "own_programmes"})
"""Modules whose actions are tried in `test_trail_of_function_tests`."""
OF_LINE_UPS = frozenset({"line_up_plans", "line_up_steps", "line_up_tests", "line_up_answers", "leak_plans"})
"""Modules whose actions are tried in `test_trail_of_line_ups`."""
OF_BRINGING_IN = frozenset({"bringing_in", "brought_tests"})
"""Modules whose actions are tried in `test_trail_of_bringing_in`."""
OF_ORDERED_PAPERS = frozenset({"ordered_papers"})
"""Modules whose actions are tried in `test_trail_of_ordered_papers`."""
OF_NO_RIG = frozenset({"editions"})
"""What is entered of no rig; `test_editions_on_file` looks at its entries."""
ELSEWHERE = (
    OF_ALERTS | OF_WORK | OF_DEFECTS | OF_FUNCTION_TESTS | OF_LINE_UPS | OF_BRINGING_IN | OF_ORDERED_PAPERS | OF_NO_RIG
)


def actions(*, on_banks: bool = False) -> Iterator[tuple[str, FunctionType]]:
    """Yield every action of the application: the public functions of its modules that name who acts."""
    for module in pkgutil.iter_modules(tests_app.actions.__path__):
        if (module.name in ON_BANKS) is not on_banks or module.name in ELSEWHERE:
            continue
        loaded = importlib.import_module(f"tests_app.actions.{module.name}")
        for name, function in inspect.getmembers(loaded, inspect.isfunction):
            own = function.__module__ == loaded.__name__ or hasattr(function, "__wrapped__")
            if own and not name.startswith("_") and "by" in inspect.signature(function).parameters:
                yield name, function


def opening(world: World) -> Prepared:
    facts = {"rig": world.rig, "stack": world.stack, "section": world.section, "instruments": [world.recorder]}
    return (), {**facts, "heading": a_heading()}


def amending(world: World) -> Prepared:
    record = a_draft(world)
    facts = {"section": world.section, "heading": a_heading(fluid="mud"), "instruments": [world.recorder]}
    return (record,), {**facts, "version": record.version}


def marking(world: World) -> Prepared:
    record = a_judged_draft(world)
    return (record.steps.get(),), {
        "recording": record.recordings.get(),
        "start_s": 0.0,
        "end_s": 800.0,
        "reason": "Bled off",
    }


def confirming(world: World) -> Prepared:
    record = a_draft(world)
    a_step(record, world, "Upper pipe ram")
    return (a_recording(record, world, good()),), {}


def choosing_channel(world: World) -> Prepared:
    record = a_draft(world)
    rows = "\n".join(f"{t:.0f},{p:.1f},{p:.1f}" for t, p in zip(good().t, good().p, strict=True))
    content = f"Time (s),Kill (psi),Choke (psi)\n{rows}\n"
    recording = a_recording(record, world, content, step=a_step(record, world, "Upper pipe ram"))
    return (recording,), {"channel": "Choke (psi)"}


def searching(world: World) -> Prepared:
    record = a_draft(world)
    recording = a_recording(record, world, good())
    a_step(record, world, "Upper pipe ram")
    return (recording,), {}


def signing(world: World) -> Prepared:
    record = a_judged_draft(world)
    return (record,), {"role": "supervisor", "password": PASSWORD, "version": record.version}


def attaching(world: World) -> Prepared:
    record = a_draft(world)
    a_step(record, world, "Annular")
    a_step(record, world, "Upper pipe ram")
    file = {"file_name": "a.csv", "content": good().csv().encode(), "content_type": "text/csv"}
    return (record,), {"step": None, **file}


def charting(world: World) -> Prepared:
    return (a_draft(world),), {"step": None, "file_name": "a.png", "content": b"\x89PNG\r\n\x1a\n", "content_type": ""}


def taking_back(world: World) -> Prepared:
    return (typed(a_step(a_draft(world), world, "Annular"), world),), {"reason": "Recorder file found"}


def following(world: World) -> Prepared:
    step_of(world)
    Component.objects.filter(installations__position=world.at("Upper pipe ram")).update(serial="OTHER-1")
    return (world.at("Upper pipe ram").installations.get().component,), {}


def step_of(world: World) -> Any:
    return a_step(a_draft(world), world, "Upper pipe ram")


CASES: dict[str, Callable[[World], Prepared]] = {
    "open_pressure_test": opening,
    "amend_heading": amending,
    "rework_drafts": following,
    "conclude": lambda world: ((a_draft(world),), {"concluded_at": CONCLUDED}),
    "discard_record": lambda world: ((a_draft(world),), {"reason": "Wrong well"}),
    "add_step": lambda world: (
        (a_draft(world),),
        {"name": "Ram", "pump_point": "Kill line", "lines": [LineSpec(world.at("Upper pipe ram"))]},
    ),
    "retest_step": lambda world: ((a_judged_draft(world, curve=leaking()).steps.get(),), {}),
    "amend_step": lambda world: ((step_of(world),), {"name": "Renamed", "pump_point": "Choke line"}),
    "remove_step": lambda world: ((step_of(world),), {}),
    "note_line": lambda world: ((step_of(world).lines.get(),), {"leak_seen": True, "leak_description": "Drip"}),
    "attach_recording": attaching,
    "attach_chart": charting,
    "choose_marks": marking,
    "confirm_marks": confirming,
    "choose_channel": choosing_channel,
    "search_again": searching,
    "withdraw_recording": lambda world: ((a_judged_draft(world).recordings.get(),), {"reason": "Wrong file"}),
    "type_readings": lambda world: ((step_of(world),), {"low": LOW, "high": HIGH, "reason": "Recorder failed"}),
    "take_back_readings": taking_back,
    "sign_record": signing,
    "supersede_record": lambda world: ((a_sealed_record(world),), {"reason": "Wrong pipe size"}),
    "choose_edition": lambda world: ((world.rig,), {"edition": "api53-4", "reason": "New permit"}),
    "issue_certificate": lambda world: ((a_sealed_record(world),), {}),
}
ACTIONS = dict(actions())


@pytest.mark.parametrize("name", sorted(ACTIONS))
def test_an_action_writes_one_entry(name: str, world: World):
    arguments, facts = CASES[name](world)
    at = SIGNED + timedelta(days=1)
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    ACTIONS[name](*arguments, **facts, by=world.supervisor, at=at)
    (entry,) = TrailEntry.objects.exclude(pk__in=before)
    assert (entry.actor, entry.at, entry.rig_number) == (world.supervisor, at, world.rig.pk)
    assert "." in entry.event
    assert entry.subject_label


def test_a_refused_action_leaves_no_entry(world: World):
    record = a_draft(world)
    count = TrailEntry.objects.count()
    with pytest.raises(Exception, match="without a reason"):
        ACTIONS["discard_record"](record, reason="", by=world.supervisor, at=SIGNED)
    assert TrailEntry.objects.count() == count


def test_no_case_is_left_over():
    assert set(CASES) == set(ACTIONS)


def test_what_was_read_of_a_file_is_in_the_trail_but_not_its_curve(world: World):
    a_recording(a_draft(world), world, good(), step=None)
    entry = TrailEntry.objects.filter(event="recording.attached").get()
    assert entry.after["facts"]["samples"] > 0
    assert "curve" not in entry.after
