"""Rules on accumulators and pumps as data: what a file may say, and which rule answers."""

import copy
import datetime as dt
from typing import Any

import pytest

from calcs.bank_rules import (
    AbovePrecharge,
    MinimumOperating,
    ResponseLimit,
    drawdown_rule,
    precharge_rule,
    pump_setting_rules,
    recharge_rule,
    recharge_rules,
    response_limit,
)
from calcs.errors import InputError
from calcs.rule_files import parse_edition
from calcs.rules import Edition
from calcs.units import Dimension, to_si

INCH = to_si(1, "in", Dimension.LENGTH)
PSI = to_si(1, "psi", Dimension.PRESSURE)
COMMON = {"clause": "H 1", "title": "t", "confidence": "read"}
DRAWDOWN = {**COMMON, "kind": "drawdown", "id": "d", "final": {"above_precharge": "200 psi"}}
RECHARGE = {
    **COMMON,
    "kind": "recharge",
    "id": "c",
    "pumps": "all",
    "within": "15 min",
    "from": "precharge",
    "to": "rated",
}
PRECHARGE = {**COMMON, "kind": "precharge", "id": "p", "tolerance": "100 psi"}
RAMS = {**COMMON, "kind": "response", "id": "r", "within": "30 s", "scope": [{"kinds": ["pipe-ram"]}]}
SMALL_ANNULAR = {**RAMS, "id": "a1", "bore_under": "18.75 in", "scope": [{"kinds": ["annular"]}]}
LARGE_ANNULAR = {**RAMS, "id": "a2", "bore_from": "18.75 in", "within": "45 s", "scope": [{"kinds": ["annular"]}]}
VALVES = {
    **COMMON,
    "kind": "response",
    "id": "v",
    "not_slower_than": "fastest-ram",
    "scope": [{"kinds": ["choke-valve"]}],
}
SETTING = {
    **COMMON,
    "kind": "pump-setting",
    "id": "s",
    "duty": "primary",
    "starts_at_least": 0.9,
    "stops_between": [0.97, 1.0],
}
AIR = {**COMMON, "kind": "pump-setting", "id": "s-air", "drive": "air", "air_supply": "75 psi"}


def house(*rules: dict[str, Any]) -> Edition:
    return parse_edition(
        copy.deepcopy(
            {
                "id": "house/1",
                "regime": "house",
                "title": "House rules",
                "edition": "first",
                "effective_from": dt.date(2026, 1, 1),
                "source": "invented for the tests",
                "checked_on": dt.date(2026, 1, 1),
                "rules": list(rules),
            }
        )
    )


def limit(edition: Edition, kind: str, **about: Any) -> ResponseLimit:
    found = response_limit(edition, kind=kind, stack="surface", **about)
    assert found is not None
    return found


def test_bank_rules_stand_beside_the_pressure_rules_and_do_not_mix():
    edition = house(DRAWDOWN, RECHARGE)
    assert edition.rules == ()
    assert [rule.id for rule in edition.bank_rules] == ["d", "c"]


@pytest.mark.parametrize(
    ("rule", "changes", "field"),
    [
        (DRAWDOWN, {"finl": {}}, "rules.0.finl"),
        (DRAWDOWN, {"final": {"above_precharge": "200 psi", "fixed": "1200 psi"}}, "rules.0.final"),
        (DRAWDOWN, {"final": {"greatest": [{"minimum_operating": True}]}}, "rules.0.final.greatest"),
        (DRAWDOWN, {"final": {"greatest": [], "fixed": "1 psi"}}, "rules.0.final"),
        (DRAWDOWN, {"final": {"minimum_operating": False}}, "rules.0.final.minimum_operating"),
        (DRAWDOWN, {"final": {"above_precharge": "-1 psi"}}, "rules.0.final.above_precharge"),
        (DRAWDOWN, {"final": {"above_precharge": 200}}, "rules.0.final.above_precharge"),
        (DRAWDOWN, {"final": {"expression": "Pc + 200"}}, "rules.0.final"),
        (DRAWDOWN, {"confidence": "given"}, "rules.0.confidence"),
        (RECHARGE, {"pumps": "some"}, "rules.0.pumps"),
        (RECHARGE, {"within": "0 min"}, "rules.0.within"),
        (RECHARGE, {"from": "rated"}, "rules.0.from"),
        (PRECHARGE, {"tolerance": "0 psi"}, "rules.0.tolerance"),
        (RAMS, {"within": None}, "rules.0.within"),
        (RAMS, {"scope": []}, "rules.0.scope"),
        (RAMS, {"movement": "shut"}, "rules.0.movement"),
        (RAMS, {"bore_from": "10 in", "bore_under": "10 in"}, "rules.0.bore_under"),
        (RAMS, {"not_slower_than": "slowest-ram"}, "rules.0.not_slower_than"),
        (SETTING, {"starts_at_least": 1.0}, "rules.0.starts_at_least"),
        (SETTING, {"stops_between": [1.0, 0.97]}, "rules.0.stops_between"),
        (SETTING, {"stops_between": 0.97}, "rules.0.stops_between"),
        (SETTING, {"starts_at_least": None, "stops_between": None}, "rules.0.starts_at_least"),
        (AIR, {"air_supply": "0 psi"}, "rules.0.air_supply"),
    ],
)
def test_a_rule_outside_the_vocabulary_is_refused_by_its_path(rule: dict[str, Any], changes: dict, field: str):
    with pytest.raises(InputError) as caught:
        house({**rule, **changes})
    assert caught.value.field == field


