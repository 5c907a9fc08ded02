"""What is due on the accumulator banks of a rig: drawdown, pump test, precharge, shell tests."""

from datetime import date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.actions import banks, installations, service
from equipment.actions.banks import Read
from tests import builders
from tests.builders import LONG_AGO
from tests.builders_drawdowns import (
    SIGNED,
    STARTED,
    BankWorld,
    a_bank_world,
    a_drawdown_draft,
    a_pump_draft,
    a_sealed_drawdown,
    a_sealed_pump_test,
    a_subsea_bank_world,
    a_whole_drawdown,
    signed,
)
from tests_app.actions import superseding
from tests_app.actions.obligations import reconcile
from tests_app.models import Programme
from tests_app.queries.deriving.precharges import OWNERS_SCHEDULE
from tests_app.queries.due_items import DueItem, What
from tests_app.queries.due_list import due_list

pytestmark = pytest.mark.django_db
HALF_A_YEAR = timedelta(days=182)


@pytest.fixture
def world(bank_world: BankWorld) -> BankWorld:
    return bank_world


def items(world: BankWorld, *, at: datetime = SIGNED) -> dict[What, DueItem]:
    return {item.what: item for item in due_list(world.rig, at=at) if item.bank is not None}


def row(world: BankWorld, what: What, *, at: datetime = SIGNED) -> DueItem:
    return items(world, at=at)[what]


# Drawdown and pump test


def test_a_bank_never_drawn_down_is_due_and_the_rule_is_named_with_how_surely_it_is_known(world: BankWorld):
    for what, named, clause in (
        (What.DRAWDOWN, "drawdown", "30 CFR 250.735(a), by API Standard 53, 6.5.6"),
        (What.PUMP, "pump test", "30 CFR 250.735(a), by API inquiry 53-12-13"),
    ):
        item = row(world, what)
        assert item.state == "never-tested"
        assert f"The first {named} owed is the one " in item.reason
        assert item.clause == clause
        assert item.confidence in ("memory", "derived")


@pytest.mark.parametrize(
    ("seal", "what"), [(a_sealed_drawdown, What.DRAWDOWN), (a_sealed_pump_test, What.PUMP)], ids=["drawdown", "pump"]
)
def test_a_sealed_test_moves_its_own_date_by_six_months_counted_as_182_days(world: BankWorld, seal, what: What):
    record = seal(world)
    found = items(world)
    item = found.pop(what)
    assert (item.state, item.last_record) == ("in-date", record)
    zone = world.rig.zone
    assert item.due.due_at.astimezone(zone).date() == (record.concluded_at.astimezone(zone) + HALF_A_YEAR).date() + (
        timedelta(days=1)
    )
    other = found[What.PUMP if what is What.DRAWDOWN else What.DRAWDOWN]
    assert other.state == "never-tested"
    assert row(world, what, at=record.concluded_at + HALF_A_YEAR - timedelta(days=1)).state == "due-soon"
    assert row(world, what, at=record.concluded_at + HALF_A_YEAR + timedelta(days=2)).state == "overdue"


def test_a_failed_drawdown_moves_nothing_and_stays_in_view(world: BankWorld):
    record = a_sealed_drawdown(world, share=1.25)
    assert record.passed is False
    item = row(world, What.DRAWDOWN)
    assert (item.state, item.failed_record, item.last_record) == ("not-passed", record, None)
    assert item.due.state == "due-now"


def test_a_passing_drawdown_after_a_failed_one_settles_it(world: BankWorld):
    a_sealed_drawdown(world, share=1.25)
    later = a_sealed_drawdown(world, at=STARTED + timedelta(days=1))
    item = row(world, What.DRAWDOWN, at=STARTED + timedelta(days=2))
    assert (item.state, item.last_record, item.failed_record) == ("in-date", later, None)


def test_a_corrected_drawdown_no_longer_counts(world: BankWorld):
    record = a_sealed_drawdown(world)
    draft = superseding.supersede_record(record, reason="Readings of another bank", by=world.supervisor, at=SIGNED)
    assert row(world, What.DRAWDOWN).last_record == record, "the draft of a correction changes nothing yet"
    signed(draft, world, at=SIGNED + timedelta(hours=1))
    item = row(world, What.DRAWDOWN, at=SIGNED + timedelta(hours=2))
    assert item.last_record == draft


