"""What else is owed on a rig beside tests of pressure and banks, and how it was known at a moment."""

from datetime import UTC, date, datetime, timedelta

import pytest

from equipment.actions import components, documents, instruments, service
from equipment.models import Component
from tests import builders
from tests.builders_functions import a_sealed_function_test, with_controls
from tests.builders_tests_app import (
    DAY,
    SIGNED,
    STARTED,
    World,
    a_draft,
    a_recording,
    a_sealed_record,
    a_step,
    a_world,
    concluded,
    good,
    leaking,
    signed,
)
from tests.builders_work import a_deferral, a_postponement, key_of, pressed, some_work
from tests.kept import Keep
from tests_app.actions import deferrals
from tests_app.models import What
from tests_app.queries.deriving import derive
from tests_app.queries.due_items import DueItem
from tests_app.queries.due_list import due_list
from trail.actors import System

pytestmark = pytest.mark.django_db
DAYS = timedelta(days=1)


@pytest.fixture(scope="module")
def kept_world(keep: Keep) -> World:
    return keep(lambda: a_world(section={"begins_at": DAY - 30 * DAYS}))


def owed(world: World, what: What, *, at: datetime = SIGNED) -> dict[str, DueItem]:
    return {item.subject: item for item in due_list(world.rig, at=at) if item.what is what}


def local(item: DueItem) -> str:
    assert item.due is not None
    assert item.due.due_at is not None
    return item.due.due_at.astimezone(item.zone).isoformat()


# Function tests


def test_a_function_test_is_owed_by_what_closes_and_counts_seven_days_to_midnight(world: World):
    station = with_controls(world)["Drill floor station"]
    found = owed(world, What.FUNCTION)
    assert {"Annular", "Upper pipe ram", "Blind-shear ram", "Drill floor station"} <= found.keys()
    assert "Drilling spool" not in found, "nothing of it moves"
    assert found["Annular"].state == "never-tested"
    record = a_sealed_function_test(world, ["Annular"], station=station)
    item = owed(world, What.FUNCTION)["Annular"]
    assert (item.state, item.last_record, item.clause) == ("in-date", record, "30 CFR 250.737(d)(9)")
    # Concluded on 2 March in Chicago: the seventh day is the 9th, and daylight saving time begins on the 8th.
    assert local(item) == "2026-03-10T00:00:00-05:00"


def test_a_pressure_test_counts_for_what_it_closed_and_for_no_station(world: World):
    with_controls(world)
    record = a_sealed_record(world)
    found = owed(world, What.FUNCTION)
    assert (found["Upper pipe ram"].state, found["Upper pipe ram"].last_record) == ("in-date", record)
    assert found["Annular"].state == "never-tested", "it was not closed"
    assert found["Drill floor station"].state == "never-tested", "the rules ask for its own function test"


def test_a_pressure_test_that_failed_or_names_no_station_renews_no_function_test(world: World):
    a_sealed_record(world, curve=leaking())
    assert owed(world, What.FUNCTION)["Upper pipe ram"].state == "never-tested"
    stump = a_draft(world, at=SIGNED, barrier="stump", reason="stump", control_station="")
    a_recording(stump, world, good(), step=a_step(stump, world, "Upper pipe ram", at=SIGNED), at=SIGNED + 2 * DAYS / 24)
    signed(concluded(stump, world, at=SIGNED), world)
    at = SIGNED + DAYS
    assert owed(world, What.FUNCTION, at=at)["Upper pipe ram"].state == "never-tested"


def test_work_on_a_component_calls_for_its_function_test_again(world: World):
    a_sealed_record(world)
    component = component_at(world, "Upper pipe ram")
    builders.a_service_event(component, finished_at=SIGNED, at=SIGNED)
    assert owed(world, What.FUNCTION)["Upper pipe ram"].state == "due-now"


def component_at(world: World, name: str) -> Component:
    return world.at(name).installations.get(removed_at__isnull=True).component