def test_an_unknown_kind_lists_the_known_ones():
    with pytest.raises(InputError, match="pump-setting"):
        house({**DRAWDOWN, "kind": "capacity"})


def test_an_id_used_twice_is_refused_where_it_stands_in_the_file():
    with pytest.raises(InputError) as caught:
        house(DRAWDOWN, RECHARGE, {**PRECHARGE, "id": "c"})
    assert caught.value.field == "rules.2.id"


@pytest.mark.parametrize("rule", [DRAWDOWN, RECHARGE, PRECHARGE])
def test_two_rules_that_answer_one_question_are_refused(rule: dict[str, Any]):
    with pytest.raises(InputError, match="same question"):
        house(rule, {**rule, "id": "other", "scope": [{"stacks": ["surface"]}]})


def test_each_stack_has_its_own_rule():
    surface = {**DRAWDOWN, "scope": [{"stacks": ["surface"]}]}
    edition = house(surface, {**DRAWDOWN, "id": "d-sub", "scope": [{"stacks": ["subsea"]}]})
    assert drawdown_rule(edition, stack="surface").id == "d"
    assert drawdown_rule(edition, stack="subsea").id == "d-sub"
    assert drawdown_rule(house(surface), stack="subsea") is None


def test_the_final_pressure_is_the_greatest_of_its_parts():
    edition = house({**DRAWDOWN, "final": {"greatest": [{"above_precharge": "200 psi"}, {"minimum_operating": True}]}})
    assert drawdown_rule(edition, stack="surface").final == (AbovePrecharge(200 * PSI), MinimumOperating())


def test_no_rule_is_none_and_never_a_default():
    edition = house(SETTING)
    assert drawdown_rule(edition, stack="surface") is None
    assert recharge_rules(edition, stack="surface") == ()
    assert precharge_rule(edition, stack="surface") is None
    assert response_limit(edition, kind="pipe-ram", stack="surface") is None
    assert pump_setting_rules(house(DRAWDOWN), stack="surface") == ()


def test_charging_goes_by_the_pumps_that_run():
    edition = house(RECHARGE, {**RECHARGE, "id": "c1", "pumps": "one-out", "within": "30 min"})
    assert recharge_rule(edition, stack="surface", pumps="all").within == 900
    assert recharge_rule(edition, stack="surface", pumps="one-out").within == 1800


@pytest.mark.parametrize(("inches", "seconds"), [(13.625, 30), (18.749, 30), (18.75, 45), (21.25, 45)])
def test_an_annular_goes_by_its_bore(inches: float, seconds: float):
    edition = house(SMALL_ANNULAR, LARGE_ANNULAR)
    assert limit(edition, "annular", bore=inches * INCH).within == seconds


def test_an_unknown_bore_gets_the_shorter_time_and_a_note():
    found = limit(house(SMALL_ANNULAR, LARGE_ANNULAR), "annular")
    assert found.within == 30
    assert "shorter time" in found.note


def test_a_closing_time_says_nothing_of_opening():
    edition = house({**RAMS, "movement": "close"})
    assert response_limit(edition, kind="pipe-ram", stack="surface", movement="open") is None
    assert limit(house(RAMS), "pipe-ram", movement="open").within == 30


def test_line_valves_are_compared_with_the_rams():
    found = limit(house(RAMS, VALVES), "choke-valve", movement="open")
    assert found.within is None
    assert found.as_fast_as_rams


def test_two_limits_on_one_component_both_count():
    edition = house(VALVES, {**RAMS, "confidence": "memory", "clause": "H 9", "scope": [{"kinds": ["choke-valve"]}]})
    found = limit(edition, "choke-valve")
    assert (found.within, found.as_fast_as_rams) == (30, True)
    assert found.clause == "H 9; H 1"
    assert found.confidence == "memory"


def test_an_air_pump_of_a_duty_has_the_rules_of_both():
    edition = house(SETTING, AIR)
    about = {"stack": "surface", "duty": "primary"}
    assert [rule.id for rule in pump_setting_rules(edition, drive="air", **about)] == ["s", "s-air"]
    assert [rule.id for rule in pump_setting_rules(edition, drive="electric", **about)] == ["s"]
    assert pump_setting_rules(edition, stack="surface", duty="secondary", drive="electric") == ()
