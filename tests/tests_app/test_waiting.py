"""What may wait: deferrals somebody approved, and tests that are not safe to make now."""

from datetime import timedelta

import pytest

from equipment.errors import NotAllowed, Refused
from equipment.models import CrewRole
from equipment.queries import access
from equipment.queries.access import Right
from tests import builders
from tests.builders import DAY
from tests.builders_tests_app import SIGNED, World, a_sealed_record, a_world
from tests.builders_work import a_deferral, a_postponement, key_of
from tests_app.actions import deferrals, postponements
from tests_app.models import Deferral, Postponement
from tests_app.queries.due_list import due_list
from tests_app.queries.waiting import (
    deferral_in_force,
    deferrals_of,
    is_called,
    postponement_in_force,
    postponements_of,
)
from trail.models import TrailEntry

pytestmark = pytest.mark.django_db
HOUR, ONE_DAY = timedelta(hours=1), timedelta(days=1)
LATE = SIGNED + timedelta(days=13)
"""A day before the tested ram falls due."""


@pytest.fixture
def ram(world: World) -> str:
    """The key of a ram tested on `DAY`, and so due fourteen days later."""
    a_sealed_record(world)
    return key_of(world, "pressure-test", "Upper pipe ram")


def refused(act) -> Refused:
    with pytest.raises(Refused) as caught:
        act()
    return caught.value


def test_a_deferral_keeps_the_date_it_moves_with_who_approved_it_and_why(world, ram):
    row = a_deferral(world, ram, at=LATE, until=LATE + 4 * ONE_DAY, conditions="Pipe rams not relied on.")
    assert row.original_due_at.isoformat() == "2026-03-17T00:00:00-05:00", "the end of 16 March on the rig's clock"
    assert (row.clause, row.edition) == ("30 CFR 250.737(a)(2)", "us-ocs/2023")
    told = TrailEntry.objects.get(event="deferral.granted")
    assert told.after["approved_by"] == "Karin Voss, drilling superintendent"
    assert deferrals_of(world.rig) == {ram: [row]}


def test_a_deferral_ends_by_itself(world, ram):
    row = a_deferral(world, ram, at=LATE, until=LATE + 4 * ONE_DAY)
    rows = deferrals_of(world.rig)[ram]
    assert deferral_in_force(rows, LATE - HOUR) is None
    assert deferral_in_force(rows, LATE) == row
    assert deferral_in_force(rows, row.until - timedelta(seconds=1)) == row
    assert deferral_in_force(rows, row.until) is None


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"until": LATE - ONE_DAY}, "until"),
        ({"granted_at": LATE - 2 * HOUR, "until": LATE - HOUR}, "until"),
        ({"until": LATE + HOUR}, "until"),
        ({"until": LATE + 40 * ONE_DAY}, "until"),
        ({"granted_at": LATE + HOUR, "until": LATE + 4 * ONE_DAY}, "granted_at"),
        ({"granted_at": DAY - ONE_DAY, "until": LATE + 4 * ONE_DAY}, "granted_at"),
        ({"until": LATE + 4 * ONE_DAY, "approved_by": " "}, "approved_by"),
        ({"until": LATE + 4 * ONE_DAY, "reference": ""}, "reference"),
        ({"until": LATE + 4 * ONE_DAY, "reason": ""}, "reason"),
    ],
)
def test_a_deferral_that_makes_no_sense_is_refused_beside_its_field(world, ram, facts, field):
    assert refused(lambda: a_deferral(world, ram, at=LATE, **facts)).field == field
    assert not Deferral.objects.exists()


def test_a_deferral_lasts_no_longer_than_the_interval_it_moves(world, ram):
    """Fourteen days asked every fourteen days: at most to the end of the thirtieth day."""
    latest = a_deferral(world, ram, at=LATE, until=SIGNED + timedelta(days=28))
    assert latest.pk
    too_long = refused(lambda: a_deferral(world, ram, at=LATE, until=SIGNED + timedelta(days=29)))
    assert "no longer than the interval it moves" in too_long.reason


def test_what_is_not_due_is_not_deferred(world):
    closing_unit = key_of(world, "pressure-test", "Closing unit")
    assert "No pressure test of Closing unit is due" in refused(lambda: a_deferral(world, closing_unit)).reason


def test_a_withdrawn_deferral_counts_no_more_and_stays_on_file(world, ram):
    row = a_deferral(world, ram, at=LATE, until=LATE + 4 * ONE_DAY)
    assert refused(lambda: deferrals.withdraw_deferral(row, reason="", by=world.supervisor, at=LATE)).field == "reason"
    deferrals.withdraw_deferral(row, reason="The plug came early.", by=world.supervisor, at=LATE + HOUR)
    assert deferrals_of(world.rig) == {}
    assert deferrals_of(world.rig, LATE) == {ram: [row]}, "as it was known before"
    again = refused(lambda: deferrals.withdraw_deferral(row, reason="x", by=world.supervisor, at=LATE))
    assert "withdrawn already" in again.reason


def test_a_postponed_test_keeps_its_date_and_notes_what_calls_for_it(world, ram):
    row = a_postponement(world, ram, at=LATE)
    assert row.original_due_at.isoformat() == "2026-03-17T00:00:00-05:00"
    assert (row.then, row.clause) == ("trip", "30 CFR 250.738(c)")
    assert postponements_of(world.rig) == {ram: [row]}
    assert postponement_in_force([row], LATE) == row


