"""One question of the bench: our way against a floor that no way could go below, measured in the same run."""

import time
from collections.abc import Callable, Sequence
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
        things: how many things the job is done for, to tell how many a second; 0 where that says nothing.
    """

    question: str
    ours: Callable[[], object]
    floor: Callable[[], object]
    floor_is: str
    limit: float
    rounds: int = 7
    things: int = 0


@dataclass(frozen=True)
class Outcome:
    """What a contest came to: the times of either way, in seconds, the shortest first."""

    contest: Contest
    times: Sequence[float]
    floor_times: Sequence[float]

    @property
    def ours(self) -> float:
        """The best time of ours."""
        return self.times[0]

    @property
    def floor(self) -> float:
        """The best time of the floor."""
        return self.floor_times[0]

    @property
    def ratio(self) -> float:
        """How many times the floor's time ours took."""
        return self.ours / self.floor

    @property
    def kept(self) -> bool:
        """Whether the limit was kept."""
        return self.ratio <= self.contest.limit

    def within(self, share: float) -> float:
        """Return the time that share of the rounds of ours was done within: 0.5 for the usual round."""
        return self.times[min(round(share * len(self.times)), len(self.times) - 1)]


@dataclass(frozen=True)
class Bound:
    """Something counted or weighed and not timed, and what it must not pass."""

    question: str
    found: float
    limit: float
    unit: str

    @property
    def kept(self) -> bool:
        """Whether the limit was kept."""
        return self.found <= self.limit


def held(contest: Contest) -> Outcome:
    """Time both ways by turns, so that a slow moment of the machine strikes both."""
    ours, floor = [], []
    for _ in range(contest.rounds):
        floor.append(_seconds(contest.floor))
        ours.append(_seconds(contest.ours))
    return Outcome(contest, sorted(ours), sorted(floor))


def _seconds(way: Callable[[], object]) -> float:
    started = time.perf_counter()
    way()
    return time.perf_counter() - started