# Work


def test_an_overhaul_counts_from_the_last_one_on_file_else_from_the_day_it_was_made(world: World):
    component = component_at(world, "Annular")
    components.amend_component(
        component, manufactured_on=date(2022, 6, 1), reason="From its plate", by=world.supervisor, at=SIGNED
    )
    item = owed(world, What.OVERHAUL)["Annular"]
    assert local(item)[:10] == "2027-06-02"
    assert item.reason.startswith("Never overhauled; made 1 Jun 2022")
    some_work(world, key_of(world, "overhaul", "Annular"), at=SIGNED)
    renewed = owed(world, What.OVERHAUL)["Annular"]
    assert local(renewed)[:10] == "2031-03-03"
    assert renewed.reason.startswith("Last overhauled or inspected 2 Mar 2026")


def test_the_stack_is_inspected_daily_and_every_crew_drilled_weekly_by_the_rules(world: World):
    assert owed(world, What.INSPECTION)[world.stack.name].state == "never-tested"
    assert "no drill is on file since" in owed(world, What.DRILL)["Each crew"].reason
    some_work(world, f"inspection/stack-{world.stack.pk}", at=SIGNED)
    some_work(world, f"drill/rig-{world.rig.pk}", at=SIGNED)
    assert local(owed(world, What.INSPECTION)[world.stack.name])[:10] == "2026-03-04"
    assert local(owed(world, What.DRILL)["Each crew"])[:10] == "2026-03-10"


def test_casing_drilled_out_owes_its_test_until_one_passed(world: World):
    item = owed(world, What.CASING)[f"Casing above {world.section.name}"]
    assert item.state == "never-tested"
    assert item.reason.startswith("Drilled out ")
    some_work(
        world,
        f"casing-test/holesection-{world.section.pk}",
        at=SIGNED,
        concluded_at=DAY - 31 * DAYS,
        pressed=pressed("10000 psi", "9900 psi", "30"),
    )
    done = owed(world, What.CASING, at=SIGNED + 900 * DAYS)[f"Casing above {world.section.name}"]
    assert (done.state, done.due and done.due.due_at) == ("in-date", None)


# Papers


def test_papers_and_calibrations_run_out_on_their_own_day_whatever_the_rules():
    rig = builders.a_rig(rules="")
    gauge = builders.an_instrument(rig, calibration_due_on=date(2026, 3, 20))
    at = SIGNED
    item = next(one for one in due_list(rig, at=at) if one.what is What.CALIBRATION)
    assert (item.instrument, item.state, item.clause, item.position) == (gauge, "due-soon", "", None)
    assert local(item)[:16] == "2026-03-21T00:00"
    assert next(iter(due_list(rig, at=at + 19 * DAYS))).state == "overdue"
    instruments.amend_instrument(gauge, calibrated_on=None, calibration_due_on=None, by=System.DEMO, at=at)
    unknown = next(one for one in due_list(rig, at=at) if one.what is What.CALIBRATION)
    assert (unknown.state, "retire the instrument" in unknown.reason) == ("cannot-be-worked-out", True)
    instruments.retire_instrument(gauge, retired_on=at.date(), reason="Lost overboard", by=System.DEMO, at=at)
    assert due_list(rig, at=at) == []


def test_documents_and_elastomers_of_what_stands_in_the_stack_run_out(world: World):
    component = component_at(world, "Annular")
    by = {"by": world.supervisor, "at": SIGNED}
    documents.attach_document(
        component,
        kind="conformity",
        title="COC 4471",
        content=b"%PDF",
        file_name="coc.pdf",
        expires_on=date(2026, 3, 5),
        **by,
    )
    service.fit_elastomer(component, part="packing element", installed_on=DAY.date(), expires_on=date(2027, 3, 2), **by)
    paper, packing = owed(world, What.DOCUMENT)["COC 4471"], owed(world, What.ELASTOMER)["Packing element"]
    assert (paper.state, paper.component) == ("due-soon", component)
    assert (packing.state, packing.position) == ("in-date", world.at("Annular"))
    assert not paper.stops_operations


