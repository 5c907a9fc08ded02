"""Whether a later test shows cured what failed."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from calcs.retests import Demand, Shortfall, Shown, shortfalls

FOUND = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
INCH, PSI = 0.0254, 6_894.757
DEMAND = Demand(
    kind="pressure",
    thing="ram 7",
    place="upper",
    side="below",
    pressure=10_000 * PSI,
    low_test=True,
    closed_on="pipe",
    pipe=5 * INCH,
    worked_at=FOUND + HOUR,
)
SHOWN = Shown(
    kind="pressure",
    thing="ram 7",
    at=FOUND + 2 * HOUR,
    later=True,
    passed=True,
    sealed=True,
    place="upper",
    side="below",
    pressure=10_000 * PSI,
    low_test=True,
    closed_on="pipe",
    pipe=5 * INCH,
)


def test_the_same_test_passed_later_shows_it_cured():
    assert shortfalls(DEMAND, SHOWN) == ()


@pytest.mark.parametrize(
    ("otherwise", "why"),
    [
        ({"passed": False}, Shortfall.NOT_PASSED),
        ({"sealed": False}, Shortfall.NOT_SEALED),
        ({"corrected": True}, Shortfall.CORRECTED),
        ({"later": False}, Shortfall.EARLIER),
        ({"at": FOUND + HOUR}, Shortfall.BEFORE_THE_WORK),
        ({"kind": "function"}, Shortfall.OTHER_KIND),
        ({"thing": "ram 8"}, Shortfall.OTHER_THING),
        ({"place": "lower"}, Shortfall.OTHER_PLACE),
        ({"side": "above"}, Shortfall.OTHER_SIDE),
        ({"pressure": 9_990 * PSI}, Shortfall.LOWER),
        ({"pressure": None}, Shortfall.LOWER),
        ({"low_test": False}, Shortfall.NO_LOW_TEST),
        ({"closed_on": "open-hole", "pipe": None}, Shortfall.OTHER_PIPE),
        ({"pipe": 3.5 * INCH}, Shortfall.OTHER_PIPE),
        ({"pipe": None}, Shortfall.OTHER_PIPE),
    ],
)
def test_a_test_otherwise_in_one_thing_does_not(otherwise: dict[str, Any], why: Shortfall):
    assert shortfalls(DEMAND, replace(SHOWN, **otherwise)) == (why,)


def test_a_higher_pressure_and_another_unit_of_one_pipe_are_no_shortfall():
    assert shortfalls(DEMAND, replace(SHOWN, pressure=10_500 * PSI, pipe=0.127)) == ()


def test_what_is_not_asked_is_not_held_against_a_test():
    asked = Demand(kind="function", thing="ram 7")
    shown = Shown(kind="function", thing="ram 7", at=FOUND, later=True, passed=True, sealed=True, place="lower")
    assert shortfalls(asked, shown) == ()


def test_every_shortfall_is_named_at_once():
    bad = replace(SHOWN, passed=False, sealed=False, side="above", pressure=PSI)
    assert set(shortfalls(DEMAND, bad)) == {
        Shortfall.NOT_PASSED,
        Shortfall.NOT_SEALED,
        Shortfall.OTHER_SIDE,
        Shortfall.LOWER,
    }
