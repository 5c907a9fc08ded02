"""How often kinds of components failed: what counts as a failure, and over what."""

from datetime import timedelta

import pytest

from tests.builders_defects import LATER, a_defect, a_defect_by_hand, a_passing_line, disposed
from tests.builders_tests_app import World
from tests_app.queries.failure_counts import KindCount, failure_counts

pytestmark = pytest.mark.django_db
UNTIL = LATER + timedelta(days=1)
SINCE = UNTIL - timedelta(days=10)


def of_kind(world: World, kind: str, **period) -> KindCount:
    counts = failure_counts(world.rig, **{"since": SINCE, "until": UNTIL, **period})
    return next(one for one in counts if one.kind == kind)


def test_days_in_service_are_counted_over_every_component_of_the_kind(world: World):
    assert of_kind(world, "annular").in_service == pytest.approx(10)
    assert of_kind(world, "choke-valve").in_service == pytest.approx(20), "two of them stand on the stack"


def test_failures_are_counted_over_days_and_over_tests(world: World):
    a_defect(world)
    a_passing_line(world)
    ram = of_kind(world, "pipe-ram")
    assert (ram.defects, ram.pressed, ram.pressed_failed, ram.worked) == (1, 2, 1, 0)
    assert ram.by_time.between == pytest.approx(10)
    assert ram.by_pressure_test.rate == pytest.approx(0.5)
    assert ram.by_function_test is None


def test_what_never_failed_has_a_limit_and_no_mean(world: World):
    annular = of_kind(world, "annular").by_time
    assert annular.between is None
    assert annular.between_low == pytest.approx(10 / 3.689, rel=1e-3)


def test_what_was_entered_in_error_or_found_at_another_time_is_no_failure(world: World):
    disposed(world, a_defect(world), disposition="in-error")
    component = world.at("Annular").installations.get().component
    a_defect_by_hand(world, component)
    assert of_kind(world, "pipe-ram").defects == 0
    assert of_kind(world, "annular").defects == 1
    assert of_kind(world, "annular", until=SINCE + timedelta(days=1)).defects == 0
