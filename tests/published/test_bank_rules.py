"""Accumulators and pumps against the published rules. How surely a figure is known stands beside it."""

from typing import Any

import pytest

from calcs.bank_rules import (
    drawdown_rule,
    precharge_rule,
    pump_setting_rules,
    recharge_rule,
    recharge_rules,
    response_limit,
)
from calcs.rules import Confidence, StackKind
from calcs.surface import calculate
from calcs.units import Dimension, to_si
from tests_app import rulebook

API = rulebook.edition("api53-4")
OCS = rulebook.edition("us-ocs")
BOTH = pytest.mark.parametrize("edition", [API, OCS], ids=["api53-4", "us-ocs"])
STACKS = pytest.mark.parametrize("stack", ["surface", "subsea"])
INCH = to_si(1, "in", Dimension.LENGTH)
PSI = to_si(1, "psi", Dimension.PRESSURE)


def drawn_down(final: str, **more: Any) -> dict[str, Any]:
    document = {
        "rule": "api53-4",
        "start": "3000 psi",
        "final": final,
        "precharge_measured": "1000 psi",
        "precharge_design": "1000 psi",
        "minimum_operating": "0 psi",
        "functions": [{"name": "All", "pressure": final}],
        **more,
    }
    return calculate("drawdown-verdict", document, editions=rulebook.editions())


def test_a_3000_psi_unit_precharged_to_1000_ends_at_1200():
    # 200 psi over precharge: read in superseded US federal text (30 CFR 250.735(a), 2016 to 2019; former
    # 250.265(d)(1)); that the standard says the same is from memory.
    assert drawn_down("1200 psi")["passes"]
    assert not drawn_down("1199 psi")["passes"]
    assert drawn_down("1200 psi")["limit"]["value"] == pytest.approx(1200)


@pytest.mark.parametrize(
    ("rated", "ratio", "needed"),
    # 15,000 psi at 7 : 1 is 2,143 psi: read in texts on closing ratios. 10,000 psi at 7.11 with 750 psi to close is
    # 2,156.5 psi: a text reporting the worked example of API Specification 16D, 3rd edition.
    [("15000 psi", 7, 2143), ("10000 psi", 7.11, 2156.5)],
)
def test_over_the_precharge_may_still_be_too_little_to_hold_the_rams(rated: str, ratio: float, needed: float):
    friction = "750 psi" if ratio == 7.11 else "0 psi"
    asked = {"wellbore_pressure": rated, "closing_ratio": ratio, "operator_friction": friction}
    pressure = calculate("closing-pressure", asked)["pressure"]["value"]
    assert pressure == pytest.approx(needed, abs=0.5)
    assert not drawn_down("1250 psi", minimum_operating=f"{pressure} psi")["passes"]
    assert drawn_down("2200 psi", minimum_operating=f"{pressure} psi")["passes"]


@BOTH
@STACKS
def test_drawdowns_are_at_most_six_months_apart(edition: Any, stack: StackKind):
    # From memory: API Standard 53, 6.5.6 and 7.6.8. 182 days are never later than six calendar months.
    rule = drawdown_rule(edition, stack=stack)
    assert str(rule.recurs.interval) == "182 d"
    assert rule.confidence is Confidence.MEMORY
    assert "repaired" in {event.occasion for event in rule.events}


@BOTH
@STACKS
@pytest.mark.parametrize(("pumps", "minutes", "clause"), [("all", 15, "6.3.5.4"), ("one-out", 30, "6.3.5.5")])
def test_charging_takes_15_minutes_or_30_with_one_pump_lost(
    edition: Any, stack: StackKind, pumps: str, minutes: float, clause: str
):
    # Read: API Standard 53, 4th edition, 6.3.5.4 and 6.3.5.5; the interval by inquiry 53-12-13.
    rule = recharge_rule(edition, stack=stack, pumps=pumps)
    assert rule.within == minutes * 60
    assert clause in rule.clause
    assert len(recharge_rules(edition, stack=stack)) == 2


@BOTH
@pytest.mark.parametrize(
    ("duty", "start", "stops", "clause"),
    # Read: API Standard 53, 4th edition, 6.3.5.8 and 6.3.5.9.
    [("primary", 0.90, (0.97, 1.00), "6.3.5.8"), ("secondary", 0.85, (0.95, 1.00), "6.3.5.9")],
)
def test_pumps_start_and_stop_at_shares_of_the_rated_pressure(
    edition: Any, duty: str, start: float, stops: tuple[float, float], clause: str
):
    (rule,) = pump_setting_rules(edition, stack="surface", duty=duty, drive="electric")
    assert (rule.starts_at_least, rule.stops_between) == (start, stops)
    assert clause in rule.clause


@BOTH
def test_air_pumps_do_on_75_psi_of_air(edition: Any):
    # Read: API Standard 53, 4th edition, 6.3.5.10.
    rules = pump_setting_rules(edition, stack="surface", duty="secondary", drive="air")
    assert [rule.air_supply for rule in rules if rule.air_supply] == [pytest.approx(75 * PSI)]


@BOTH
@pytest.mark.parametrize(
    ("kind", "stack", "inches", "seconds"),
    # Read in digests of API Standard 53, 4th edition, and of API Recommended Practice 16E, 2.1; subsea in a
    # training text.
    [
        ("pipe-ram", "surface", None, 30),
        ("blind-shear-ram", "surface", None, 30),
        ("annular", "surface", 13.625, 30),
        ("annular", "surface", 18.75, 45),
        ("annular", "surface", 21.25, 45),
        ("pipe-ram", "subsea", None, 45),
        ("annular", "subsea", 18.75, 60),
    ],
)
def test_closing_times(edition: Any, kind: str, stack: StackKind, inches: float | None, seconds: float):
    bore = None if inches is None else inches * INCH
    assert response_limit(edition, kind=kind, stack=stack, bore=bore).within == seconds


@BOTH
@pytest.mark.parametrize("movement", ["open", "close"])
@pytest.mark.parametrize("kind", ["choke-valve", "kill-valve"])
def test_choke_and_kill_valves_are_no_slower_than_the_fastest_ram(edition: Any, kind: str, movement: str):
    # Read in a digest of API Recommended Practice 16E, 2.1.
    found = response_limit(edition, kind=kind, stack="surface", movement=movement)
    assert (found.within, found.as_fast_as_rams) == (None, True)


@BOTH
@STACKS
def test_a_precharge_lies_within_100_psi_of_the_designs(edition: Any, stack: StackKind):
    # From memory: tolerance and what calls for it; that the check is asked for was read in a text that reports it.
    rule = precharge_rule(edition, stack=stack)
    assert rule.tolerance == pytest.approx(100 * PSI)
    assert rule.confidence is Confidence.MEMORY


def test_offshore_no_figure_of_the_standard_is_surer_than_our_reading_that_it_binds():
    # Read: 30 CFR 250.735(a) takes the accumulators' requirements from API Standard 53; how far is our reading.
    sure = {rule.confidence for rule in OCS.bank_rules}
    assert sure == {Confidence.DERIVED, Confidence.MEMORY}
    assert all("250.735(a), by API" in rule.clause for rule in OCS.bank_rules)
    assert [rule.id.removeprefix("ocs-") for rule in OCS.bank_rules] == [
        rule.id.removeprefix("a4-") for rule in API.bank_rules
    ]