def test_only_the_reasons_of_the_rule_are_accepted(world, ram):
    wrong = refused(lambda: a_postponement(world, ram, at=LATE, reason="weather"))
    assert (wrong.field, wrong.reason) == (
        "reason",
        "30 CFR 250.738(c) accepts: losses, an influx, stuck pipe, and no other reason.",
    )
    assert refused(lambda: a_postponement(world, ram, at=LATE, explanation=" ")).field == "explanation"
    assert refused(lambda: a_postponement(world, ram, at=LATE, made_at=LATE + HOUR)).field == "made_at"


def test_no_test_waits_by_an_edition_without_such_a_clause():
    world = a_world(rig={"rules": "no/d-010"})
    lost = refused(lambda: a_postponement(world, key_of(world, "pressure-test", "Annular")))
    assert lost.field == "reason"
    assert "has no clause by which a test may wait" in lost.reason


def test_only_tests_wait_for_safety(world):
    overhaul = key_of(world, "overhaul", "Annular")
    assert "an overhaul is none" in refused(lambda: a_postponement(world, overhaul)).reason


def test_a_test_waits_once_at_a_time(world, ram):
    row = a_postponement(world, ram, at=LATE)
    assert "postponed already" in refused(lambda: a_postponement(world, ram, at=LATE)).reason
    end(world, row, LATE + HOUR)
    assert a_postponement(world, ram, at=LATE + HOUR).pk != row.pk


def test_from_the_first_trip_out_the_test_is_called_for(world, ram):
    row = a_postponement(world, ram, at=LATE)
    early = refused(lambda: call(world, row, LATE - HOUR, LATE))
    assert early.field == "called_at"
    called = call(world, row, LATE + HOUR, LATE + 2 * HOUR)
    assert (is_called(called, LATE), is_called(called, LATE + HOUR)) == (False, True)
    assert "called for already" in refused(lambda: call(world, row, LATE + HOUR, LATE + 2 * HOUR)).reason


def test_a_test_called_for_before_its_date_is_due_at_once_and_keeps_that_date(world, ram):
    early = SIGNED + 2 * ONE_DAY
    row = a_postponement(world, ram, at=early)
    waits = next(item for item in due_list(world.rig, at=early + HOUR) if item.key == ram)
    assert (waits.state, waits.postponement) == ("in-date", row)
    call(world, row, early + HOUR, early + 2 * HOUR)
    called = next(item for item in due_list(world.rig, at=early + 2 * HOUR) if item.key == ram)
    assert (called.state, called.due.due_at) == ("due-now", early + HOUR)
    assert called.due.original_due_at.isoformat() == "2026-03-17T00:00:00-05:00"
    assert "was called for" in called.reason


def test_a_deferred_test_stays_on_the_due_list_with_both_dates(world, ram):
    row = a_deferral(world, ram, at=LATE, until=LATE + 4 * ONE_DAY)
    item = next(item for item in due_list(world.rig, at=LATE + 2 * ONE_DAY) if item.key == ram)
    assert (item.state, item.deferral, item.due.due_at) == ("due-soon", row, row.until)
    late = next(item for item in due_list(world.rig, at=row.until) if item.key == ram)
    assert late.state == "overdue"


def test_a_postponement_ends_with_a_reason_and_not_before_it_began(world, ram):
    row = a_postponement(world, ram, at=LATE)
    assert refused(lambda: end(world, row, LATE - HOUR)).field == "ended_at"
    assert refused(lambda: end(world, row, LATE + HOUR, reason="")).field == "reason"
    end(world, row, LATE + HOUR)
    assert postponements_of(world.rig) == {}
    assert postponements_of(world.rig, LATE) == {ram: [row]}, "as it was known before"
    assert "has ended" in refused(lambda: call(world, row, LATE, LATE + HOUR)).reason
    assert set(TrailEntry.objects.filter(event__startswith="postponement").values_list("event", flat=True)) == {
        "postponement.made",
        "postponement.ended",
    }


@pytest.mark.parametrize(
    ("role", "works", "defers"),
    [
        (CrewRole.SUPERVISOR, True, True),
        (CrewRole.RIG_MANAGER, True, True),
        (CrewRole.ADMINISTRATOR, True, False),
        (CrewRole.TESTER, False, False),
        (CrewRole.LESSEE, False, False),
        (CrewRole.AUDITOR, False, False),
    ],
)
def test_the_supervisor_and_the_manager_enter_work_and_let_wait_and_the_auditor_changes_nothing(role, works, defers):
    rig = builders.a_rig()
    person = builders.a_person(rig=rig, role=role)
    for right, given in ((Right.WORK, works), (Right.DEFER, defers)):
        if given:
            access.check(person, rig, needs=right)
        else:
            with pytest.raises(NotAllowed):
                access.check(person, rig, needs=right)


def call(world: World, row: Postponement, called_at, at) -> Postponement:
    return postponements.call_for_test(row, called_at=called_at, by=world.supervisor, at=at)


def end(world: World, row: Postponement, moment, *, reason: str = "Pipe freed, stack clear.") -> Postponement:
    return postponements.end_postponement(row, ended_at=moment, reason=reason, by=world.supervisor, at=moment)
