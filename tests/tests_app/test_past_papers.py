"""Calibrations and documents that ran out and were since renewed: told for the time they were out of date."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from calcs.conditions import Condition
from equipment.actions import instruments
from equipment.models import Instrument
from tests import builders
from tests.builders_tests_app import World, a_world
from tests_app.models import What
from tests_app.queries.courses import Course
from tests_app.queries.past import Past, exceeded, standing_at

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return a_world()


def local(*day: int) -> datetime:
    return datetime(*day, tzinfo=ZoneInfo("America/Chicago"))


def past_of(world: World) -> Past:
    return exceeded(world.rig, local(2025, 10, 1), local(2026, 4, 1))


def course(past: Past, name: str, what: What) -> Course:
    return next(one for one in past.courses if one.what is what and one.subject.name == name)


def gaps_of(past: Past, what: What) -> list[tuple[str, datetime, datetime | None, str]]:
    return [
        (gap.subject.name, gap.exceedance.begin, gap.exceedance.end, gap.exceedance.ended)
        for gap in sorted(past.gaps, key=lambda gap: gap.exceedance.begin)
        if gap.what is what
    ]


def a_recorder(world: World) -> Instrument:
    return builders.an_instrument(
        world.rig,
        serial="R-9",
        calibrated_on=date(2025, 6, 1),
        calibration_due_on=date(2025, 12, 1),
        at=local(2025, 6, 2),
    )


def test_a_calibration_made_late_and_since_renewed_again_is_still_told(world: World):
    recorder = a_recorder(world)
    facts = {"by": world.supervisor, "at": local(2026, 3, 20)}
    instruments.amend_instrument(
        recorder, calibrated_on=date(2025, 12, 20), calibration_due_on=date(2026, 3, 1), **facts
    )
    instruments.amend_instrument(
        recorder, calibrated_on=date(2026, 3, 10), calibration_due_on=date(2027, 3, 10), **facts
    )
    past = past_of(world)
    ended = f"{recorder} calibrated"
    assert gaps_of(past, What.CALIBRATION) == [
        (str(recorder), local(2025, 12, 2), local(2025, 12, 20), ended),
        (str(recorder), local(2026, 3, 2), local(2026, 3, 10), ended),
    ]
    assert course(past, str(recorder), What.CALIBRATION).spans[-1].condition is Condition.IN_DATE


def test_a_calibration_put_right_counts_as_put_right_and_one_taken_back_not_at_all(world: World):
    recorder = a_recorder(world)
    for at, facts in (
        (local(2025, 12, 10), {"calibrated_on": date(2025, 12, 9), "calibration_due_on": date(2026, 1, 9)}),
        (local(2025, 12, 11), {"calibration_due_on": date(2026, 6, 9)}),  # a slip of the pen
        (local(2025, 12, 12), {"calibrated_on": date(2025, 6, 1), "calibration_due_on": date(2025, 12, 1)}),  # not so
        (local(2026, 1, 7), {"calibrated_on": date(2026, 1, 5), "calibration_due_on": date(2027, 1, 5)}),
    ):
        instruments.amend_instrument(recorder, by=world.supervisor, at=at, **facts)
    past = past_of(world)
    [gap] = gaps_of(past, What.CALIBRATION)
    assert gap[1:3] == (local(2025, 12, 2), local(2026, 1, 5))


def test_how_a_calibration_stood_is_told_as_known_then_and_as_known_now(world: World):
    recorder = a_recorder(world)
    instruments.amend_instrument(
        recorder,
        calibrated_on=date(2025, 11, 20),
        calibration_due_on=date(2026, 11, 20),
        by=world.supervisor,
        at=local(2025, 12, 24),
    )
    at = local(2025, 12, 10)

    def stood(known_at: datetime | None) -> Condition:
        rows = standing_at(world.rig, at, known_at).rows
        return next(row.condition for row in rows if row.derived.subject.name == str(recorder))

    assert (stood(None), stood(at)) == (Condition.IN_DATE, Condition.OVERDUE)


def test_a_document_renewed_late_is_still_told_and_the_one_that_renews_it_goes_on(world: World):
    component = world.at("Annular").installations.get().component
    first = builders.a_document(
        component, title="Conformity", issued_on=date(2024, 1, 10), expires_on=date(2026, 1, 10), at=local(2025, 2, 1)
    )
    builders.a_document(
        component,
        title="Conformity",
        issued_on=date(2026, 2, 1),
        expires_on=date(2026, 3, 1),
        follows=first,
        at=local(2026, 3, 5),
    )
    past = past_of(world)
    assert gaps_of(past, What.DOCUMENT) == [
        ("Conformity", local(2026, 1, 11), local(2026, 2, 1), "Conformity renewed"),
        ("Conformity", local(2026, 3, 2), None, "Not ended"),
    ]
    assert course(past, "Conformity", What.DOCUMENT).spans
    pressure = course(past, "Annular", What.PRESSURE)
    assert len(pressure.pieces) == 1, "its tests go on, whatever becomes of its papers"
