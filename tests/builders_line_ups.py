"""Plans of line-ups for the tests, asked for and worked out as the application does."""

from collections.abc import Collection
from datetime import datetime
from typing import Final

from equipment.queries.pressure_systems import contents_of, pressure_system_of
from tests.builders_pressure_systems import a_pressure_system
from tests.builders_tests_app import STARTED, World, a_world
from tests_app.actions.line_up_answers import work_out
from tests_app.actions.line_up_plans import make_plan
from tests_app.models import LineUpPlan
from tests_app.queries.line_up_needs import Askable, askable, circumstances_for
from trail.actors import System

PLANNED: Final = STARTED
"""When plans are made, unless given."""


def a_planning_world(kind: str = "surface") -> World:
    """A rig ready to test whose stack has its usual pressure system, with 5 in pipe or an empty hole."""
    world = a_world(kind)
    a_pressure_system(world.stack)
    return world


def askables(world: World, *, barrier: str = "plug", at: datetime = PLANNED) -> list[Askable]:
    """Everything a plan can be asked to prove of a world's stack."""
    under = circumstances_for(world.stack, section=world.section, barrier=barrier, reason="interval", at=at)
    drawn = pressure_system_of(world.stack)
    assert drawn is not None
    return askable(contents_of(drawn, at=at), under=under)


def keys_of(world: World, names: Collection[str] = ()) -> list[str]:
    """What is asked for by the rules of the named positions, of all where none is named."""
    found = [one for one in askables(world) if one.is_asked and not one.refusal]
    return [one.key for one in found if not names or one.standing.position.name in names]


def a_waiting_plan(world: World, *names: str, at: datetime = PLANNED, barrier: str = "plug") -> LineUpPlan:
    """A plan no worker has taken up, of the named positions or of all."""
    return make_plan(
        world.stack,
        section=world.section,
        reason="interval",
        barrier=barrier,
        wanted=keys_of(world, names),
        by=world.supervisor,
        at=at,
    )


def a_plan(world: World, *names: str, at: datetime = PLANNED, barrier: str = "plug") -> LineUpPlan:
    """A plan as it was worked out, of the named positions or of all."""
    plan = a_waiting_plan(world, *names, at=at, barrier=barrier)
    work_out(plan.pk, by=System.PLANNER, at=at)
    plan.refresh_from_db()
    return plan
