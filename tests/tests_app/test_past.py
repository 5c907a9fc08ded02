"""What was so: how a rig stood at a moment, every time a requirement was not met, and that both say the same."""

import random
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calcs.conditions import Condition, in_utc
from equipment.actions import installations
from tests import builders
from tests.builders_tests_app import STARTED, World, a_judged_draft, a_sealed_record, leaking, signed
from tests.builders_work import a_deferral, key_of
from tests_app.actions import programmes
from tests_app.models import What
from tests_app.queries.compliance import alike, stretches, together, totals_of
from tests_app.queries.courses import Course
from tests_app.queries.origins import Origins
from tests_app.queries.past import Past, exceeded, standing_at
from tests_app.queries.rules_followed import edition_at, rules_followed

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
LAPSED = datetime(2026, 3, 17, 5, tzinfo=UTC)
"""2 March + 14 days = the 16th; its end in Chicago, on daylight saving time since the 8th."""


def past_of(world: World, *, since: datetime = STARTED - 30 * DAY, until: datetime = STARTED + 40 * DAY) -> Past:
    return exceeded(world.rig, since, until)


def course(past: Past, name: str = "Upper pipe ram", what: What = What.PRESSURE) -> Course:
    return next(one for one in past.courses if one.what is what and one.subject.name == name)


def outline(past: Past, name: str = "Upper pipe ram") -> list[tuple[Condition, datetime, datetime | None]]:
    return [(gap.exceedance.condition, gap.exceedance.begin, gap.exceedance.end) for gap in course(past, name).gaps]


def test_a_test_made_late_leaves_a_gap_with_its_length_its_clause_and_the_record_that_ended_it(world: World):
    a_sealed_record(world)
    late = a_sealed_record(world, at=STARTED + 20 * DAY)
    never, gap = course(past_of(world, until=STARTED + 30 * DAY)).gaps
    assert (never.exceedance.condition, never.exceedance.end) == (Condition.OPEN, STARTED)
    assert (gap.exceedance.begin, gap.exceedance.end) == (LAPSED, late.concluded_at)
    assert gap.requirement is not None
    assert gap.requirement.clause == "30 CFR 250.737(a)(2)"
    origin = Origins.of(world.rig).find(gap.exceedance.ended_by, gap.what, gap.subject, gap.key)
    assert origin is not None
    assert (origin.place, origin.pk, origin.words) == ("record", late.pk, f"Test {late.number}")


def test_a_test_that_failed_ends_no_gap(world: World):
    a_sealed_record(world)
    a_sealed_record(world, curve=leaking(), at=STARTED + 20 * DAY)
    assert outline(past_of(world))[-1] == (Condition.OVERDUE, LAPSED, None)


def test_what_was_taken_out_counts_for_the_time_it_stood_and_the_place_goes_on_with_what_came_after(world: World):
    a_sealed_record(world)
    out, again = STARTED + 18 * DAY, STARTED + 21 * DAY
    old = world.at("Upper pipe ram").installations.get()
    installations.remove_component(old, removed_at=out, reason="Worn", by=world.supervisor, at=out)
    builders.an_installation(world.at("Upper pipe ram"), installed_at=again, at=again)
    past = past_of(world)
    found = course(past)
    assert [(gap.exceedance.begin, gap.exceedance.end) for gap in found.gaps[-2:]] == [(LAPSED, out), (again, None)]
    assert found.gaps[-2].exceedance.ended.endswith("taken out")
    assert str(old.component) in found.gaps[-2].subject.detail
    assert len(found.details) == 2
    assert sum(one.what is What.PRESSURE and one.subject.name == "Upper pipe ram" for one in past.courses) == 1


def test_a_deferral_is_told_and_not_counted(world: World):
    a_sealed_record(world)
    a_deferral(world, key_of(world, "pressure-test", "Upper pipe ram"), at=LAPSED - DAY, until=LAPSED + 2 * DAY)
    past = past_of(world)
    assert outline(past)[-2:] == [
        (Condition.DEFERRED, LAPSED, LAPSED + 2 * DAY),
        (Condition.OVERDUE, LAPSED + 2 * DAY, None),
    ]
    assert all(gap.exceedance.counted for gap in past.exceeded)
    assert totals_of(past).deferred == 1