def test_a_draft_counts_as_in_progress_and_one_concluded_but_not_signed_still_does(world: BankWorld):
    a_sealed_drawdown(world)
    late = STARTED + HALF_A_YEAR + timedelta(hours=1)
    draft = a_drawdown_draft(world, at=late)
    item = row(world, What.DRAWDOWN, at=late + timedelta(hours=1))
    assert (item.state, item.draft) == ("in-progress", draft)
    a_pump_draft(world, at=late)
    assert row(world, What.PUMP, at=late + timedelta(hours=1)).state == "in-progress"
    unsigned = a_whole_drawdown(world, at=late + timedelta(hours=2))
    assert row(world, What.DRAWDOWN, at=late + timedelta(hours=5)).draft == unsigned


def test_work_on_the_bank_asks_for_its_drawdown_again(world: BankWorld):
    a_sealed_drawdown(world)
    worked_at = SIGNED + timedelta(days=1)
    service.record_service(
        world.bank.component,
        kind="repair",
        finished_at=worked_at,
        description="Manifold.",
        by=world.supervisor,
        at=worked_at,
    )
    item = row(world, What.DRAWDOWN, at=worked_at + timedelta(hours=1))
    assert item.state == "due-now"
    assert "Repaired" in item.reason


def test_only_the_main_accumulators_are_drawn_down_but_every_bank_is_read():
    world = a_bank_world(purpose="dedicated-shear")
    assert set(items(world)) == {What.PRECHARGE, What.SHELL}


def test_a_bank_that_stands_nowhere_is_not_listed(world: BankWorld):
    standing = world.bank.component.installations.get(removed_at__isnull=True)
    installations.remove_component(standing, removed_at=STARTED, reason="Ashore", by=world.supervisor, at=STARTED)
    assert items(world) == {}


def test_without_rules_no_test_of_a_bank_can_be_worked_out_but_a_shell_test_can(world: BankWorld):
    Programme.objects.all().delete()
    reconcile(world.rig, at=SIGNED)
    found = items(world)
    assert {found[what].state for what in (What.DRAWDOWN, What.PUMP, What.PRECHARGE)} == {"cannot-be-worked-out"}
    assert found[What.SHELL].state == "in-date"


# Precharge: events call for it; the standard gives no interval


def test_a_bank_read_since_it_was_installed_is_in_order_and_no_interval_is_made_up(world: BankWorld):
    item = row(world, What.PRECHARGE)
    assert item.state == "in-date"
    assert item.due.due_at is None
    assert OWNERS_SCHEDULE in item.reason
    assert item.last_tested_at == world.check.taken_at
    years_later = row(world, What.PRECHARGE, at=SIGNED + timedelta(days=2000))
    assert (years_later.state, years_later.due.due_at) == ("in-date", None)


def test_a_bank_never_read_is_due_since_it_was_installed():
    world = a_bank_world(read=False)
    item = row(world, What.PRECHARGE)
    assert item.state == "never-tested"
    assert "The bottles were not read since the bank was installed" in item.reason


def test_a_surface_bank_read_before_it_was_installed_is_read_again():
    world = a_bank_world(read=False)
    before = LONG_AGO + timedelta(hours=1)
    builders.a_precharge_check(world.bank, taken_at=before, at=before)
    assert row(world, What.PRECHARGE).state == "due-now"


def test_a_new_well_asks_for_the_bottles_of_a_surface_bank_again(world: BankWorld):
    spudded = SIGNED + timedelta(days=3)
    builders.a_well(world.rig, spudded_on=spudded.date(), at=spudded)
    item = row(world, What.PRECHARGE, at=spudded + timedelta(days=1))
    assert item.state == "due-now"
    assert "since the present well was spudded" in item.reason


def test_one_bottle_left_out_is_named(world: BankWorld):
    builders.a_bottle(world.bank, in_service_on=STARTED.date(), at=SIGNED)
    item = row(world, What.PRECHARGE)
    assert item.state == "never-tested"
    assert "Bottle 13 was not read" in item.reason


