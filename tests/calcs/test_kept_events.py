"""What is left of a history when only the events its date hangs on are kept, and when its state changes by itself."""

import datetime as dt
import random
from collections.abc import Sequence
from zoneinfo import ZoneInfo

import pytest

from calcs.kept_events import Clock, attention_at, kept, standing
from calcs.recurrence import Deadline, Deferred, Event, EventKind, Happened, Interval, Section, State, Tested, due

HOUR = dt.timedelta(hours=1)
DAY = 24 * HOUR
BEGINS = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
CHICAGO = ZoneInfo("America/Chicago")
FORTNIGHT = Interval.parse("14 d")
FORGET = dt.timedelta(days=3)
PLAIN = Clock(FORTNIGHT, Deadline.MIDNIGHT, CHICAGO, FORGET)
CLOCKS = [
    PLAIN,
    Clock(Interval.parse("7 d"), Deadline.EXACT, ZoneInfo("Europe/Oslo"), None),
    Clock(Interval.parse("1 month"), Deadline.MIDNIGHT, ZoneInfo("Australia/Sydney"), FORGET),
    Clock(None, None, CHICAGO, None),
]


def an_event(chance: random.Random) -> Event:
    at = BEGINS + chance.randint(0, 40 * 24) * HOUR
    kind = chance.random()
    if kind < 0.6:
        return a_test(chance, at)
    if kind < 0.7:
        return Section(at, chance.choice([None, 100.0, 200.0, 300.0]))
    if kind < 0.8:
        return Deferred(at, at + chance.randint(1, 20 * 24) * HOUR)
    untested = [one for one in EventKind if one not in (EventKind.TESTED, EventKind.SECTION, EventKind.DEFERRED)]
    return Happened(chance.choice(untested), at)


def a_test(chance: random.Random, started: dt.datetime) -> Tested:
    if chance.random() < 0.15:
        return Tested(started, passed=chance.choice([None, False]))
    over = started + chance.randint(1, 72) * HOUR
    short = "held too low" if chance.random() < 0.1 else ""
    return Tested(started, over, chance.random() < 0.7, chance.choice([None, 100.0, 200.0, 300.0]), short)


def a_history(seed: int) -> tuple[random.Random, list[Event]]:
    chance = random.Random(seed)
    return chance, [an_event(chance) for _ in range(chance.randint(0, 25))]


def answer(clock: Clock, history: Sequence[Event], at: dt.datetime) -> object:
    return clock.due(history, at=at)


@pytest.mark.parametrize("block", range(4))
def test_what_is_kept_answers_as_the_whole_history_at_every_later_moment(block: int):
    for seed in range(block * 1_000, (block + 1) * 1_000):
        chance, history = a_history(seed)
        clock = chance.choice(CLOCKS)
        at = BEGINS + chance.randint(-24, 45 * 24) * HOUR
        left = kept(history, at=at, forget=clock.forget)
        for later in [at, *(at + chance.randint(0, 70 * 24) * HOUR for _ in range(6))]:
            assert answer(clock, left, later) == answer(clock, history, later), (seed, at, later)


def test_years_of_tests_leave_only_a_few():
    tests = [Tested(BEGINS + n * 12 * DAY, BEGINS + n * 12 * DAY + HOUR, n % 9 != 0) for n in range(200)]
    history: list[Event] = [Happened(EventKind.INSTALLED, BEGINS - DAY), *tests]
    assert len(kept(history, at=BEGINS + 3_000 * DAY)) == 2  # installed, last passed


@pytest.mark.parametrize("block", range(2))
def test_the_state_stays_as_it_is_until_the_moment_of_attention_and_changes_then(block: int):
    for seed in range(10_000 + block * 200, 10_000 + (block + 1) * 200):
        chance, history = a_history(seed)
        clock = chance.choice(CLOCKS)
        at = BEGINS + chance.randint(-24, 45 * 24) * HOUR
        found = attention_at(clock, history, at=at)
        now = clock.due(history, at=at)
        steps = [at + n * HOUR for n in range(1, 90 * 24, 7)]
        before = [one for one in steps if found is None or one < found]
        for one in before:
            assert standing(clock.due(history, at=one)) == standing(now), (seed, one)
        if found is not None:
            assert standing(clock.due(history, at=found)) != standing(now), seed


def test_a_date_calls_for_attention_when_it_comes_near_and_when_it_passes():
    history = [Tested(BEGINS, BEGINS + HOUR, True)]
    limit = due(FORTNIGHT, Deadline.MIDNIGHT, history, at=BEGINS + DAY, zone=CHICAGO).due_at
    soon = attention_at(PLAIN, history, at=BEGINS + DAY)
    assert soon == limit - 3 * DAY
    assert attention_at(PLAIN, history, at=soon) == limit
    assert attention_at(PLAIN, history, at=limit) is None


def test_a_test_nobody_concluded_calls_for_attention_when_it_is_forgotten():
    history = [Tested(BEGINS, BEGINS + HOUR, True), Tested(BEGINS + 13 * DAY)]
    at = BEGINS + 14 * DAY
    assert PLAIN.due(history, at=at).state is State.IN_PROGRESS
    found = attention_at(PLAIN, history, at=at)
    assert found == BEGINS + 13 * DAY + FORGET + dt.timedelta(microseconds=1)
    assert PLAIN.due(history, at=found).state is State.OVERDUE


def test_without_an_interval_only_events_call_for_it():
    clock = Clock(None, None, CHICAGO)
    called = [Happened(EventKind.INSTALLED, BEGINS)]
    assert clock.due(called, at=BEGINS + DAY).state is State.DUE_NOW
    done = [*called, Tested(BEGINS + DAY, BEGINS + DAY + HOUR, True)]
    found = clock.due(done, at=BEGINS + 4_000 * DAY)
    assert (found.state, found.due_at) == (State.IN_DATE, None)
    assert "no interval runs" in found.reason
    again = [*done, Happened(EventKind.REPAIRED, BEGINS + 50 * DAY)]
    assert clock.due(again, at=BEGINS + 51 * DAY).state is State.DUE_NOW
