"""The invented fleet that speed is measured on: what it holds, whether the product could have written it."""

from datetime import UTC, datetime
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import Client

from accounts.models import User
from equipment.models import Component, Installation, Rig
from tests import builders
from tests_app.management.fleet.designs import DESIGNS, name_of
from tests_app.management.fleet.fleet import make_rigs
from tests_app.management.fleet.founding import MANAGER
from tests_app.models import Line, Obligation, Record
from tests_app.queries.due_list import due_list
from tests_app.queries.verification import check_seal

pytestmark = pytest.mark.django_db
UNTIL = datetime(2026, 3, 2, 12, tzinfo=UTC)


def make(rigs: int, *, seed: int = 1) -> str:
    told = StringIO()
    call_command("make_fleet", rigs=rigs, years=1, seed=seed, until=UNTIL, stdout=told)
    return told.getvalue()


def test_a_small_fleet_holds_what_was_asked_for_and_could_have_been_entered_by_hand(client: Client):
    make(1)
    before = list(Record.objects.order_by("pk").values_list("sha256", flat=True))
    told = make(2)

    assert "1 of 2 rigs are there already" in told
    assert list(Record.objects.filter(rig__name=name_of(1)).order_by("pk").values_list("sha256", flat=True)) == before
    assert [rig.name for rig in Rig.objects.order_by("pk")] == [name_of(1), name_of(2)]
    wanted = sum(len(design.places) for design in DESIGNS[:2])
    assert Installation.objects.filter(removed_at=None).count() == wanted
    assert Component.objects.count() > wanted  # with the spares
    assert 5_000 < Line.objects.count() < 7_500
    signed = Line.objects.filter(step__record__rig__name=name_of(2), step__record__sealed_at__isnull=False)
    assert f"{signed.count():,} lines of tests" in told
    broken = [check for record in Record.objects.filter(sealed_at__isnull=False)[::20] for check in failed(record)]
    assert broken == []
    assert {True, False} == set(Record.objects.exclude(sealed_at=None).values_list("passed", flat=True))
    call_command("check_obligations", stdout=StringIO())

    rig = Rig.objects.get(name=name_of(1))
    items = due_list(rig, at=UNTIL)
    assert len(items) == Obligation.objects.filter(rig=rig).count() > 150
    assert [item.subject for item in items if item.error] == []
    client.force_login(User.objects.get(username=MANAGER))
    assert client.get(f"/rigs/{rig.pk}/").status_code == 200
    assert client.get("/").status_code == 200


def failed(record: Record) -> list[str]:
    return [f"{record}: {check.found}" for check in check_seal(record).checks if not check.holds]


def test_the_same_seed_makes_the_same_fleet_and_another_seed_another():
    def made(seed: int) -> list[tuple[datetime, str, bool | None]]:
        with transaction.atomic():
            list(make_rigs(1, 1, years=1, seed=seed, until=UNTIL))
            rows = list(Record.objects.order_by("number").values_list("started_at", "edition", "passed"))
            transaction.set_rollback(True)
        return rows

    first, again, other = made(1), made(1), made(2)
    assert first == again
    assert first != other


def test_it_is_refused_where_there_are_rigs_that_are_not_of_the_fleet():
    builders.a_rig("Meridian Tern")
    with pytest.raises(CommandError, match="Meridian Tern"):
        make(1)
    assert Rig.objects.count() == 1


def test_what_a_fleet_is_asked_for_is_some():
    with pytest.raises(CommandError, match="rigs"):
        call_command("make_fleet", "--rigs", "0")