def test_a_subsea_bank_is_read_before_it_is_deployed():
    world = a_subsea_bank_world(read=False)
    assert "before the bank was deployed" in row(world, What.PRECHARGE).reason
    before = LONG_AGO + timedelta(hours=1)
    builders.a_precharge_check(world.bank, ("1667.5 psi",) * 12, taken_at=before, at=before)
    assert row(world, What.PRECHARGE).state == "in-date"


def test_a_bottle_out_of_tolerance_is_not_in_order_and_a_corrected_figure_is_not_judged():
    world = a_bank_world(precharge=("1000 psi",) * 10 + ("850 psi", "1120 psi"))
    item = row(world, What.PRECHARGE)
    assert (item.state, item.out_of_tolerance) == ("not-passed", "bottle 11 low, bottle 12 high")
    for number in (11, 12):
        reading = world.bank.bottles.get(position_number=number).precharge_readings.get()
        banks.correct_precharge_reading(
            reading, pressure="1005 psi", gas_temperature="70 degF", reason="Misread", by=world.supervisor, at=SIGNED
        )
    assert row(world, What.PRECHARGE).state == "in-date"


def test_a_bottle_shut_off_is_not_asked_for(world: BankWorld):
    bottle = world.bank.bottles.get(position_number=3)
    later = SIGNED + timedelta(days=1)
    serving = [one for one in world.bank.bottles.all() if one != bottle]
    banks.record_precharge_check(
        world.bank,
        readings=[Read(one, "1000 psi", "70 degF") for one in serving] + [Read(bottle, "400 psi", "70 degF")],
        instrument=world.gauge,
        taken_at=later,
        taken_by="Ben Marsh",
        fluid_bled_off=True,
        by=world.supervisor,
        at=later,
    )
    assert row(world, What.PRECHARGE, at=later).out_of_tolerance == "bottle 3 low"
    banks.change_bottle_state(
        bottle, state="shut-off", state_since=later.date(), state_reason="Bladder", by=world.supervisor, at=later
    )
    assert row(world, What.PRECHARGE, at=later).out_of_tolerance == ""


# Shell tests


def test_the_first_shell_to_run_out_gives_the_date_and_is_named(world: BankWorld):
    bottle = world.bank.bottles.get(position_number=7)
    banks.amend_bottle(bottle, shell_test_due_on=date(2026, 4, 10), by=world.supervisor, at=SIGNED)
    item = row(world, What.SHELL)
    assert item.due.due_at.astimezone(world.rig.zone).isoformat()[:16] == "2026-04-11T00:00"
    assert "Bottle 7" in item.reason
    day = datetime(2026, 4, 10, 18, tzinfo=world.rig.zone)
    assert row(world, What.SHELL, at=day).state == "due-soon", "in date through its own day"
    assert row(world, What.SHELL, at=day + timedelta(days=1)).state == "overdue"


def test_a_shell_without_a_date_can_not_be_worked_out(world: BankWorld):
    bottle = world.bank.bottles.get(position_number=2)
    banks.amend_bottle(bottle, shell_test_due_on=None, by=world.supervisor, at=SIGNED)
    item = row(world, What.SHELL)
    assert item.state == "cannot-be-worked-out"
    assert "bottle 2" in item.reason


# Queries


def test_more_banks_more_bottles_and_more_tests_take_no_more_queries(world: BankWorld):
    few = counted(world)
    a_sealed_drawdown(world)
    a_sealed_drawdown(world, at=STARTED + timedelta(days=1))
    a_sealed_pump_test(world)
    for purpose in ("dedicated-shear", "main", "pilot"):
        bank = builders.a_bank(rig=world.rig, bottles=6, purpose=purpose)
        position = builders.a_position(world.stack, "accumulator-bank", name=f"Bank {purpose}", group="control")
        builders.an_installation(position, bank.component)
        builders.a_precharge_check(bank)
    assert counted(world) == few


def counted(world: BankWorld) -> int:
    with CaptureQueriesContext(connection) as queries:
        for item in due_list(world.rig, at=SIGNED):
            assert item.reason
            assert item.stack is None or item.stack.name
            assert item.bank is None or item.bank.component.rig.name
    return len(queries)
