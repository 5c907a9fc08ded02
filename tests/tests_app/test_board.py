"""The fleet board counts by SQL what `calcs.recurrence.due` says of each obligation, and asks no more for more rigs."""

import itertools
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from calcs.recurrence import Deadline, Deferred, Event, EventKind, Happened, Interval, State, Tested
from calcs.stated import Stated
from equipment.models import Rig
from tests import builders
from tests_app.models import Notice, Obligation, Postponement, Reckoning, What
from tests_app.queries.board import NAMED_PER_RIG, board
from tests_app.queries.deriving.derived import Derived, Requirement, Subject
from tests_app.queries.due_items import NEVER_TESTED, NOT_PASSED, DueItem
from tests_app.queries.obligations import as_row, obligations_of, stand

WORKED = datetime(2026, 3, 20, 15, tzinfo=UTC)
"""Twelve days after clocks went forward in Chicago; two- and three-week intervals reach across that."""
SEED = 20260320
ROWS = 400
RIGS = [("Quiet Mast", "us-ocs"), ("Loud Mast", "us-ocs"), ("Dark Mast", "")]
LATER = [timedelta(0), timedelta(hours=1), timedelta(days=2), timedelta(days=3, minutes=1), timedelta(days=9)]


def a_history(chance: random.Random) -> tuple[Event, ...]:
    """Return what happened to one item in the six weeks before it was worked out, in no order."""
    events: list[Event] = []
    for _ in range(chance.randint(0, 5)):
        when = WORKED - timedelta(minutes=chance.randint(0, 42 * 24 * 60))
        over = min(when + timedelta(hours=chance.randint(0, 6)), WORKED)
        made: list[Event] = [
            Happened(EventKind.INSTALLED, when),
            Happened(EventKind.REPAIRED, when),
            Tested(when, over, True),
            Tested(when, over, True),
            Tested(when, over, False),
            Tested(when),
            Deferred(when, when + timedelta(days=chance.randint(1, 40))),
            Happened(EventKind.OUT_OF_SERVICE, when),
            Happened(EventKind.BACK_IN_SERVICE, when),
        ]
        events.append(chance.choice(made))
    return tuple(events)


def some_stated(chance: random.Random) -> Stated | None:
    """Return now and then a date that stands on a paper, or what is open or settled since a moment."""
    limit = WORKED + timedelta(hours=chance.randint(-400, 400))
    return chance.choice(
        [None] * 7 + [Stated("The paper", limit=limit), Stated("Open.", since=limit - timedelta(days=20), is_open=True)]
    )


def some_obligations(rig: Rig, chance: random.Random) -> Iterator[Obligation]:
    for number in range(ROWS):
        interval, deadline = chance.choice(
            [("14 d", "midnight"), ("21 d", "exact"), ("7 d", "midnight"), ("336 h", "exact"), ("1 month", "midnight")]
        )
        stated = some_stated(chance)
        yield as_row(
            Derived(
                what=What.PRESSURE,
                subject=Subject(key=f"installation-{number}", name=f"Element {number}"),
                requirement=Requirement(Interval.parse(interval), Deadline(deadline)),
                history=() if stated else a_history(chance),
                stated=stated,
                out_of_tolerance=chance.choice([""] * 9 + ["bottle 3 low"]),
                error=chance.choice([""] * 19 + ["No rule was found for it."]),
                stops_operations=chance.random() < 0.8,
            ),
            rig,
            WORKED,
        )


def plainly(items: list[DueItem], at: datetime) -> dict[str, Any]:
    """Count as the words of the board say, from how each obligation stands."""
    known = [item for item in items if item.due is not None and not item.error]
    overdue = [item for item in known if item.due.state is State.OVERDUE]
    ahead = [item for item in known if item.state in (State.IN_DATE, State.DUE_SOON) and item.due.due_at]
    return {
        "overdue": len(overdue),
        "due_now": sum(item.state in (State.DUE_NOW, NEVER_TESTED, NOT_PASSED) for item in known),
        "next_days": sum(item.due.due_at < at + timedelta(days=7) for item in ahead),
        "unknown": len(items) - len(known),
        "deferred": sum(item.due.original_due_at is not None and item.due.due_at > at for item in known),
        "oldest_at": min((item.due.due_at for item in overdue), default=None),
        "stopping": sum(item.stops_operations for item in overdue),
    }


