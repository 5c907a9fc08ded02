"""Control items the rules ask to be tested and that are not on file: the due list says what is missing."""

from datetime import timedelta

import pytest

from equipment.actions import controls, installations
from tests.builders import LONG_AGO
from tests.builders_functions import with_controls
from tests.builders_tests_app import SIGNED, STARTED, World, a_world
from tests_app.queries.unlisted import unlisted_controls

pytestmark = pytest.mark.django_db


def missing(world: World) -> dict[str, str]:
    """What is missing, with the clauses that ask for it."""
    return {one.words: one.clauses for one in unlisted_controls(world.rig, at=SIGNED)}


def test_a_surface_rig_offshore_lacks_its_stations_and_its_remote_panel(world: World):
    # 30 CFR 250.737(d)(5): from memory.
    assert missing(world) == {
        "Control station": "30 CFR 250.737(d)(5)(i)",
        "Remote panel": "30 CFR 250.737(d)(5)(ii)",
    }


def test_one_station_is_not_both_and_what_is_on_file_is_missing_no_more(world: World):
    facts = {"stack": world.stack, "in_service_from": LONG_AGO, "by": world.supervisor, "at": STARTED}
    controls.add_control_item(kind="control-station", name="Drill floor", place="drill-floor", **facts)
    assert "A second control station" in missing(world)
    controls.add_control_item(kind="control-station", name="Office", place="remote", **facts)
    panel = controls.add_control_item(kind="remote-panel", name="Lifeboat panel", place="", **facts)
    assert missing(world) == {}
    controls.retire_control_item(panel, retired_at=SIGNED, reason="Taken ashore", by=world.supervisor, at=SIGNED)
    assert list(missing(world)) == ["Remote panel"]


def test_a_subsea_stack_is_asked_for_its_emergency_systems_too():
    world = a_world("subsea", rig={"rules": "api53-4"})
    assert list(missing(world)) == ["Deadman", "Autoshear", "Emergency disconnect"]
    with_controls(world)
    assert list(missing(world)) == ["Autoshear", "Emergency disconnect"]


def test_nothing_is_missed_without_rules_or_with_no_stack_in_place():
    assert missing(a_world(rig={"rules": ""})) == {}
    world = a_world()
    for one in world.stack.positions.all():
        standing = one.installations.get()
        installations.remove_component(
            standing, removed_at=SIGNED - timedelta(hours=1), reason="Moved", by=world.supervisor, at=SIGNED
        )
    assert missing(world) == {}
