"""A record names what stood on its stack and is not proved by it, each with its last proof."""

import json
from datetime import timedelta

import pytest

from tests.builders_tests_app import (
    CONCLUDED,
    STARTED,
    World,
    a_draft,
    a_judged_draft,
    a_recording,
    a_sealed_record,
    a_step,
    concluded,
    good,
    leaking,
    signed,
)
from tests_app.actions.superseding import supersede_record
from tests_app.models import Record
from tests_app.queries.records import steps_of
from tests_app.queries.unproven import Unproven, unproven_of

pytestmark = pytest.mark.django_db
LATER = STARTED + timedelta(days=10)


def of(record: Record) -> dict[str, Unproven]:
    return {one.position.name: one for one in unproven_of(record, steps_of(record))}


def test_what_a_passing_line_proves_is_left_out_and_everything_else_installed_is_named(world: World):
    left = of(a_judged_draft(world))
    installed = {position.name for position in world.stack.positions.all()}
    assert set(left) == installed - {"Upper pipe ram"}
    assert left["Lower pipe ram"].last is None


def test_each_carries_its_last_passing_signed_test(world: World):
    first = a_sealed_record(world)
    a_judged_draft(world, at=STARTED + timedelta(days=5))
    assert of(a_draft(world, at=LATER))["Upper pipe ram"].last == first


def test_a_later_test_it_did_not_pass_is_told_beside_its_last_proof(world: World):
    first = a_sealed_record(world)
    failed = a_sealed_record(world, curve=leaking(), at=STARTED + timedelta(days=5))
    upper = of(a_draft(world, at=LATER))["Upper pipe ram"]
    assert (upper.last, upper.failed_since) == (first, failed)


def test_what_this_test_leaves_failed_is_not_proven_by_it_though_another_side_passed(world: World):
    record = a_draft(world)
    for side, curve in (("below", good()), ("above", leaking())):
        step = a_step(record, world, "Upper pipe ram", side=side)
        a_recording(record, world, curve, step=step, file_name=f"{side}.csv")
    assert of(record)["Upper pipe ram"].failed_here


def test_a_corrected_test_proves_nothing(world: World):
    wrong = a_sealed_record(world)
    correction = supersede_record(wrong, reason="Another ram", by=world.supervisor, at=CONCLUDED + timedelta(days=1))
    assert of(correction).get("Lower pipe ram") is not None
    signed(concluded(correction, world), world, at=CONCLUDED + timedelta(days=1))
    assert of(a_draft(world, at=LATER))["Upper pipe ram"].last == correction


def test_the_seal_keeps_what_was_not_proven_as_it_stood(world: World):
    a_sealed_record(world)
    later = a_draft(world, at=LATER)
    lower = a_step(later, world, "Lower pipe ram", at=LATER)
    a_recording(later, world, good(), step=lower, at=LATER + timedelta(hours=2))
    signed(concluded(later, world, at=LATER), world)
    later.refresh_from_db()
    kept = {one["position"]: one for one in json.loads(later.content)["unproven"]}
    assert kept["Upper pipe ram"]["last_proved"]["record"] == 1
    assert "Lower pipe ram" not in kept


def test_the_number_of_queries_does_not_grow_with_the_tests_before(world: World, django_assert_num_queries):
    for day in range(3):
        a_sealed_record(world, at=STARTED + timedelta(days=day))
    record = a_draft(world, at=LATER)
    with django_assert_num_queries(4):
        unproven_of(record, [])
