"""Drawdowns, timed chargings and pumps judged; the traps of the trade by name. Figures in psi."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.bank_rules import (
    AbovePrecharge,
    DrawdownRule,
    FinalPart,
    MinimumOperating,
    Pumps,
    PumpSettingRule,
    RechargeRule,
    ResponseLimit,
)
from calcs.drawdown_verdict import (
    DrawdownCase,
    PumpVerdict,
    RechargeVerdict,
    Worked,
    judge_drawdown,
    judge_pump,
    judge_recharge,
)
from calcs.errors import InputError
from calcs.rules import Confidence, Fixed
from calcs.surface import calculate
from calcs.units import Dimension, GaugePressure, to_si
from tests_app import rulebook

EDITIONS = rulebook.editions()
PSI = to_si(1, "psi", Dimension.PRESSURE)
PRESSURES = st.floats(min_value=100, max_value=5000)


def psi(value: float) -> GaugePressure:
    return GaugePressure(value * PSI)


def rule(*final: FinalPart) -> DrawdownRule:
    parts = final or (AbovePrecharge(200 * PSI), MinimumOperating())
    return DrawdownRule(id="d", clause="H 1", title="t", confidence=Confidence.READ, final=parts)


def within(seconds: float | None, *, as_rams: bool = False) -> ResponseLimit:
    return ResponseLimit(seconds, as_rams, "r", "H 2", Confidence.READ)


RAM = Worked("Pipe ram", 12.0, within(30), psi(2100), psi(800), is_ram=True)
ANNULAR = Worked("Annular", 25.0, within(30), psi(1350), psi(900))
CASE = DrawdownCase(
    rule=rule(),
    start=psi(3000),
    final=psi(1350),
    precharge_measured=psi(1010),
    precharge_design=psi(1000),
    precharge_in_band=True,
    minimum_operating=psi(1100),
    functions=(RAM, ANNULAR),
    judged="at-once",
)


def judged(**changes: Any):
    return judge_drawdown(replace(CASE, **changes))


def with_function(**changes: Any):
    return judged(functions=(replace(RAM, **changes), ANNULAR))


def test_a_drawdown_over_its_limit_passes_with_its_margin():
    found = judged()
    assert found.passes, found.reasons
    assert found.limit == pytest.approx(1210 * PSI)
    assert found.margin == pytest.approx(140 * PSI)
    assert found.clause == "H 1; H 2"
    assert [step.line() for step in found.working] == [
        "By the precharge: 1,010 psi measured precharge + 200 psi = 1,210 psi",
        "Minimum operating pressure: 1,100 psi",
        "Final pressure, at least: the greatest of 1,210 psi, 1,100 psi = 1,210 psi",
        "Margin: 1,350 psi − 1,210 psi = 140 psi",
    ]


def test_a_final_pressure_under_the_limit_fails_and_both_are_named():
    found = judged(final=psi(1205))
    assert not found.passes
    assert found.reasons == ("The final pressure 1,205 psi (8,308 kPa) is under the limit, 1,210 psi (8,343 kPa).",)


def test_a_limit_met_to_the_last_digit_is_met():
    assert judged(final=psi(1210 * (1 + 1e-12)), precharge_measured=psi(1010)).passes
    assert judged(final=GaugePressure(1210 * PSI - 0.5)).passes


def test_trap_the_limit_goes_by_the_measured_precharge_not_the_nominal_one():
    # 1,250 psi is over the nominal 1,000 + 200, but the bottles hold 1,080.
    found = judged(precharge_measured=psi(1080), final=psi(1250))
    assert not found.passes
    assert found.limit == pytest.approx(1280 * PSI)


def test_trap_a_low_precharge_fails_before_it_can_ease_the_limit():
    found = judged(precharge_measured=psi(700), precharge_in_band=False, final=psi(1150))
    assert found.reasons[0].startswith("The precharge is out of its band: 700 psi")
    assert "easier" in found.reasons[0]
    assert found.limit == pytest.approx(1200 * PSI)
    assert len(found.reasons) == 2


def test_without_a_band_the_higher_of_measured_and_design_counts_and_is_noted():
    low, high = (judged(precharge_measured=psi(one), precharge_in_band=None) for one in (850, 1150))
    assert low.limit == pytest.approx(1200 * PSI)
    assert high.limit == pytest.approx(1350 * PSI)
    assert any("higher of the measured one" in note for note in low.notes)


def test_a_precharge_nobody_measured_fails():
    found = judged(precharge_measured=None, precharge_in_band=None)
    assert found.reasons == ("The precharge was not measured before the test: a limit over it can't be trusted.",)


def test_trap_the_final_pressure_alone_can_hide_a_function_left_short():
    # The stack ends over its limit, but the ram closed on less than it needs to hold.
    found = with_function(minimum=psi(2157))
    assert found.reasons == ("Pipe ram: 2,100 psi (14,479 kPa) after it is under the 2,157 psi (14,872 kPa) it needs.",)


def test_trap_over_the_precharge_is_not_enough_where_the_stack_needs_more():
    # 15,000 psi at a ratio of 7 takes 2,143 psi to hold: 1,350 is over precharge + 200 and still too little.
    found = judged(minimum_operating=psi(2143))
    assert not found.passes
    assert found.limit == pytest.approx(2143 * PSI)


def test_an_unknown_minimum_operating_pressure_is_not_taken_for_none():
    bare = tuple(replace(one, minimum=None) for one in CASE.functions)
    found = judged(minimum_operating=None, functions=bare)
    assert not found.passes
    assert found.limit is None
    assert "minimum operating pressure" in found.reasons[0]


def test_the_functions_own_minima_stand_in_for_it():
    found = judged(minimum_operating=None)
    assert found.passes
    assert found.working[1].line() == "Minimum operating pressure, the functions' highest: 900 psi"


def test_a_rule_of_one_fixed_pressure():
    found = judged(rule=rule(Fixed(psi(1000))), minimum_operating=None)
    assert found.passes
    assert found.limit == psi(1000)


def test_without_a_rule_nothing_passes():
    found = judged(rule=None)
    assert not found.passes
    assert found.limit is None
    assert "nothing" in found.reasons[0]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"pressure": None}, "Pipe ram: no pressure was read after it."),
        ({"seconds": None}, "Pipe ram: no time was taken, and the rule limits it."),
        ({"seconds": 30.5}, "Pipe ram: it took 30.5 s; the rule allows 30 s."),
        ({"pressure": psi(3100)}, "over the start pressure: a pump charged the bank."),
    ],
)
def test_what_was_not_shown_or_too_slow_fails_by_name(changes: dict[str, Any], said: str):
    found = with_function(**changes)
    assert not found.passes
    assert any(said in reason for reason in found.reasons), found.reasons


def test_a_final_pressure_nobody_read_fails():
    assert "The final pressure was not read." in judged(final=None).reasons


def test_thirty_seconds_of_thirty_are_in_time():
    assert with_function(seconds=30.0).passes


@pytest.mark.parametrize(("seconds", "passes"), [(11.9, True), (12.0, True), (12.1, False)])
def test_a_line_valve_is_no_slower_than_the_fastest_ram(seconds: float, passes: bool):
    slow = replace(RAM, name="Upper ram", seconds=20.0)
    valve = Worked("Choke valve", seconds, within(None, as_rams=True), psi(1340), is_line_valve=True)
    assert judged(functions=(slow, RAM, ANNULAR, valve)).passes is passes


def test_a_line_valve_with_no_ram_to_compare_it_with_is_not_shown():
    valve = Worked("Choke valve", 2.0, within(None, as_rams=True), psi(1340), is_line_valve=True)
    assert "Choke valve: no ram was timed in this test to compare it with." in judged(functions=(valve,)).reasons


def test_the_record_says_which_reading_and_which_gauge_were_judged():
    assert any("at once" in note for note in judged().notes)
    assert any("after the wait" in note for note in judged(judged="settled").notes)
    assert any("over the fluid column" in note for note in judged(subsea=True).notes)


def test_a_pressure_that_rises_from_function_to_function_is_remarked():
    found = judged(functions=(replace(RAM, pressure=psi(1300)), ANNULAR))
    assert any("rose over Annular" in note for note in found.notes)


def test_figures_from_memory_are_said_to_be():
    found = judged(rule=replace(rule(), confidence=Confidence.MEMORY))
    assert found.confidence is Confidence.MEMORY
    assert any("From memory" in note for note in found.notes)


@given(measured=PRESSURES, design=PRESSURES, final=PRESSURES, more=st.floats(min_value=0, max_value=1000))
def test_more_pressure_left_never_turns_a_pass_into_a_failure(
    measured: float, design: float, final: float, more: float
):
    start = psi(7000)
    case = {"start": start, "precharge_measured": psi(measured), "precharge_design": psi(design)}
    less, more_left = judged(final=psi(final), **case), judged(final=psi(final + more), **case)
    assert more_left.passes or not less.passes


@given(measured=PRESSURES, design=PRESSURES, final=PRESSURES, lower=st.floats(min_value=0, max_value=1))
def test_a_precharge_without_a_band_never_eases_the_limit_under_the_designs(
    measured: float, design: float, final: float, lower: float
):
    case = {"final": psi(final), "precharge_design": psi(design), "precharge_in_band": None}
    found = judged(precharge_measured=psi(measured * lower + 1), **case)
    assert found.limit is not None
    assert found.limit >= psi(design) + 200 * PSI - 1


@given(
    st.lists(
        st.builds(
            Worked,
            st.just("one"),
            st.none() | st.floats(min_value=0.1, max_value=600),
            st.none() | st.just(within(30)) | st.just(within(None, as_rams=True)),
            st.none() | PRESSURES.map(psi),
            st.none() | PRESSURES.map(psi),
            st.booleans(),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_a_drawdown_passes_exactly_when_no_reason_is_against_it(functions: list[Worked]):
    found = judged(functions=tuple(functions))
    assert found.passes is (found.reasons == ())
    assert all(reason.endswith(".") for reason in found.reasons)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"start": psi(0)}, "start"),
        ({"start": GaugePressure(float("nan"))}, "start"),
        ({"final": psi(-1)}, "final"),
        ({"precharge_design": psi(1e9)}, "precharge_design"),
        ({"functions": ()}, "functions"),
        ({"functions": (RAM,) * 10_000}, "functions"),
    ],
)
def test_a_case_out_of_range_is_refused_by_name(changes: dict[str, Any], field: str):
    with pytest.raises(InputError) as caught:
        judged(**changes)
    assert caught.value.field == field


CHARGING = RechargeRule(id="c", clause="H 3", title="t", confidence=Confidence.READ, pumps=Pumps.ALL, within=15 * 60.0)


def charged(begin: float = 1000, end: float = 3000, minutes: float = 12, by: Any = CHARGING) -> RechargeVerdict:
    return judge_recharge(by, psi(begin), psi(end), minutes * 60, psi(1000), psi(3000))


def test_a_whole_charging_in_time_passes():
    assert charged().passes
    assert charged(minutes=15).passes


def test_a_late_charging_fails_with_both_times():
    assert charged(minutes=16).reasons == ("It took 16 min; the rule allows 15 min.",)


def test_trap_a_charging_from_over_the_precharge_shows_less_than_the_rule_asks():
    found = charged(begin=1300, minutes=9)
    assert (found.passes, found.in_time, found.covers) == (False, True, False)
    assert "over the precharge" in found.reasons[0]


def test_a_charging_that_ends_under_the_rated_pressure_shows_less_too():
    assert not charged(end=2900).passes


def test_a_charging_no_rule_times_does_not_pass():
    assert charged(by=None).in_time is None
    assert not charged(by=None).passes


@pytest.mark.parametrize(
    ("changes", "field"), [({"end": 900}, "to"), ({"minutes": 0}, "seconds"), ({"minutes": float("nan")}, "seconds")]
)
def test_a_charging_that_cannot_be_is_refused_by_name(changes: dict[str, float], field: str):
    with pytest.raises(InputError) as caught:
        charged(**changes)
    assert caught.value.field == field


@given(minutes=st.floats(min_value=0.1, max_value=100), quicker=st.floats(min_value=0.01, max_value=1))
def test_a_quicker_charging_never_fares_worse(minutes: float, quicker: float):
    assert charged(minutes=minutes * quicker).passes or not charged(minutes=minutes).passes


SETTING = PumpSettingRule(
    id="s", clause="H 4", title="t", confidence=Confidence.READ, starts_at_least=0.9, stops_between=(0.97, 1.0)
)
AIR = PumpSettingRule(id="a", clause="H 5", title="t", confidence=Confidence.READ, air_supply=75 * PSI)


def set_at(starts: float | None = 2750, stops: float | None = 2950, by: Any = SETTING, **about: Any) -> PumpVerdict:
    readings = (None if one is None else psi(one) for one in (starts, stops))
    return judge_pump(by, *readings, psi(3000), **about)


@pytest.mark.parametrize(
    ("starts", "stops", "said"),
    [
        (2750, 2950, ""),
        (2700, 2910, ""),
        (2700, 3000, ""),
        (2690, 2950, "It started at 2,690 psi"),
        (2750, 2900, "It stopped at 2,900 psi"),
        (2750, 3050, "It stopped at 3,050 psi"),
        (None, 2950, "Where it starts was not read."),
        (2750, None, "Where it stops was not read."),
    ],
)
def test_a_pump_starts_and_stops_where_the_rule_says(starts: float | None, stops: float | None, said: str):
    found = set_at(starts, stops)
    assert found.passes is (not said)
    assert said in " ".join(found.reasons)


@pytest.mark.parametrize(("air", "passes"), [(75, True), (70, True), (90, False), (None, False)])
def test_an_air_pump_is_shown_on_no_more_air_than_the_rule_says(air: float | None, passes: bool):
    assert set_at(by=AIR, air_supply=None if air is None else psi(air)).passes is passes


def test_a_pump_without_a_rule_does_not_pass():
    assert not set_at(by=None).passes


def test_a_pump_that_stops_under_its_start_is_refused():
    with pytest.raises(InputError) as caught:
        set_at(2950, 2750)
    assert caught.value.field == "stops_at"


ASKED: dict[str, Any] = {
    "rule": "api53-4",
    "start": "3000 psi",
    "precharge_measured": "1010 psi",
    "precharge_design": "1000 psi",
    "minimum_operating": "1200 psi",
    "rated": "3000 psi",
    "functions": [
        {"name": "Ram", "kind": "pipe-ram", "time": "12 s", "pressure": "2100 psi"},
        {"name": "Annular", "kind": "annular", "bore": "13.625 in", "time": "25 s", "pressure": "1350 psi"},
    ],
}


def asked(**changes: Any) -> dict[str, Any]:
    return calculate("drawdown-verdict", {**ASKED, **changes}, editions=EDITIONS)


def refused(**changes: Any) -> str:
    with pytest.raises(InputError) as caught:
        asked(**changes)
    return caught.value.field


def test_by_name_a_drawdown_is_judged_with_its_clause_and_limits():
    found = asked()
    assert found["passes"], found["reasons"]
    assert found["limit"] == {"value": 1210.0, "unit": "psi"}
    assert found["functions"][1]["within"] == {"value": 30.0, "unit": "s"}
    assert "6.5.6" in found["clause"]
    assert found["confidence"] == "memory"


def test_by_name_the_editions_tolerance_is_the_band():
    assert "out of its band" in asked(precharge_measured="850 psi")["reasons"][0]
    assert asked(precharge_measured="950 psi")["limit"]["value"] == 1200.0  # the minimum operating pressure
    assert asked(precharge_measured="850 psi", precharge_tolerance="200 psi")["passes"]


def test_by_name_a_failing_charging_or_pump_fails_the_whole():
    charging = [{"pumps": "one-out", "from": "1000 psi", "to": "3000 psi", "time": "31 min"}]
    pump = [{"pump": "2", "duty": "secondary", "drive": "air", "starts_at": "2600 psi", "stops_at": "2900 psi"}]
    late, unread = asked(recharges=charging), asked(pumps=pump)
    assert (late["passes"], late["drawdown_passes"]) == (False, True)
    assert [one["passes"] for one in unread["pumps"]] == [True, False]
    assert not unread["passes"]


def test_by_name_a_rule_may_be_stated_in_full():
    found = asked(rule={"final": {"fixed": "8400 kPa"}}, functions=[{"name": "All", "pressure": "1250 psi"}])
    assert found["passes"]
    assert found["limit"]["value"] == pytest.approx(1218.3, abs=0.1)
    assert found["clause"] == "as given"


def test_the_units_asked_in_change_nothing():
    metric = asked(units="si")
    assert metric["limit"]["value"] == pytest.approx(asked()["limit"]["value"] * PSI / 1000)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"rule": "nobody"}, "rule"),
        ({"rule": {"final": {"fixed": "1 psi"}, "expr": 1}}, "rule.expr"),
        ({"start": "3000 psia"}, "start"),
        ({"start": float("nan")}, "start"),
        ({"precharge_tolerance": "-1 psi"}, "precharge_tolerance"),
        ({"functions": []}, "functions"),
        ({"functions": [{"name": "x"}] * 10_000}, "functions"),
        ({"functions": [{"name": "x", "kind": "widget"}]}, "functions.0.kind"),
        ({"functions": [{"name": "x", "time": "-1 s"}]}, "functions.0.time"),
        ({"functions": [{"name": "x", "pressure": "-1 psi"}]}, "functions.0.pressure"),
        ({"functions": [{"name": "x", "bore": "0 in"}]}, "functions.0.bore"),
        ({"recharges": [{"pumps": "all", "from": "3000 psi", "to": "1 psi", "time": "1 min"}]}, "recharges.0.to"),
        ({"recharges": [{"pumps": "all", "from": "1 psi", "to": "3000 psi", "time": "0 s"}]}, "recharges.0.time"),
        ({"recharges": [{"pumps": "all"}] * 1000}, "recharges"),
        ({"pumps": [{"pump": "1", "duty": "third", "drive": "air"}]}, "pumps.0.duty"),
        (
            {"rated": "900 psi", "recharges": [{"pumps": "all", "from": "1 psi", "to": "2 psi", "time": "1 s"}]},
            "rated",
        ),
    ],
)
def test_by_name_what_cannot_be_is_refused_by_its_field(changes: dict[str, Any], field: str):
    assert refused(**changes) == field