# What may wait


def test_a_deferral_moves_the_date_is_carried_and_ends_by_itself(world: World):
    a_sealed_record(world)
    key = key_of(world, "pressure-test", "Upper pipe ram")
    at = SIGNED + 13 * DAYS
    deferral = a_deferral(world, key, at=at, until=at + 3 * DAYS)
    item = owed(world, What.PRESSURE, at=at)["Upper pipe ram"]
    assert item.deferral == deferral
    assert item.due is not None
    assert (item.due.due_at, item.state) == (deferral.until, "due-soon")
    assert item.due.original_due_at == datetime(2026, 3, 17, 5, tzinfo=UTC)
    late = owed(world, What.PRESSURE, at=deferral.until)["Upper pipe ram"]
    assert (late.state, late.deferral) == ("overdue", None)
    deferrals.withdraw_deferral(deferral, reason="Plug arrived early", by=world.supervisor, at=at)
    assert owed(world, What.PRESSURE, at=at)["Upper pipe ram"].deferral is None


def test_a_test_that_is_not_safe_now_keeps_its_date_and_says_so_until_it_is_made(world: World):
    a_sealed_record(world)
    before = owed(world, What.PRESSURE)["Upper pipe ram"].due
    waits = a_postponement(world, key_of(world, "pressure-test", "Upper pipe ram"), at=SIGNED)
    item = owed(world, What.PRESSURE)["Upper pipe ram"]
    assert (item.postponement, item.due) == (waits, before)
    a_sealed_record(world, at=STARTED + 2 * DAYS)
    assert owed(world, What.PRESSURE, at=STARTED + 3 * DAYS)["Upper pipe ram"].postponement is None


# What was known then


def test_what_was_entered_later_was_not_known_then(world: World):
    record = a_sealed_record(world)
    moment = record.concluded_at + timedelta(minutes=1)
    assert record.sealed_at > moment
    key = key_of(world, "pressure-test", "Upper pipe ram")
    now = next(one for one in derive(world.rig, at=moment) if one.key == key)
    then = next(one for one in derive(world.rig, at=moment, known_at=moment) if one.key == key)
    assert (now.last_record, then.last_record, then.draft) == (record.pk, None, record.pk)
    late = SIGNED + 2 * DAYS
    component = component_at(world, "Upper pipe ram")
    builders.a_service_event(component, finished_at=SIGNED, at=late)
    known = [
        next(one for one in derive(world.rig, at=late, known_at=when) if one.key == key) for when in (SIGNED, late)
    ]
    zone = world.rig.zone
    assert [one.due(at=late, zone=zone).state for one in known] == ["in-date", "due-now"]


# Connectors and the riser package of a subsea stack


def test_connectors_and_the_riser_package_are_worked_on_the_stump_and_never_weekly():
    # API Standard 53, 4th edition, 7.3: the riser package from memory; that connectors are left out is common practice.
    world = a_world("subsea", rig={"rules": "api53-4"}, section={"begins_at": DAY - 30 * DAYS})
    before = owed(world, What.FUNCTION)
    assert {"Riser connector", "Wellhead connector", "Lower marine riser package"}.isdisjoint(before)
    assert before["Upper pipe ram"].state == "never-tested"
    a_draft(world, at=SIGNED, barrier="stump", reason="stump", control_station="")
    at = SIGNED + DAYS
    on_stump = owed(world, What.FUNCTION, at=at)
    assert on_stump["Wellhead connector"].due.state == "due-now"
    package = on_stump["Lower marine riser package"]
    assert (package.state, package.clause) == ("never-tested", "API Standard 53, 7.3")
    some_work(world, package.key, at=at, concluded_at=at - timedelta(hours=1))
    assert owed(world, What.FUNCTION, at=at)["Lower marine riser package"].state == "in-date"
