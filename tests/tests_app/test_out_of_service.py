"""Equipment that is out of service while it stands in the stack, and comes back."""

from datetime import timedelta

import pytest

from equipment.actions import service
from equipment.errors import Refused
from equipment.models import ServiceEvent
from tests import builders
from tests.builders_tests_app import SIGNED, World, a_sealed_record, a_world
from tests.kept import Keep
from tests_app.queries.due_items import DueItem
from tests_app.queries.due_list import due_list

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    return keep(a_tested_world)


def a_tested_world() -> World:
    world = a_world()
    a_sealed_record(world)
    return world


def moved(world: World, kind: str, hours: float) -> ServiceEvent:
    ram = world.at("Upper pipe ram").installations.get().component
    moment = SIGNED + hours * HOUR
    return builders.a_service_event(ram, kind=kind, description="Seal weeps.", finished_at=moment, at=SIGNED + 9 * HOUR)


def ram_at(world: World, hours: float) -> DueItem:
    items = due_list(world.rig, at=SIGNED + hours * HOUR)
    return next(item for item in items if item.subject == "Upper pipe ram" and item.what == "pressure-test")


def test_out_of_service_it_owes_no_test_and_back_in_service_it_owes_one_at_once(world):
    moved(world, "out-of-service", 1)
    out = ram_at(world, 2)
    assert (out.state, out.due.due_at) == ("out-of-service", None)
    assert "test before it is used again" in out.reason
    moved(world, "back-in-service", 3)
    assert ram_at(world, 4).state == "due-now"


@pytest.mark.parametrize(("first", "again"), [("out-of-service", "out-of-service"), ("repair", "back-in-service")])
def test_it_leaves_and_comes_back_in_turn(world, first, again):
    moved(world, first, 1)
    with pytest.raises(Refused) as refused:
        moved(world, again, 2)
    assert refused.value.field == "kind"


def test_an_earlier_leaving_is_not_put_before_a_later_one(world):
    moved(world, "out-of-service", 2)
    with pytest.raises(Refused) as refused:
        moved(world, "out-of-service", 1)
    assert refused.value.field == "finished_at"


def test_what_was_entered_in_error_counts_no_more(world):
    event = moved(world, "out-of-service", 1)
    service.withdraw_service(event, reason="Wrong ram.", by=world.supervisor, at=SIGNED + 3 * HOUR)
    assert ram_at(world, 4).state == "in-date"
    assert ServiceEvent.everything.count() == 1
