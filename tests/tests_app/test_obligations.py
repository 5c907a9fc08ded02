"""Obligations as they are stored: reconciled by whatever changes them, right at any later moment, and checked."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext, override_settings

from equipment.actions import components, controls, documents, installations, instruments, service
from equipment.models import Installation, Rig
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
    concluded,
    good,
    signed,
)
from tests.builders_work import a_deferral, a_postponement, key_of, some_work
from tests_app.actions import deferrals, pressure_tests, programmes, steps, superseding, work
from tests_app.actions.obligations import reconcile, reconcile_each, reconciling_once
from tests_app.models import Obligation, Reckoning, What
from tests_app.queries.due_list import due_list, worked_afresh
from tests_app.queries.obligations import obligations_of, stand
from tests_app.queries.reckoned import differences, rigs_to_reckon
from tests_app.tasks import reconcile_all

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def is_clean(world: World, at: datetime) -> bool:
    found = differences(world.rig, at=at)
    assert (found.added, dict(found.changed), found.removed) == ((), {}, ())
    return True


def standing(world: World, name: str = "Upper pipe ram") -> Installation:
    return Installation.objects.get(position=world.at(name), removed_at__isnull=True)


# Every action leaves what is stored as it follows from the facts


def test_tests_on_record_leave_what_is_stored_as_it_follows(world: World):
    assert is_clean(world, STARTED)
    draft = a_draft(world)
    step = a_step(draft, world, "Annular")
    assert Obligation.objects.get(draft=draft).key == key_of(world, "pressure-test", "Annular")
    steps.remove_step(step, by=world.supervisor, at=STARTED)
    assert is_clean(world, STARTED)
    a_recording(draft, world, good(), step=a_step(draft, world, "Upper pipe ram"))
    assert is_clean(world, SIGNED)
    signed(concluded(draft, world), world)
    assert is_clean(world, SIGNED)
    later = SIGNED + HOUR
    draft.refresh_from_db()
    new = superseding.supersede_record(draft, reason="Wrong end time", by=world.supervisor, at=later)
    assert is_clean(world, later)
    new = pressure_tests.conclude(new, concluded_at=STARTED + HOUR, by=world.supervisor, at=later)
    signed(new, world, at=later)
    assert Obligation.objects.get(key=key_of(world, "pressure-test", "Upper pipe ram")).last_record == new
    given_up = a_draft(world, at=later)
    a_step(given_up, world, "Annular", at=later)
    pressure_tests.discard_record(given_up, reason="Well control", by=world.supervisor, at=later)
    assert is_clean(world, later)


def test_what_changes_of_the_equipment_leaves_what_is_stored_as_it_follows(world: World):
    a_sealed_record(world)
    by: dict[str, Any] = {"by": world.supervisor, "at": SIGNED}
    service.record_service(standing(world).component, kind="repair", finished_at=SIGNED, description="Seals", **by)
    assert is_clean(world, SIGNED)
    installations.remove_component(standing(world), removed_at=SIGNED, reason="Worn", **by)
    assert is_clean(world, SIGNED)
    new = builders.an_installation(world.at("Upper pipe ram"), installed_at=SIGNED, at=SIGNED)
    assert Obligation.objects.filter(installation=new, what=What.PRESSURE).exists()
    components.amend_component(new.component, rated_working_pressure=None, reason="Plate lost", **by)
    annular = standing(world, "Annular").component
    components.amend_component(annular, rated_working_pressure="5000 psi", reason="Misread", **by)
    service.fit_elastomer(
        annular,
        part="packing element",
        installed_on=DAY.date(),
        expires_on=date(2027, 3, 2),
        by=world.supervisor,
        at=SIGNED,
    )
    documents.attach_document(
        annular, kind="conformity", title="COC", content=b"%PDF", file_name="c.pdf", expires_on=date(2026, 9, 1), **by
    )
    assert is_clean(world, SIGNED)
    instruments.amend_instrument(world.recorder, calibration_due_on=date(2028, 1, 1), **by)
    station = with_controls(world)["Drill floor station"]
    assert is_clean(world, SIGNED)
    controls.retire_control_item(station, retired_at=SIGNED, reason="Replaced", **by)
    builders.a_section(world.section.well, begins_at=SIGNED, at=SIGNED)
    assert is_clean(world, SIGNED)
    programmes.choose_edition(world.rig, edition="api53-4", reason="New permit", **by)
    assert is_clean(world, SIGNED)
    assert {row.edition for row in obligations_of(world.rig)} <= {"", "api53-4/2012"}


def test_work_functions_and_what_waits_leave_what_is_stored_as_it_follows(world: World):
    station = with_controls(world)["Drill floor station"]
    a_sealed_function_test(world, ["Annular", "Drill floor station"], station=station)
    assert is_clean(world, SIGNED)
    key = key_of(world, "overhaul", "Annular")
    done = some_work(world, key, at=SIGNED)
    assert is_clean(world, SIGNED)
    work.withdraw_work(done, reason="Of another annular", by=world.supervisor, at=SIGNED)
    assert is_clean(world, SIGNED)
    waits = a_deferral(world, key_of(world, "pressure-test", "Annular"), at=SIGNED)
    assert is_clean(world, SIGNED)
    deferrals.withdraw_deferral(waits, reason="Plug arrived", by=world.supervisor, at=SIGNED)
    a_postponement(world, key_of(world, "pressure-test", "Annular"), at=SIGNED)
    some_work(world, f"inspection/stack-{world.stack.pk}", at=SIGNED)
    some_work(world, f"drill/rig-{world.rig.pk}", at=SIGNED)
    assert is_clean(world, SIGNED)


def test_much_entered_at_once_is_reconciled_once_at_its_end():
    rig = builders.a_rig()
    with reconciling_once():
        stack = builders.a_stack(rig, positions=())
        for _ in range(3):
            builders.an_installation(builders.a_position(stack))
        assert not Obligation.objects.filter(rig=rig).exists()
    assert Obligation.objects.filter(rig=rig, what=What.PRESSURE).count() == 3
    assert Reckoning.objects.get(rig=rig).error == ""


# What is stored answers at any later moment


@pytest.mark.parametrize("hours", [0, 1, 24 * 5, 24 * 12, 24 * 15, 24 * 400])
def test_what_is_stored_says_the_same_later_as_what_is_worked_out_afresh_then(world: World, hours: int):
    with_controls(world)
    a_sealed_record(world)
    running = a_draft(world, at=SIGNED)
    a_step(running, world, "Annular", at=SIGNED)
    a_deferral(world, key_of(world, "pressure-test", "Upper pipe ram"), at=SIGNED, until=SIGNED + timedelta(days=16))
    at = SIGNED + timedelta(hours=hours)
    stored = {item.key: (item.state, item.due, item.reason) for item in due_list(world.rig, at=at)}
    afresh = {row.key: stand(row, at) for row in worked_afresh(world.rig, at=at)}
    assert stored == {key: (item.state, item.due, item.reason) for key, item in afresh.items()}


def test_a_moment_before_the_last_change_is_worked_out_afresh(world: World):
    record = a_sealed_record(world)
    before = next(item for item in due_list(world.rig, at=STARTED) if item.subject == "Upper pipe ram")
    after = next(item for item in due_list(world.rig, at=SIGNED) if item.subject == "Upper pipe ram")
    assert (before.last_record, after.last_record) == (None, record)


def test_the_due_list_is_read_in_the_same_queries_for_a_few_rows_and_for_many(world: World):
    few = builders.a_rig()
    builders.an_installation(builders.a_position(builders.a_stack(few, positions=())))
    a_sealed_record(world)
    assert queries_of(few) == queries_of(world.rig) <= 8


def queries_of(rig: Rig) -> int:
    with CaptureQueriesContext(connection) as queries:
        for item in due_list(rig, at=SIGNED):
            assert item.reason
            assert item.component is None or item.component.rig.name
    return len(queries)


def test_a_row_that_can_not_be_read_is_shown_as_worse_than_overdue(world: World):
    a_sealed_record(world)
    key = key_of(world, "pressure-test", "Upper pipe ram")
    Obligation.objects.filter(key=key).update(events=[{"event": "unheard of"}])
    items = due_list(world.rig, at=SIGNED)
    assert (items[0].key, items[0].state) == (key, "cannot-be-worked-out")
    assert len(items) > 10


def test_an_event_writes_only_the_rows_that_stand_differently(world: World):
    other = Obligation.objects.get(key=key_of(world, "pressure-test", "Annular"))
    a_sealed_record(world)
    moved = Obligation.objects.get(key=key_of(world, "pressure-test", "Upper pipe ram"))
    assert moved.worked_at > other.worked_at
    known = other.worked_at
    other.refresh_from_db()
    assert other.worked_at == known
    again = reconcile(world.rig, at=SIGNED)
    assert again.count == 0, "a second run finds nothing to write"


def test_the_moment_a_row_changes_by_itself_is_stored(world: World):
    a_sealed_record(world)
    row = Obligation.objects.get(key=key_of(world, "pressure-test", "Upper pipe ram"))
    assert row.due_at is not None
    assert row.attention_at == row.due_at - timedelta(days=3)
    reconcile(world.rig, at=row.attention_at)
    row.refresh_from_db()
    assert row.attention_at == row.due_at


# The sweep and the check


@contextmanager
def failing_on(rig: Rig) -> Iterator[None]:
    """Let a rig fail as a broken row would, and no other."""
    from tests_app.actions import obligations

    really = obligations.compare

    def compare(one: Rig, **asked: Any) -> Any:
        if one.pk == rig.pk:
            raise RuntimeError("a broken row")
        return really(one, **asked)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(obligations, "compare", compare)
        yield


def test_a_rig_that_fails_is_worked_out_afresh_where_it_is_shown_and_stops_no_other(world: World):
    other = builders.a_rig()
    builders.an_installation(builders.a_position(builders.a_stack(other, positions=())))
    Obligation.objects.all().delete()
    with failing_on(world.rig):
        done = dict(reconcile_each(Rig.objects.order_by("pk"), at=SIGNED))
    assert isinstance(done[world.rig], RuntimeError)
    assert Obligation.objects.filter(rig=other).exists()
    assert "a broken row" in Reckoning.objects.get(rig=world.rig).error
    assert len(due_list(world.rig, at=SIGNED)) > 10, "shown all the same"
    assert world.rig in rigs_to_reckon(SIGNED)
    reconcile_all()
    assert Reckoning.objects.get(rig=world.rig).error == ""


def test_a_fault_in_working_out_keeps_nobody_from_entering_what_was_done(world: World):
    with failing_on(world.rig), override_settings(WELLHOLD_RECONCILE_STRICTLY=False):
        record = a_sealed_record(world)
    assert record.sealed_at is not None
    item = next(one for one in due_list(world.rig, at=SIGNED) if one.subject == "Upper pipe ram")
    assert item.last_record == record


def test_only_rigs_whose_moment_has_come_are_reckoned_anew(world: World):
    a_sealed_record(world)
    reconcile(world.rig, at=SIGNED)
    assert rigs_to_reckon(SIGNED + timedelta(minutes=30)) == []
    assert rigs_to_reckon(SIGNED + timedelta(hours=2)) == [world.rig], "an hour later at the latest"


def test_the_check_names_what_differs_and_fails_and_reconciling_puts_it_right(world: World):
    out = StringIO()
    call_command("reconcile", stdout=out)
    assert world.rig.name in out.getvalue()
    call_command("check_obligations", stdout=out)
    key = key_of(world, "pressure-test", "Upper pipe ram")
    Obligation.objects.filter(key=key).update(clause="Another clause", due_at=DAY)
    Obligation.objects.filter(key=key_of(world, "pressure-test", "Annular")).delete()
    told = StringIO()
    with pytest.raises(CommandError, match="2 obligations are not stored as they should be"):
        call_command("check_obligations", rig=world.rig.name, stdout=told)
    assert f"{key} differs in clause, due_at" in told.getvalue()
    assert "is owed and not stored" in told.getvalue()
    call_command("reconcile", rig=world.rig.name, stdout=out)
    call_command("check_obligations", stdout=out)


def test_a_rig_nobody_knows_is_refused_by_name():
    for command in ("reconcile", "check_obligations"):
        with pytest.raises(CommandError, match="There is no rig named Nowhere"):
            call_command(command, rig="Nowhere")
