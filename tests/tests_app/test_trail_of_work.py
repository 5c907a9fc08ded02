"""Entering work, letting it wait and taking either back: one entry in the trail each, of who did it, when, where."""

import inspect
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from tests.builders import DAY
from tests.builders_tests_app import World
from tests.builders_work import a_deferral, a_postponement, key_of, some_work
from tests_app.actions import deferrals, postponements, work
from tests_app.queries.owed import owed_on
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db

Prepared = tuple[tuple[Any, ...], dict[str, Any]]
AT = DAY + timedelta(hours=2)


def annular(world: World) -> str:
    return key_of(world, "pressure-test", "Annular")


def stack(world: World) -> str:
    return f"inspection/stack-{world.stack.pk}"


CASES: dict[str, Callable[[World], Prepared]] = {
    "record_work": lambda world: (
        (owed_on(world.rig, stack(world)),),
        {"started_at": DAY, "concluded_at": DAY, "passed": True, "done_by": "Rolf Anders"},
    ),
    "withdraw_work": lambda world: ((some_work(world, stack(world)),), {"reason": "The other stack."}),
    "grant_deferral": lambda world: (
        (owed_on(world.rig, annular(world)),),
        {
            "granted_at": DAY,
            "until": AT + timedelta(days=2),
            "approved_by": "Karin Voss",
            "reference": "DSP-1",
            "reason": "Plug ashore.",
        },
    ),
    "withdraw_deferral": lambda world: ((a_deferral(world, annular(world)),), {"reason": "Plug came."}),
    "postpone_test": lambda world: (
        (owed_on(world.rig, annular(world)),),
        {"made_at": DAY, "reason": "losses", "explanation": "Partial losses."},
    ),
    "call_for_test": lambda world: ((a_postponement(world, annular(world)),), {"called_at": DAY}),
    "end_postponement": lambda world: (
        (a_postponement(world, annular(world)),),
        {"ended_at": DAY, "reason": "Losses cured."},
    ),
}
ACTIONS = {
    name: function
    for module in (work, deferrals, postponements)
    for name, function in inspect.getmembers(module, inspect.isfunction)
    if hasattr(function, "__wrapped__") and not name.startswith("_")
}


def test_every_action_is_tried():
    assert set(CASES) == set(ACTIONS)


@pytest.mark.parametrize("name", sorted(CASES))
def test_an_action_writes_one_entry(name: str, world: World):
    arguments, facts = CASES[name](world)
    before = set(TrailEntry.objects.values_list("pk", flat=True))
    ACTIONS[name](*arguments, **facts, by=world.supervisor, at=AT)
    (entry,) = TrailEntry.objects.exclude(pk__in=before)
    assert (entry.actor, entry.at, entry.rig_number) == (world.supervisor, AT, world.rig.pk)
    assert "." in entry.event
    assert entry.subject_label
