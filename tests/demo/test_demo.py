"""The demo: two invented rigs with nine months of history, the same at each load but for its dates."""

import json
import tomllib
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path
from typing import Any, Final

import pytest
import time_machine
from django.conf import settings as settings_module
from django.contrib.auth import authenticate
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import transaction
from django.test import override_settings

from accounts.models import User
from calcs.line_up_verifier import check
from calcs.recurrence import State
from config.demo import demo_logins
from equipment.models import Component, Rig, Stack, Well
from equipment.queries.pressure_systems import contents_of, pressure_system_of
from equipment.queries.wells import section_drilled
from tests.demo.usual_order import USUAL_ORDER
from tests_app.actions.line_up_answers import work_out
from tests_app.actions.line_up_plans import make_plan
from tests_app.management.demo import scenario
from tests_app.models import DrawdownFunction, Line, Outcome, Record, RecordKind, Signature, Step
from tests_app.queries.defects import DefectState, standings_of
from tests_app.queries.due_items import NEVER_TESTED, What
from tests_app.queries.due_list import due_list
from tests_app.queries.line_up_copies import proof_from, system_from, unproved_by
from tests_app.queries.line_up_needs import askable, circumstances_for
from tests_app.queries.verification import check_seal, sealed_records
from tests_app.seals import canonical
from trail.actors import System
from trail.models import TrailEntry

