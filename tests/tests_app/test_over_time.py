"""What was owed at several moments is what was owed at each, with what hangs on no moment read once."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.actions import installations, instruments
from tests import builders
from tests.builders_functions import a_sealed_function_test, with_controls
from tests.builders_tests_app import DAY, STARTED, World, a_sealed_record, a_world
from tests.builders_work import a_deferral, key_of, some_work
from tests_app.actions import programmes
from tests_app.queries.deriving import EVERYTHING, derive, derive_over_time
from tests_app.queries.past import exceeded
from tests_app.queries.turns import changes

pytestmark = pytest.mark.django_db
DAYS = timedelta(days=1)
SINCE, UNTIL = STARTED - 300 * DAYS, STARTED + 60 * DAYS


@pytest.fixture
def world() -> World:
    """A rig on which much was put in, taken out, tested, deferred, begun and chosen."""
    world = a_world(section={"begins_at": DAY - 30 * DAYS})
    stations = with_controls(world)
    a_sealed_record(world)
    a_sealed_function_test(world, ["Annular"], station=stations["Drill floor station"], at=STARTED + DAYS)
    a_deferral(world, key_of(world, "pressure-test", "Annular"), at=STARTED + 2 * DAYS, until=STARTED + 5 * DAYS)
    some_work(world, key_of(world, "overhaul", "Annular"), at=STARTED + 3 * DAYS)
    old, at = world.at("Upper pipe ram").installations.get(), STARTED + 20 * DAYS
    installations.remove_component(old, removed_at=at, reason="Worn", by=world.supervisor, at=at)
    builders.an_installation(world.at("Upper pipe ram"), installed_at=at + DAYS, at=at + DAYS)
    builders.a_section(world.section.well, begins_at=at + 2 * DAYS)
    programmes.choose_edition(
        world.rig, edition="api53-4", reason="New contract", by=world.supervisor, at=at + 3 * DAYS
    )
    facts = {"calibrated_on": date(2026, 4, 1), "calibration_due_on": date(2027, 4, 1)}
    instruments.amend_instrument(world.recorder, **facts, by=world.supervisor, at=at + 30 * DAYS)
    return world


def test_each_moment_is_as_if_it_were_asked_for_alone(world: World):
    moments = [SINCE, *(one.at for one in changes(world.rig, SINCE, UNTIL)), UNTIL]
    assert len(moments) > 7
    first, *later = [(at, EVERYTHING) for at in moments]
    for at, found in zip(moments, derive_over_time(world.rig, first, later), strict=True):
        assert found == derive(world.rig, at=at), at


def test_twelve_months_take_few_queries_for_each_change(world: World):
    turns = len(changes(world.rig, SINCE, UNTIL))
    with CaptureQueriesContext(connection) as asked:
        exceeded(world.rig, SINCE, UNTIL)
    assert len(asked) < 40 + 6 * turns
