"""Opening a defect, acting on it and closing it: one entry in the trail each, of who did it, when, where."""

import inspect
from collections.abc import Callable
from typing import Any

import pytest

from tests.builders_defects import LATER, a_defect, a_leaking_ram, a_passing_line, seen
from tests.builders_tests_app import World
from tests_app.actions import defect_steps, defects
from tests_app.actions.defect_steps import Approval, Work
from tests_app.actions.defects import ToShow
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db
AT = LATER.replace(hour=23)

Prepared = tuple[tuple[Any, ...], dict[str, Any]]


def station(world: World) -> Any:
    return world.at("Annular").installations.get().component


CASES: dict[str, Callable[[World], Prepared]] = {
    "open_from_line": lambda world: ((a_leaking_ram(world),), {"seen": seen()}),
    "open_by_hand": lambda world: ((station(world),), {"seen": seen(), "to_show": ToShow("function")}),
    "judge_anew": lambda world: (
        (a_defect(world),),
        {"severity": "limits", "barrier": "bore", "reason": "The lower ram covers it."},
    ),
    "act_on_defect": lambda world: ((a_defect(world),), {"work": Work(LATER, "Seals renewed.", "Rolf Anders")}),
    "report_defect": lambda world: (
        (a_defect(world),),
        {"rule_id": "ocs-failure", "done_at": LATER, "reference": "LTR-9"},
    ),
    "close_by_retest": lambda world: ((a_defect(world), a_passing_line(world)), {}),
    "close_by_disposition": lambda world: (
        (a_defect(world),),
        {"approval": Approval("replaced", "Karin Voss, superintendent", "MOC-1", "The spare stands there now.")},
    ),
}
ACTIONS = {
    name: function
    for module in (defects, defect_steps)
    for name, function in inspect.getmembers(module, inspect.isfunction)
    if function.__module__ == module.__name__ and not name.startswith("_") and name != "require_open"
}


def test_every_action_has_a_case():
    assert set(CASES) == set(ACTIONS)


@pytest.mark.parametrize("name", CASES)
def test_an_action_writes_one_entry_of_who_when_and_where(world: World, name: str):
    given, facts = CASES[name](world)
    seen_before = set(TrailEntry.objects.values_list("pk", flat=True))
    ACTIONS[name](*given, by=world.supervisor, at=AT, **facts)
    entry = TrailEntry.objects.exclude(pk__in=seen_before).get()
    assert (entry.actor, entry.at, entry.rig_number) == (world.supervisor, AT, world.rig.pk)
    assert entry.subject_type.startswith("tests_app.defect")
    assert entry.after
