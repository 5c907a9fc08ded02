"""Closing times of a function test against published limits.

Sources: API Standard 53, 4th edition, 6.3 and 7.3 (closing times as read in texts that report them); API Recommended
Practice 16E, 2.1 (choke and kill valves no slower than the fastest ram observed); Alberta Directive 036 (from memory).
"""

import pytest

from calcs.function_verdicts import FunctionWorked, Moved, Ways, fastest_closing, judge_function
from calcs.rules import Edition
from tests.calcs.test_rule_traps import AB, API

INCH = 0.0254
MILLIMETRE = 0.001


def passes(edition: Edition, kind: str, stack: str, bore: float | None, seconds: float) -> bool | None:
    ways = Ways.CLOSE_OPEN
    moves = tuple(Moved(movement, seconds) for movement in ways.movements)
    return judge_function(edition, FunctionWorked(kind, stack, ways, moves, True, bore), None).passes


@pytest.mark.parametrize(
    ("kind", "stack", "bore", "limit"),
    [
        ("pipe-ram", "surface", 13.625 * INCH, 30),
        ("blind-shear-ram", "surface", 13.625 * INCH, 30),
        ("annular", "surface", 13.625 * INCH, 30),
        ("annular", "surface", 18.5 * INCH, 30),
        ("annular", "surface", 18.75 * INCH, 45),
        ("annular", "surface", 21.25 * INCH, 45),
        ("pipe-ram", "subsea", 18.75 * INCH, 45),
        ("annular", "subsea", 18.75 * INCH, 60),
    ],
)
def test_the_closing_times_of_api_standard_53(kind: str, stack: str, bore: float, limit: int):
    assert passes(API, kind, stack, bore, float(limit))
    assert not passes(API, kind, stack, bore, limit + 0.1)


@pytest.mark.parametrize(
    ("kind", "bore", "limit"),
    [("pipe-ram", 346 * MILLIMETRE, 30), ("annular", 346 * MILLIMETRE, 60), ("annular", 476 * MILLIMETRE, 90)],
)
def test_the_closing_times_of_alberta(kind: str, bore: float, limit: int):
    assert passes(AB, kind, "surface", bore, float(limit))
    assert not passes(AB, kind, "surface", bore, limit + 0.1)


def test_a_choke_valve_against_the_fastest_ram_observed():
    def ram(seconds: float) -> FunctionWorked:
        return FunctionWorked("pipe-ram", "surface", Ways.CLOSE, (Moved(Ways.CLOSE.movements[0], seconds),), True)

    fastest = fastest_closing([ram(7.4), ram(6.9), ram(11.0)])
    assert fastest == 6.9
    moves = tuple(Moved(movement, 6.9) for movement in Ways.OPEN_CLOSE.movements)
    valve = FunctionWorked("choke-valve", "surface", Ways.OPEN_CLOSE, moves, True)
    assert judge_function(API, valve, fastest).passes
    assert not judge_function(API, valve, 6.8).passes
