"""What lets through one way only: a check valve carries pressure and drains from its passing side alone."""

import pytest

from calcs.line_up_planner import plan
from calcs.line_up_verifier import simulate
from calcs.lineups import Element, LineUp, Proof, System

MPA = 1e6
VALVE = Element("valve", "gate-valve", ("well", "between"), frozenset({"well", "between"}), 70 * MPA)
CHECK = Element("check valve", "check-valve", ("between", "line"), frozenset({"between"}), 70 * MPA, None, "line")
DRAIN = Element("drain", "gate-valve", ("between", "pit"), frozenset({"between", "pit"}), 70 * MPA)
BLEED = Element("bleed", "gate-valve", ("line", "line end"), frozenset({"line", "line end"}), 70 * MPA)
PROVED = Proof("valve", "well", 35 * MPA)


def a_system(*more: Element, vents: tuple[str, ...] = ("line end",)) -> System:
    return System((VALVE, CHECK, BLEED, *more), ("well", "line"), vents)


def test_no_leak_is_seen_through_a_check_valve_that_holds_against_it():
    found = plan(a_system(), [PROVED])
    assert [one.proof for one in found.unprovable] == [PROVED]
    assert not found.steps


def test_a_leak_is_seen_at_a_drain_before_the_check_valve():
    (step,) = plan(a_system(DRAIN, vents=("line end", "pit")), [PROVED]).steps
    assert "drain" not in step.closed


@pytest.mark.parametrize(
    ("pump_point", "reached"), [("line", {"line", "between", "well"}), ("well", {"well", "between"})]
)
def test_pressure_goes_through_it_one_way(pump_point: str, reached: set[str]):
    closed = frozenset({"bleed"})
    assert simulate(a_system(), LineUp(pump_point, "none", 35 * MPA, closed)).pressurised == reached