def test_the_counts_are_those_of_each_obligation_looked_at_alone(db: None):
    rig = builders.a_rig()
    Obligation.objects.filter(rig=rig).delete()
    rows = Obligation.objects.bulk_create(some_obligations(rig, random.Random(SEED)))
    for at in (WORKED + later for later in LATER):
        items = [stand(row, at) for row in rows]
        expected = plainly(items, at)
        [found] = board(Rig.objects.filter(pk=rig.pk), at=at)
        assert {name: getattr(found, name) for name in expected} == expected, at
        assert min(expected[name] for name in ("overdue", "due_now", "next_days", "unknown", "deferred")) > 0
        longest = sorted(
            (i for i in items if i.state == State.OVERDUE and i.stops_operations), key=lambda i: i.due.due_at
        )
        assert found.stopping_named == tuple(f"Pressure test, {item.subject}" for item in longest[:NAMED_PER_RIG])


def some_postponements(rows: list[Obligation], chance: random.Random) -> Iterator[Postponement]:
    """Have tests wait: called for before now, in time, or not yet; some of them twice, some ended."""
    for row in chance.sample(rows, ROWS // 2):
        for _ in range(chance.choice([1, 1, 2])):
            made = WORKED - timedelta(hours=chance.randint(1, 300))
            called = chance.choice([None, made + timedelta(hours=chance.randint(0, 200))])
            ended = chance.choice([None, None, None, made + timedelta(hours=chance.randint(0, 200))])
            yield Postponement(
                rig=row.rig,
                obligation_key=row.key,
                made_at=made,
                called_at=called,
                ended_at=ended,
                ended_reason="Safe again" if ended else "",
                entered_at=made,
                entered_by="Ida Storm",
            )


def test_what_waited_and_was_called_for_counts_as_due_at_once(db: None):
    rig = builders.a_rig()
    Obligation.objects.filter(rig=rig).delete()
    chance = random.Random(SEED + 1)
    rows = Obligation.objects.bulk_create(some_obligations(rig, chance))
    plain = [board(Rig.objects.filter(pk=rig.pk), at=WORKED + later)[0] for later in LATER]
    Postponement.objects.bulk_create(some_postponements(rows, chance))
    for at, without in zip((WORKED + later for later in LATER), plain, strict=True):
        expected = plainly([stand(row, at) for row in obligations_of(rig)], at)
        [found] = board(Rig.objects.filter(pk=rig.pk), at=at)
        assert {name: getattr(found, name) for name in expected} == expected, at
        assert found.due_now > without.due_now
        assert found.next_days < without.next_days or found.deferred < without.deferred


def test_a_fleet_of_fifty_asks_no_more_than_one_of_two(
    db: None, client: Client, django_assert_max_num_queries: DjangoAssertNumQueries
):
    client.force_login(builders.a_person(superuser=True))
    counts = []
    for size in (2, 50):
        missing = size - Rig.objects.count()
        made = Rig.objects.bulk_create(
            Rig(name=f"Mast {size}-{n}", kind="land", time_zone="UTC", created_at=WORKED) for n in range(missing)
        )
        chance = random.Random(size)
        Obligation.objects.bulk_create(
            row for rig in made for row in itertools.islice(some_obligations(rig, chance), 9)
        )
        with django_assert_max_num_queries(20) as met:
            assert client.get("/").status_code == 200
        counts.append(len(met))
    assert counts[0] == counts[1]


def test_the_worst_rig_stands_first_and_each_count_leads_to_its_rows(db: None, client: Client):
    quiet, loud, dark = (builders.a_rig(name, rules=rules) for name, rules in RIGS)
    client.force_login(builders.a_person(superuser=True))
    now = timezone.now()
    for rig in (quiet, loud):
        Reckoning.objects.update_or_create(rig=rig, defaults={"worked_at": now})
    Obligation.objects.create(
        rig=loud,
        key="drill/rig-1",
        what=What.DRILL,
        subject="Each crew",
        due_at=now - timedelta(days=3),
        counts_from=now - timedelta(days=10),
        worked_at=now,
    )
    Notice.objects.create(
        rig=loud,
        obligation_key="drill/rig-1",
        what=What.DRILL,
        stage="overdue",
        occasion="x",
        hours_past=0,
        subject="Each crew",
        headline="Overdue",
        created_at=now,
    )
    page = client.get("/").content.decode()
    places = [page.rindex(f">{rig.name}</a>") for rig in (loud, dark, quiet)]
    assert places == sorted(places)
    front = reverse("tests_app:rig", args=[loud.pk])
    assert f'<a href="{front}?when=overdue">1</a>' in page
    assert f'<a href="{reverse("tests_app:rig-alerts", args=[loud.pk])}">1</a>' in page
    assert "Drill, Each crew" in page
    assert "No rules chosen" in page
    assert client.get("/", {"standing": "overdue"}).content.decode().count('data-label="Standing"') == 1
    assert "Quiet Mast,Jack-up,In date,0,0,0" in client.get("/", {"export": "csv"}).content.decode()
