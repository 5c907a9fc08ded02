"""What is moved between two line-ups. Loads no solver, so that pages can ask."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from calcs.lineups import LineUp, System


@dataclass(frozen=True, slots=True)
class Movements:
    """What is closed and what is opened between two line-ups, in the order of the system."""

    close: tuple[str, ...]
    open: tuple[str, ...]

    def __len__(self) -> int:
        """Return how many elements move."""
        return len(self.close) + len(self.open)


def movements(system: System, before: frozenset[str], after: frozenset[str]) -> Movements:
    """Return the elements to move between two sets of closed ones."""
    ids = [element.id for element in system.elements]
    return Movements(
        tuple(name for name in ids if name in after - before), tuple(name for name in ids if name in before - after)
    )


def moved_in(system: System, steps: Sequence[LineUp]) -> int:
    """Return how many elements move over all steps, from the drilling line-up and back to it."""
    return moved_between([system.normally_closed, *(step.closed for step in steps), system.normally_closed])


def moved_between(closed: Sequence[frozenset[str]]) -> int:
    """Return how many elements move from each set of closed ones to the next."""
    return sum(len(before ^ after) for before, after in pairwise(closed))
