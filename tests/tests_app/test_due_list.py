"""What is due on a rig, row by row."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.actions import components, installations, wells
from tests import builders
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
from tests_app.actions import pressure_tests, programmes, superseding
from tests_app.actions.obligations import reconcile
from tests_app.models import Programme
from tests_app.queries.due_items import DueItem, What
from tests_app.queries.due_list import due_list

pytestmark = pytest.mark.django_db


def pressure_rows(world: World, at: datetime) -> list[DueItem]:
    """What is owed in pressure tests."""
    return [item for item in due_list(world.rig, at=at) if item.what is What.PRESSURE]


def row(world: World, name: str = "Upper pipe ram", *, at: datetime = SIGNED) -> DueItem:
    return next(item for item in pressure_rows(world, at) if item.subject == name)


def test_what_was_never_tested_is_said_so_with_since_when_and_which_test_is_owed(world: World):
    item = row(world)
    assert (item.state, item.last_record, item.last_tested_at) == ("never-tested", None, None)
    assert item.due.state == "due-now"
    assert "Installed 26 Jan 2025, 06:00 UTC−6; never tested since. Due at once." in item.reason
    assert "The first test owed is the one on installation (30 CFR 250.737(a)(1))." in item.reason


def test_what_was_never_tested_for_longer_than_a_test_lasts_stands_with_the_overdue(world: World):
    a_sealed_record(world)
    at = SIGNED + timedelta(days=20)
    positions = [item.position.name for item in pressure_rows(world, at)]
    assert row(world, at=at).state == "overdue"
    assert row(world, "Annular", at=at).stood_too_long
    assert positions.index("Annular") < positions.index("Upper pipe ram"), "it has waited since long before"


def test_what_was_put_in_within_the_interval_and_not_tested_stands_after_the_overdue(world: World):
    a_sealed_record(world)
    at = SIGNED + timedelta(days=20)
    old = world.at("Annular").installations.get()
    installations.remove_component(old, removed_at=at, reason="Worn", by=world.supervisor, at=at)
    builders.an_installation(world.at("Annular"), installed_at=at, at=at)
    item = row(world, "Annular", at=at + timedelta(hours=1))
    assert (item.state, item.stood_too_long) == ("never-tested", False)
    assert item.rank > row(world, at=at + timedelta(hours=1)).rank


def test_a_passing_test_moves_the_date_to_midnight_of_the_fourteenth_day_in_the_rigs_zone(world: World):
    record = a_sealed_record(world)
    item = row(world)
    assert (item.last_record, item.last_tested_at) == (record, record.concluded_at)
    assert item.state == "in-date"
    # Concluded 2 March in Chicago, on standard time; the 16th ends on daylight saving time.
    assert item.due.due_at.astimezone(UTC) == datetime(2026, 3, 17, 5, tzinfo=UTC)
    assert "30 CFR 250.737(a)(2)" in item.clause
    assert item.confidence == "read"


def test_a_blind_shear_ram_has_thirty_days(world: World):
    record = a_draft(world, pipe_in_hole="")
    a_recording(record, world, good(), step=a_step(record, world, "Blind-shear ram"))
    signed(concluded(record, world), world)
    assert row(world, "Blind-shear ram").due.due_at.astimezone(UTC) == datetime(2026, 4, 2, 5, tzinfo=UTC)


@pytest.mark.parametrize(("days", "state"), [(5, "in-date"), (12, "due-soon"), (15, "overdue")])
def test_the_state_follows_the_clock(world: World, days: int, state: str):
    a_sealed_record(world)
    assert row(world, at=STARTED + timedelta(days=days)).state == state


def test_a_draft_counts_for_nothing_but_a_test_that_is_running(world: World):
    a_sealed_record(world)
    draft = a_draft(world, at=STARTED + timedelta(days=13))
    a_step(draft, world, "Upper pipe ram", at=STARTED + timedelta(days=13))
    item = row(world, at=STARTED + timedelta(days=13, hours=2))
    assert (item.state, item.draft) == ("in-progress", draft)
    late = row(world, at=STARTED + timedelta(days=20))
    assert late.state == "overdue", "a draft forgotten keeps nothing in date"


def test_a_draft_begun_before_it_was_opened_puts_off_nothing_that_is_overdue(world: World):
    a_sealed_record(world)
    opened = STARTED + timedelta(days=16)
    draft = a_draft(world, at=opened, started_at=STARTED + timedelta(days=13))
    a_step(draft, world, "Upper pipe ram", at=opened)
    assert row(world, at=opened + timedelta(hours=1)).state == "overdue", "nothing bears that start out before the seal"


def test_a_draft_given_up_is_not_running(world: World):
    a_sealed_record(world)
    at = STARTED + timedelta(days=13)
    draft = a_draft(world, at=at)
    a_step(draft, world, "Upper pipe ram", at=at)
    pressure_tests.discard_record(draft, reason="Well control", by=world.supervisor, at=at)
    assert (row(world, at=at).state, row(world, at=at).draft) == ("due-soon", None)


def test_a_failed_test_after_a_passing_one_is_the_most_pressing(world: World):
    a_sealed_record(world)
    failed = a_sealed_record(world, curve=leaking(), at=STARTED + timedelta(days=2))
    at = STARTED + timedelta(days=3)
    item = row(world, at=at)
    assert (item.state, item.failed_record) == ("not-passed", failed)
    known = [one for one in pressure_rows(world, at) if not one.is_never_tested]
    assert known[0].position == item.position


def test_a_passing_test_after_a_failed_one_clears_it(world: World):
    a_sealed_record(world, curve=leaking())
    a_sealed_record(world, at=STARTED + timedelta(days=2))
    assert row(world, at=STARTED + timedelta(days=3)).state == "in-date"


def test_a_repair_after_the_test_makes_it_due_at_once(world: World):
    a_sealed_record(world)
    component = world.at("Upper pipe ram").installations.get().component
    builders.a_service_event(component, finished_at=SIGNED + timedelta(days=1), at=SIGNED + timedelta(days=1))
    item = row(world, at=SIGNED + timedelta(days=2))
    assert item.state == "due-now"
    assert "Repaired" in item.reason


def test_a_component_put_in_after_the_test_is_due_at_once_though_its_position_was_tested(world: World):
    a_sealed_record(world)
    at = SIGNED + timedelta(days=1)
    old = world.at("Upper pipe ram").installations.get()
    installations.remove_component(old, removed_at=at, reason="Worn", by=world.supervisor, at=at)
    builders.an_installation(
        world.at("Upper pipe ram"), installed_at=at + timedelta(hours=1), at=at + timedelta(hours=2)
    )
    item = row(world, at=at + timedelta(hours=3))
    assert (item.state, item.last_record) == ("never-tested", None)


def test_a_corrected_record_counts_until_its_correction_is_signed(world: World):
    old = a_sealed_record(world)
    at = SIGNED + timedelta(days=1)
    new = superseding.supersede_record(old, reason="Wrong end time", by=world.supervisor, at=at)
    assert row(world, at=at).last_record == old
    assert (row(world, at=at).state, row(world, at=at).draft) == ("in-date", None), "a correction is no running test"
    new = pressure_tests.conclude(new, concluded_at=STARTED + timedelta(hours=1), by=world.supervisor, at=at)
    signed(new, world, at=at)
    item = row(world, at=at)
    assert (item.last_record, item.last_tested_at) == (new, STARTED + timedelta(hours=1))


def test_a_section_with_a_higher_masp_asks_for_a_test_where_the_pressure_follows_the_masp():
    world = a_world(section={"masp_margin_approval": "Permit 14-2", "begins_at": DAY - timedelta(days=30)})
    record = a_sealed_record(world)
    line = record.steps.get().lines.get()
    assert line.required_high.si == pytest.approx(5500 * 6894.757, rel=1e-4)
    assert row(world).state == "in-date"
    deeper = SIGNED + timedelta(days=1)
    builders.a_section(
        world.section.well, masp_margin_approval="Permit 14-3", pore_gradient="0.7 psi/ft", begins_at=deeper, at=deeper
    )
    item = row(world, at=deeper + timedelta(hours=1))
    assert item.state == "due-now"
    assert "higher test pressure" in item.reason


def test_a_section_without_an_approval_changes_nothing(world: World):
    a_sealed_record(world)
    deeper = SIGNED + timedelta(days=1)
    builders.a_section(world.section.well, begins_at=deeper, at=deeper)
    assert row(world, at=deeper + timedelta(hours=1)).state == "in-date"


def test_what_is_not_pressure_tested_is_not_listed():
    world = a_world("subsea")
    named = {item.position.name for item in pressure_rows(world, SIGNED)}
    assert "Upper pipe ram" in named
    assert not named & {"Riser adapter", "Casing-shear ram", "Accumulator bank"}


def test_a_row_that_can_not_be_worked_out_is_shown_first_and_stops_no_other():
    world = a_world(section={"masp_margin_approval": "Permit 14-2", "begins_at": DAY - timedelta(days=30)})
    component = world.at("Lower pipe ram").installations.get().component
    components.amend_component(component, rated_working_pressure=None, reason="Plate lost", by=world.supervisor, at=DAY)
    items = pressure_rows(world, SIGNED)
    assert (items[0].position.name, items[0].state) == ("Lower pipe ram", "cannot-be-worked-out")
    assert "no rated working pressure" in items[0].error
    assert items[0].reason == items[0].error
    assert {item.state for item in items[1:]} == {"never-tested"}


def test_a_rig_under_another_edition_gets_its_intervals(world: World):
    a_sealed_record(world)
    programmes.choose_edition(world.rig, edition="api53-4", reason="New permit", by=world.supervisor, at=SIGNED)
    assert row(world).due.due_at.astimezone(UTC) > datetime(2026, 3, 17, 5, tzinfo=UTC)


def test_what_happened_later_is_not_known_on_an_earlier_day(world: World):
    a_sealed_record(world)
    assert row(world, at=STARTED + timedelta(minutes=1)).last_record is None


def test_on_a_rig_without_rules_nothing_is_in_date_and_each_row_says_why(world: World):
    record = a_sealed_record(world)
    Programme.objects.all().delete()
    reconcile(world.rig, at=SIGNED)
    items = pressure_rows(world, SIGNED)
    assert {item.state for item in items} == {"cannot-be-worked-out"}
    assert all(item.reason.startswith(f"No rules are chosen for {world.rig.name}.") for item in items)
    assert row(world).last_record == record


def test_an_empty_rig_has_nothing_due():
    assert due_list(builders.a_rig(), at=SIGNED) == []


def test_two_and_fifty_rows_take_the_same_queries():
    assert queries_for(2) == queries_for(50)


def queries_for(count: int) -> int:
    rig = builders.a_rig()
    stack = builders.a_stack(rig, positions=())
    for _ in range(count):
        builders.an_installation(builders.a_position(stack))
    with CaptureQueriesContext(connection) as queries:
        items = due_list(rig, at=SIGNED)
        for item in items:
            assert item.reason
            assert item.stack is None or item.stack.name
            assert item.component is None or item.component.serial
    assert sum(item.what is What.PRESSURE for item in items) == count
    return len(queries)


def test_tested_rows_take_no_query_each(world: World):
    before = counted(world)
    for name in ("Upper pipe ram", "Lower pipe ram", "Blind-shear ram"):
        record = a_draft(world, pipe_in_hole="" if name.startswith("Blind") else "5 in")
        a_recording(record, world, good(), step=a_step(record, world, name))
        signed(concluded(record, world), world)
    assert counted(world) == before


def counted(world: World) -> int:
    with CaptureQueriesContext(connection) as queries:
        for item in due_list(world.rig, at=SIGNED):
            assert item.last_record is None or item.last_record.rig.name
    return len(queries)


def rated(world: World, rwp: str, at: datetime, name: str = "Upper pipe ram") -> None:
    component = world.at(name).installations.get().component
    components.amend_component(component, rated_working_pressure=rwp, reason="Nameplate", by=world.supervisor, at=at)


def test_a_test_held_at_less_than_is_needed_now_counts_no_more(world: World):
    rated(world, "1000 psi", DAY)
    a_sealed_record(world, curve=good(1_000.0))
    assert row(world).state == "in-date"
    rated(world, "10000 psi", SIGNED)
    item = row(world)
    assert (item.state, item.last_record is not None) == ("due-now", True)
    assert "held at 1,000 psi, 10,000 psi is needed now" in item.reason


def test_an_earlier_test_at_enough_counts_on(world: World):
    a_sealed_record(world)
    rated(world, "1000 psi", SIGNED)
    a_sealed_record(world, curve=good(1_000.0), at=STARTED + timedelta(days=7))
    rated(world, "10000 psi", STARTED + timedelta(days=8))
    item = row(world, at=STARTED + timedelta(days=16))
    assert item.state == "overdue", "sixteen days after the test at 10,000 psi"
    assert "Last passing test concluded 2 Mar 2026" in item.reason
    assert "counts no more: held at 1,000 psi, 10,000 psi is needed now" in item.reason


def test_a_lower_rating_keeps_the_date_of_a_test_held_at_more(world: World):
    a_sealed_record(world)
    rated(world, "5000 psi", SIGNED)
    assert row(world).state == "in-date"


def test_a_rating_written_in_another_unit_changes_no_date(world: World):
    a_sealed_record(world)
    rated(world, "68.9475729 MPa", SIGNED)
    assert row(world).state == "in-date"


def test_an_annular_held_at_its_share_is_enough(world: World):
    record = a_draft(world)
    a_recording(record, world, good(7_000.0), step=a_step(record, world, "Annular"))
    signed(concluded(record, world), world)
    assert row(world, "Annular").state == "in-date"
    rated(world, "15000 psi", SIGNED, "Annular")
    assert "held at 7,000 psi, 10,000 psi is needed now" in row(world, "Annular").reason, "70 %, up to the wellhead"


def test_a_test_against_the_casing_is_held_to_the_casing_still(world: World):
    record = a_draft(world, barrier="none")
    a_recording(record, world, good(8_000.0), step=a_step(record, world, "Upper pipe ram"))
    signed(concluded(record, world), world)
    assert row(world).state == "in-date"


def test_an_approval_that_is_gone_asks_for_the_full_pressure():
    world = a_world(section={"masp_margin_approval": "Permit 14-2", "begins_at": DAY - timedelta(days=30)})
    a_sealed_record(world, curve=good(5_500.0))
    assert row(world).state == "in-date"
    wells.amend_section(world.section, masp_margin_approval="", by=world.supervisor, at=SIGNED)
    assert "held at 5,500 psi, 10,000 psi is needed now" in row(world).reason


def test_a_figure_missing_today_is_said_and_takes_no_date_away():
    world = a_world(section={"begins_at": DAY - timedelta(days=30)})
    a_sealed_record(world)
    programmes.choose_edition(world.rig, edition="api53-4", reason="New permit", by=world.supervisor, at=SIGNED)
    later = SIGNED + timedelta(hours=1)
    builders.a_section(world.section.well, masp_method="", pore_gradient=None, begins_at=later, at=later)
    item = row(world, at=later + timedelta(hours=1))
    assert item.state == "in-date"
    assert "Whether its pressure is still enough can not be worked out" in item.reason


def test_a_rating_taken_off_the_file_leaves_nothing_in_date(world: World):
    a_sealed_record(world)
    component = world.at("Upper pipe ram").installations.get().component
    components.amend_component(
        component, rated_working_pressure=None, reason="Plate lost", by=world.supervisor, at=SIGNED
    )
    assert (row(world).state, "no rated working pressure" in row(world).error) == ("cannot-be-worked-out", True)
