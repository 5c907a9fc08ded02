"""Who gets hold of which record, and of what hangs on it."""

from collections.abc import Callable
from typing import Any

import pytest

from accounts.models import User
from equipment.errors import NotAllowed, NotYours
from equipment.queries.access import Right
from tests import builders
from tests.builders_tests_app import SIGNED, World, a_sealed_record, a_world
from tests_app.models import Certificate, Record
from tests_app.queries import records

pytestmark = pytest.mark.django_db


def reachable(record: Record) -> list[tuple[Callable[..., Any], int]]:
    """Return every way to a row of the record, with its key."""
    step = record.steps.get()
    Certificate.objects.create(
        record=record, kind="certificate", number="C-1", issued_at=SIGNED, sha256="0" * 64, size=1
    )
    return [
        (records.record_for, record.pk),
        (records.step_for, step.pk),
        (records.line_for, step.lines.get().pk),
        (records.recording_for, record.recordings.get().pk),
        (records.certificate_for, record.pk),
    ]


def test_a_member_of_the_crew_gets_every_row_of_a_record(world: World):
    auditor = builders.a_person(rig=world.rig, role="auditor")
    for query, key in reachable(a_sealed_record(world)):
        assert query(auditor, key) is not None


def test_a_stranger_is_not_even_told_that_it_exists(world: World):
    stranger = a_world().supervisor
    for query, key in reachable(a_sealed_record(world)):
        with pytest.raises(NotYours):
            query(stranger, key)
        with pytest.raises(NotYours):
            query(stranger, key + 10_000)


def test_an_auditor_reads_and_does_not_record_or_sign(world: World):
    auditor = builders.a_person(rig=world.rig, role="auditor")
    for query, key in reachable(a_sealed_record(world)):
        for right in (Right.RECORD, Right.SIGN):
            with pytest.raises(NotAllowed):
                query(auditor, key, needs=right)


def test_a_rigs_records_are_listed_to_its_crew_alone(world: World):
    record = a_sealed_record(world)
    stranger: User = a_world().supervisor
    assert list(records.records_visible(world.supervisor, world.rig)) == [record]
    assert list(records.records_visible(stranger, world.rig)) == []


def test_the_station_and_pod_used_last_are_remembered(world: World):
    assert records.last_station_and_pod(world.stack, before=SIGNED) == ("", "")
    a_sealed_record(world, control_station="remote")
    assert records.last_station_and_pod(world.stack, before=SIGNED) == ("remote", "")
