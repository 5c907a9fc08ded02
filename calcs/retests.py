"""Whether a later test shows cured what failed: the same thing in the same place, from the same side, at no less.

Pressures are gauge, in Pa; lengths in m. Things, places and sides are named by texts.
"""

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

_SAME_PIPE_M: Final = 1e-4
"""Pipe sizes that differ by less are one size written in two units."""
_ROUNDING: Final = 1e-9


class Shortfall(StrEnum):
    """Why a test does not show cured what failed."""

    NOT_PASSED = "not-passed"
    NOT_SEALED = "not-sealed"
    CORRECTED = "corrected"
    EARLIER = "earlier"
    BEFORE_THE_WORK = "before-the-work"
    OTHER_KIND = "other-kind"
    OTHER_THING = "other-thing"
    OTHER_PLACE = "other-place"
    OTHER_SIDE = "other-side"
    LOWER = "lower"
    NO_LOW_TEST = "no-low-test"
    OTHER_PIPE = "other-pipe"


@dataclass(frozen=True, slots=True)
class Demand:
    """What has to be shown.

    Attributes:
        kind: by which kind of test.
        thing: of what.
        place: in which place; empty where it stood in none.
        side: from which side; empty for a function.
        pressure: at least this, Pa gauge; None for a function.
        low_test: a low test has to be shown as well.
        closed_on: what it closed on; empty: on anything.
        pipe: the pipe it closed on, outside diameter, m.
        worked_at: when it was last put right; a test before that shows nothing of how it is now.
    """

    kind: str
    thing: str
    place: str = ""
    side: str = ""
    pressure: float | None = None
    low_test: bool = False
    closed_on: str = ""
    pipe: float | None = None
    worked_at: dt.datetime | None = None


@dataclass(frozen=True, slots=True)
class Shown:
    """What one line of a test shows; `later`: it was made after the failure was found."""

    kind: str
    thing: str
    at: dt.datetime
    later: bool
    passed: bool
    sealed: bool
    place: str = ""
    side: str = ""
    pressure: float | None = None
    low_test: bool = False
    closed_on: str = ""
    pipe: float | None = None
    corrected: bool = False


def shortfalls(demand: Demand, shown: Shown) -> tuple[Shortfall, ...]:
    """Return all for which a test does not show cured what failed; nothing where it does."""
    return (*_of_the_test(demand, shown), *_of_what(demand, shown), *_of_how(demand, shown))


def _of_the_test(demand: Demand, shown: Shown) -> Iterator[Shortfall]:
    if not shown.passed:
        yield Shortfall.NOT_PASSED
    if not shown.sealed:
        yield Shortfall.NOT_SEALED
    if shown.corrected:
        yield Shortfall.CORRECTED
    if not shown.later:
        yield Shortfall.EARLIER
    elif demand.worked_at is not None and shown.at <= demand.worked_at:
        yield Shortfall.BEFORE_THE_WORK


def _of_what(demand: Demand, shown: Shown) -> Iterator[Shortfall]:
    if shown.kind != demand.kind:
        yield Shortfall.OTHER_KIND
    if shown.thing != demand.thing:
        yield Shortfall.OTHER_THING
    if demand.place and shown.place != demand.place:
        yield Shortfall.OTHER_PLACE


def _of_how(demand: Demand, shown: Shown) -> Iterator[Shortfall]:
    if demand.side and shown.side != demand.side:
        yield Shortfall.OTHER_SIDE
    if demand.pressure is not None and (shown.pressure or 0.0) < demand.pressure * (1 - _ROUNDING):
        yield Shortfall.LOWER
    if demand.low_test and not shown.low_test:
        yield Shortfall.NO_LOW_TEST
    if demand.closed_on and not _closed_alike(demand, shown):
        yield Shortfall.OTHER_PIPE


def _closed_alike(demand: Demand, shown: Shown) -> bool:
    if shown.closed_on != demand.closed_on:
        return False
    if demand.pipe is None:
        return True
    return shown.pipe is not None and math.isclose(shown.pipe, demand.pipe, rel_tol=0, abs_tol=_SAME_PIPE_M)
