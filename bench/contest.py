"""One question of the bench: our way against a floor that no way could go below, measured in the same run."""

import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Contest:
    """Two ways to be timed against each other.

    Attributes:
        question: what is asked, as it stands in the table.
        ours: does the job once.
        floor: does the least that any way must do, once.
        floor_is: what the floor is, in a few words.
        limit: how many times the floor's time ours may take.
        rounds: how often each is timed; the best time of each counts, since only disturbance makes one slower.
    """

    question: str
    ours: Callable[[], object]
    floor: Callable[[], object]
    floor_is: str
    limit: float
    rounds: int = 7


@dataclass(frozen=True)
class Outcome:
    """What a contest came to, in seconds."""

    contest: Contest
    ours: float
    floor: float

    @property
    def ratio(self) -> float:
        """How many times the floor's time ours took."""
        return self.ours / self.floor

    @property
    def kept(self) -> bool:
        """Whether the limit was kept."""
        return self.ratio <= self.contest.limit


def held(contest: Contest) -> Outcome:
    """Time both ways by turns, so that a slow moment of the machine strikes both."""
    ours, floor = [], []
    for _ in range(contest.rounds):
        floor.append(_seconds(contest.floor))
        ours.append(_seconds(contest.ours))
    return Outcome(contest, min(ours), min(floor))


def _seconds(way: Callable[[], object]) -> float:
    started = time.perf_counter()
    way()
    return time.perf_counter() - started
