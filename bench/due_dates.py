"""How long due dates take to work out, against the least any way must do: read the history, add the interval.

Each item has a history of thirty events, in no order, as a rig some years old has them. The question names how many
items are asked about, so that the time in the table gives the dates a second: 10,000 a second and core is the aim.
"""

import datetime as dt
import random
from collections.abc import Sequence
from typing import Final
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta

from bench.contest import Contest
from calcs.recurrence import Deadline, Event, EventKind, Happened, Interval, Section, Tested, due

ITEMS: Final = 2_000
TESTS: Final = 27
ZONE: Final = ZoneInfo("America/Chicago")
FIRST: Final = dt.datetime(2025, 1, 1, 8, tzinfo=dt.UTC)
NOW: Final = FIRST + dt.timedelta(days=13 * TESTS + 5)
FORTNIGHT: Final = Interval.parse("14 d")
BAR_PA: Final = 1e5
LIMIT: Final = 3.0


def contests() -> list[Contest]:
    """Ask for the dates of many items by each way an interval can end."""
    histories = fleet()
    return [contest(histories, deadline) for deadline in Deadline]


def contest(histories: Sequence[Sequence[Event]], deadline: Deadline) -> Contest:
    """Every item against its latest passing conclusion with the interval added, and nothing said about it."""
    return Contest(
        question=f"{len(histories):,} due dates of {len(histories[0])} events each, {deadline.value}",
        ours=lambda: [due(FORTNIGHT, deadline, history, at=NOW, zone=ZONE) for history in histories],
        floor=lambda: [bare(history) for history in histories],
        floor_is="latest pass found, 14 days added by dateutil",
        limit=LIMIT,
    )


def fleet() -> list[list[Event]]:
    """Return the histories of a fleet: a test about every fortnight, some failed, a repair, a section, all shuffled."""
    chance = random.Random(7)
    return [history(chance) for _ in range(ITEMS)]


def history(chance: random.Random) -> list[Event]:
    """Return what happened to one item."""
    events: list[Event] = [Happened(EventKind.INSTALLED, FIRST)]
    events += [Happened(EventKind.REPAIRED, FIRST + dt.timedelta(days=chance.randrange(1, 200)))]
    events += [Section(FIRST + dt.timedelta(days=50), 290 * BAR_PA)]
    for number in range(TESTS):
        started = FIRST + dt.timedelta(days=13 * number, hours=chance.randrange(24))
        ended = started + dt.timedelta(hours=6)
        events.append(Tested(started, ended, chance.random() > 0.1, chance.choice((280, 300)) * BAR_PA))
    chance.shuffle(events)
    return events


def bare(history: Sequence[Event]) -> dt.datetime:
    """Return the midnight after the last day, by the latest passing test and nothing else."""
    passes = [one.concluded for one in history if isinstance(one, Tested) and one.passed and one.concluded]
    last = max((moment for moment in passes if moment <= NOW), default=FIRST).astimezone(ZONE)
    midnight = last.replace(hour=0, minute=0, second=0, microsecond=0) + relativedelta(days=FORTNIGHT.count + 1)
    return midnight.astimezone(dt.UTC).astimezone(ZONE)
