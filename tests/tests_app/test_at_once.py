"""Several people at once: numbers, seals and changes do not get in each other's way."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Event
from time import sleep
from typing import Any

import pytest
from django.db import connection, transaction

from equipment.actions import service
from equipment.errors import Refused
from equipment.models import Component
from tests.builders_signing import a_signer, one_signs
from tests.builders_tests_app import SIGNED, World, a_draft, a_judged_draft, a_step, a_world, signed
from tests_app.models import Record
from tests_app.queries import reckoned, verification

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def world() -> World:
    world = a_world()
    world.at("Annular")
    return world


def at_once(*tasks: Callable[[], Any]) -> list[Any]:
    """Run the tasks in threads of their own and return what each gave, or its refusal."""

    def run(task: Callable[[], Any]) -> Any:
        try:
            return task()
        except Refused as refusal:
            return refusal
        finally:
            connection.close()

    with ThreadPoolExecutor(len(tasks)) as pool:
        return list(pool.map(run, tasks))


def test_tests_opened_at_once_get_numbers_of_their_own(world: World):
    opened = at_once(*[lambda: a_draft(world)] * 4)
    assert sorted(record.number for record in opened) == [1, 2, 3, 4]


def test_records_signed_at_once_stand_in_one_chain(world: World):
    drafts = [a_judged_draft(world) for _ in range(3)]
    at_once(*[lambda draft=draft: signed(draft, world) for draft in drafts])
    sealed = {record.previous_sha256: record for record in Record.objects.exclude(sha256="")}
    chain, last = [], ""
    while last in sealed:
        chain.append(sealed[last])
        last = sealed[last].sha256
    assert len(chain) == 3
    assert all(verification.check_seal(record).holds for record in chain)


def test_what_is_owed_takes_in_what_another_was_about_to_commit(world: World):
    ram = Component.objects.get(installations__position=world.at("Upper pipe ram"))
    repaired = {"kind": "repair", "description": "New seals", "by": world.supervisor, "at": SIGNED}
    entered = Event()

    def the_later_work() -> None:
        with transaction.atomic():
            service.record_service(ram, finished_at=SIGNED, **repaired)
            entered.set()
            sleep(0.5)

    def the_earlier_work() -> None:
        entered.wait()
        service.record_service(ram, finished_at=SIGNED - timedelta(hours=1), **repaired)

    at_once(the_later_work, the_earlier_work)
    told = reckoned.differences(world.rig, at=SIGNED)
    assert (told.added, told.changed, told.removed) == ((), {}, ())


def test_a_record_signed_twice_at_once_has_one_signature(world: World):
    draft = a_judged_draft(world)
    by = {"by": world.supervisor, "at": SIGNED}
    given = at_once(*[lambda: one_signs(Record.objects.get(pk=draft.pk), "contractor", **by)] * 2)
    assert draft.signatures.count() == 1
    assert sum(isinstance(one, Refused) for one in given) == 1


def test_the_last_two_signing_at_once_seal_the_record_once(world: World):
    draft = a_judged_draft(world)
    one_signs(draft, "contractor", by=world.supervisor, at=SIGNED)
    people = {capacity: a_signer(world.rig, capacity) for capacity in ("lessee", "pump-operator")}
    at_once(
        *[
            lambda capacity=capacity, person=person: one_signs(
                Record.objects.get(pk=draft.pk), capacity, by=person, at=SIGNED
            )
            for capacity, person in people.items()
        ]
    )
    draft.refresh_from_db()
    assert draft.signatures.count() == 3
    assert verification.check_seal(draft).holds


def test_steps_added_at_once_stand_in_one_order(world: World):
    draft = a_draft(world)
    names = ("Annular", "Upper pipe ram", "Lower pipe ram")
    at_once(*[lambda name=name: a_step(draft, world, name) for name in names])
    assert sorted(draft.steps.values_list("order", flat=True)) == [1, 2, 3]
    draft.refresh_from_db()
    assert draft.version == 4