def test_before_a_moment_in_time_it_was_in_date_and_after_it_was_not(world: World):
    a_sealed_record(world)
    key = key_of(world, "pressure-test", "Upper pipe ram")
    for at, condition in ((LAPSED - timedelta(seconds=1), Condition.IN_DATE), (LAPSED, Condition.OVERDUE)):
        row = next(row for row in standing_at(world.rig, at).rows if row.derived.key == key)
        assert row.condition is condition


def test_a_test_signed_later_counts_for_the_day_as_known_now_and_not_as_known_then(world: World):
    a_sealed_record(world)
    draft = a_judged_draft(world, at=STARTED + 10 * DAY)
    signed(draft, world, at=STARTED + 25 * DAY)
    key, at = key_of(world, "pressure-test", "Upper pipe ram"), STARTED + 20 * DAY
    now, then = (
        next(row for row in standing_at(world.rig, at, known).rows if row.derived.key == key) for known in (None, at)
    )
    assert (now.condition, then.condition) == (Condition.IN_DATE, Condition.OVERDUE)


def test_what_was_judged_is_judged_by_the_rules_of_its_day(world: World):
    changed = STARTED + 5 * DAY
    programmes.choose_edition(world.rig, edition="api53-4/2012", reason="New well", by=world.supervisor, at=changed)
    first, second = rules_followed(world.rig)
    assert [edition_at(world.rig, at=changed + wait).id for wait in (-DAY, DAY)] == [first.edition, second.edition]
    a_sealed_record(world)
    clauses = {piece.derived.requirement.clause for piece in course(past_of(world)).pieces if piece.derived.requirement}
    assert len(clauses) == 2


def test_the_strip_and_the_answer_for_a_moment_are_the_same_for_every_requirement_at_any_moment(world: World):
    """A past in which much happens; every moment asked for must be told alike by the two ways of working it out."""
    a_sealed_record(world)
    a_sealed_record(world, curve=leaking(), at=STARTED + 9 * DAY)
    a_sealed_record(world, at=STARTED + 19 * DAY)
    ram = world.at("Upper pipe ram").installations.get()
    builders.a_service_event(ram.component, finished_at=STARTED + 22 * DAY, at=STARTED + 22 * DAY)
    annular = world.at("Annular").installations.get()
    at = STARTED + 12 * DAY
    installations.remove_component(annular, removed_at=at, reason="Worn", by=world.supervisor, at=at)
    builders.an_installation(world.at("Annular"), installed_at=at + DAY, at=at + DAY)
    since, until = STARTED - 5 * DAY, STARTED + 30 * DAY
    past = past_of(world, since=since, until=until)
    edges = [in_utc(span.begin) for one in past.courses for span in one.spans if since <= span.begin < until]
    chance = random.Random(7)
    moments = [*chance.sample(sorted(set(edges)), 5), *(since + chance.random() * (until - since) for _ in range(5))]
    for moment in moments:
        asked = {row.derived.key: row.condition for row in standing_at(world.rig, moment).rows}
        assert asked
        told = {key: condition for one in past.courses for key, condition in told_at(one, moment)}
        assert told == asked, moment


def told_at(one: Course, moment: datetime) -> list[tuple[str, Condition]]:
    piece = [piece for piece in one.pieces if piece.begin <= moment < piece.end]
    span = [s for s in one.spans if in_utc(s.begin) <= moment and (s.end is None or moment < in_utc(s.end))]
    assert len(piece) == len(span) <= 1
    return [(piece[0].derived.key, span[0].condition)] if piece else []


def test_gaps_that_were_the_same_thing_stand_together(world: World):
    groups = alike(past_of(world).exceeded)
    assert max(len(group) for group in groups) > 5, "a whole stack was never tested"
    assert sum(len(group) for group in groups) == len(past_of(world).exceeded)


def test_the_time_anything_was_not_met_is_counted_once(world: World):
    past = past_of(world)
    whole = stretches(past)
    assert whole == [(in_utc(past.since), in_utc(past.until))]
    noon = STARTED
    assert together([(noon, noon + 3 * DAY), (noon + DAY, noon + 2 * DAY)]) == [(noon, noon + 3 * DAY)]


def test_records_take_no_query_each(world: World):
    def counted() -> int:
        with CaptureQueriesContext(connection) as queries:
            past_of(world)
        return len(queries)

    a_sealed_record(world)
    before = counted()
    for days in (10, 20, 30):
        a_sealed_record(world, at=STARTED + days * DAY)
    assert counted() == before