LOADED_AT: Final = datetime(2026, 3, 18, 17, 0, tzinfo=UTC)
RIGS: Final = ("Saltmarsh 7", "Larkspur Deep")

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def _stored_files(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = str(tmp_path_factory.mktemp("demo-files"))
    with override_settings(MEDIA_ROOT=folder):
        yield folder


@pytest.fixture(scope="module")
def _loaded(django_db_setup: None, django_db_blocker: Any, _stored_files: str) -> Iterator[None]:
    """Load the demo once for all tests here, in a transaction that is rolled back after the last."""
    with django_db_blocker.unblock(), transaction.atomic():
        with time_machine.travel(LOADED_AT, tick=False):
            call_command("load_demo", stdout=StringIO())
        yield
        transaction.set_rollback(True)


@pytest.fixture
def demo(_loaded: None, _stored_files: str, settings: Any) -> None:
    """The demo as loaded at LOADED_AT, and its files."""
    settings.MEDIA_ROOT = _stored_files


def rigs() -> list[Rig]:
    """Return both rigs."""
    return [Rig.objects.get(name=name) for name in RIGS]


def test_two_rigs_with_two_wells_and_forty_components_are_loaded(demo: None) -> None:
    assert sorted(Rig.objects.values_list("name", "kind")) == [
        ("Larkspur Deep", "semi-submersible"),
        ("Saltmarsh 7", "jack-up"),
    ]
    assert Well.objects.count() == 2
    assert Component.objects.count() >= 40
    assert {stack.kind for rig in rigs() for stack in rig.stacks.all()} == {"surface", "subsea"}


def test_the_tests_reach_back_nine_months_and_none_lies_ahead(demo: None) -> None:
    for rig in rigs():
        began = [record.started_at for record in sealed_records(rig)]
        assert LOADED_AT - min(began) > timedelta(days=9 * 28)
        assert max(record.sealed_at for record in sealed_records(rig)) < LOADED_AT


@pytest.mark.parametrize("name", RIGS)
def test_on_the_load_day_a_rig_shows_every_way_a_deadline_stands(demo: None, name: str) -> None:
    states = {item.state for item in due_list(Rig.objects.get(name=name), at=LOADED_AT)}
    assert states >= {State.IN_DATE, State.DUE_SOON, State.OVERDUE, NEVER_TESTED}


def test_some_tests_failed_were_repeated_and_passed_and_some_are_left_failed(demo: None) -> None:
    outcomes = Counter(Step.objects.filter(retest_of=None).values_list("outcome", flat=True))
    assert outcomes[Outcome.PASSED] > 400
    assert outcomes[Outcome.FAILED] >= 5
    repeated = Step.objects.exclude(retest_of=None)
    assert set(repeated.values_list("outcome", flat=True)) == {Outcome.PASSED}
    assert Line.objects.filter(leak_seen=True, outcome=Outcome.FAILED, step__outcome=Outcome.PASSED).exists()
    for rig in rigs():
        assert sealed_records(rig).filter(passed=False, kind=RecordKind.PRESSURE).count() == 1


def test_both_rigs_have_drawn_their_main_bank_down_and_tested_its_pumps_within_the_interval(demo: None) -> None:
    for rig in rigs():
        due = {item.what: item for item in due_list(rig, at=LOADED_AT) if item.bank is not None}
        assert due[What.PUMP].state in {State.IN_DATE, State.DUE_SOON}
        assert due[What.DRAWDOWN].last_record is not None
        assert due[What.DRAWDOWN].failed_record is None
    states = [item.state for rig in rigs() for item in due_list(rig, at=LOADED_AT) if item.what is What.DRAWDOWN]
    assert sorted(states) == [State.DUE_SOON, State.IN_DATE]


def test_a_drawdown_failed_since_bottles_were_shut_off_and_passed_once_they_were_opened(demo: None) -> None:
    failed = Record.objects.get(kind=RecordKind.DRAWDOWN, passed=False)
    assert "11.9 bottles of 16" in failed.drawdown_test.verdict["sentence"]  # four of them stood shut off
    retest = Record.objects.filter(kind=RecordKind.DRAWDOWN, rig=failed.rig, started_at__gt=failed.started_at).get()
    assert retest.passed
    assert "As nameplate" in retest.drawdown_test.verdict["sentence"]
    opened = TrailEntry.objects.filter(
        event="bottle.state-changed", at__gt=failed.concluded_at, at__lt=retest.started_at
    )
    assert opened.count() == 8  # found shut, and opened
    assert retest.recordings.count() == 1


def test_each_rig_has_a_defect_proven_by_its_retest_and_one_still_open(demo: None) -> None:
    for rig in Rig.objects.all():
        stands = sorted(one.state for one in standings_of(rig))
        assert stands == [DefectState.OPEN, DefectState.PROVEN], rig


def test_every_seal_of_the_demo_holds_and_is_canonical(demo: None) -> None:
    for rig in rigs():
        for record in sealed_records(rig):
            found = [check.found for check in check_seal(record).checks if not check.holds]
            assert found == [], record
            assert canonical(json.loads(record.content)) == record.content


def test_everything_was_done_by_an_action_that_left_its_entry(demo: None) -> None:
    """Rows written past the actions would have no entry about them."""
    told = set(TrailEntry.objects.values_list("subject_type", "subject_id"))
    for model in (Rig, Well, Component, Record, Step):
        for key in model.objects.values_list("pk", flat=True):
            assert (model._meta.label_lower, key) in told, f"{model.__name__} {key}"
    assert (
        TrailEntry.objects.filter(event__in=["record.signed", "record.sealed"]).count()
        == Signature.objects.count()
        > 100
    )


def test_the_logins_printed_at_the_start_sign_in(demo: None) -> None:
    logins = demo_logins()
    assert {login["user"] for login in logins} >= {"supervisor", "tester", "manager", "auditor", "administrator"}
    for login in logins:
        assert authenticate(username=login["user"], password=login["password"]) is not None


def test_a_second_load_is_refused_and_changes_nothing(demo: None) -> None:
    before = TrailEntry.objects.count()
    with pytest.raises(CommandError, match="empty database only"):
        call_command("load_demo", stdout=StringIO())
    assert TrailEntry.objects.count() == before


def test_a_second_load_if_empty_says_and_does_nothing(demo: None) -> None:
    before, said = TrailEntry.objects.count(), StringIO()
    call_command("load_demo", "--if-empty", stdout=said)
    assert said.getvalue() == ""
    assert TrailEntry.objects.count() == before


def test_the_demo_is_the_same_on_another_day_but_for_its_dates(demo: None) -> None:
    folder = Path(settings_module.BASE_DIR) / "fixtures" / "demo"
    text = (folder / "larkspur-deep.toml").read_text(encoding="utf-8")
    logins = (folder / "logins.toml").read_text(encoding="utf-8")
    people = {person.username: person for person in User.objects.all()}
    again = scenario.build(
        tomllib.loads(text.replace("Larkspur Deep", "Larkspur Again")),
        tomllib.loads(logins.replace("Larkspur Deep", "Larkspur Again")),
        people,
        at=datetime(2026, 11, 3, 6, 0, tzinfo=UTC),
    )
    assert what_happened(again) == what_happened(Rig.objects.get(name="Larkspur Deep"))


def what_happened(rig: Rig) -> list[Any]:
    """Return what the rig's tests showed, without their dates: the steps, their pressures, files and outcomes."""
    steps = Step.objects.filter(record__rig=rig).order_by("record__number", "order")
    worked = DrawdownFunction.objects.filter(record__rig=rig).order_by("record__number", "order")
    return [
        *(
            (step.record.number, step.name, step.outcome, step.limits, step.recording and step.recording.sha256)
            for step in steps.select_related("record", "recording")
        ),
        *(
            (one.record.number, one.name, one.pressure_at_once, one.pressure_settled, one.seconds)
            for one in worked.select_related("record")
        ),
    ]


def test_the_planner_needs_no_more_steps_than_the_usual_order_of_the_surface_stack(demo: None) -> None:
    stack = Stack.objects.get(rig__name="Saltmarsh 7")
    drawn, section = pressure_system_of(stack), section_drilled(stack.rig, at=LOADED_AT)
    assert drawn is not None
    about = {"section": section, "reason": "interval", "barrier": "plug"}
    asked = askable(contents_of(drawn, at=LOADED_AT), under=circumstances_for(stack, **about, at=LOADED_AT))
    supervisor = User.objects.get(username="supervisor")
    wanted = [one.key for one in asked if one.is_asked]
    plan = make_plan(stack, **about, wanted=wanted, by=supervisor, at=LOADED_AT)
    system, proofs = system_from(plan.system), [proof_from(proof) for proof in plan.proofs]

    assert check(system, proofs, USUAL_ORDER).faults == ((),) * len(USUAL_ORDER)
    assert unproved_by(plan.system, system, proofs, USUAL_ORDER) == []

    work_out(plan.pk, by=System.PLANNER, at=LOADED_AT)
    plan.refresh_from_db()
    assert (plan.steps.count(), plan.lower_bound) == (9, 9)
    assert len(USUAL_ORDER) == 10
