"""Where simple software goes wrong with rules, pressures and intervals: each trap held by the rules shipped.

Traps held elsewhere, with where:

- midnight, the two sentences of the clause, the conclusion, begun against finished, time zones:
  tests/calcs/test_recurrence.py and tests/published/test_deadlines.py
- a section that begins asks for its own pressure (next section): test_recurrence.py,
  test_a_test_below_the_present_sections_pressure_does_not_count
- out of service, return, a repair before the test: test_recurrence.py, test_out_of_service_has_no_deadline_…,
  test_what_breaks_into_a_passing_test_makes_the_item_due_at_once
- a postponement keeps the date: test_recurrence.py, test_a_deferral_moves_the_date_and_expires_by_itself
- low before high, the peak over 500 psi, few samples, units at the limit: tests/calcs/test_holds.py and
  tests/published/test_holds_published.py
- MASP plus 500 psi only with an approval: tests/calcs/test_rules.py,
  test_masp_plus_500_stands_in_for_the_rating_only_with_an_approval
- three-minute holds: test_rules.py, test_three_minutes_do_only_at_the_surface_and_only_recorded
- the drawdown's end by the precharge measured: tests/calcs/test_drawdown_verdict.py
- pumps off, 15 and 30 minutes, the annular's bore, choke and kill valves: tests/published/test_bank_rules.py
- a failed test that stays, a retest of what was affected alone: tests/tests_app/test_superseding.py, test_unproven.py
"""

from typing import Any

import pytest

from calcs.bank_rules import drawdown_rule, response_limit
from calcs.errors import InputError
from calcs.recurrence import Interval
from calcs.requirements import Approval, required_pressures
from calcs.rule_files import parse_inline_rule
from calcs.rules import Choice, Edition, ExemptRule, Occasion, PressureRule, Subject, applies, choose
from calcs.schedule_rules import (
    Evidence,
    PostponeReason,
    Prerequisite,
    ScheduledRule,
    Task,
    TimedTrigger,
    WaiverRule,
    evidence_for,
    postponement_of,
    scheduled,
    stated,
    waivers_of,
)
from calcs.signing import seats
from calcs.units import Dimension, GaugePressure, to_si
from tests_app import rulebook

PSI = to_si(1, "psi", Dimension.PRESSURE)
FOOT = to_si(1, "ft", Dimension.LENGTH)
INCH = to_si(1, "in", Dimension.LENGTH)
OCS, API, BLM = (rulebook.edition(name) for name in ("us-ocs", "api53-4", "us-blm"))
NO, AB, RP = (rulebook.edition(name) for name in ("no", "ab-d36", "rp53-3"))
AZ, UT, WY, MS, PA, WA = (rulebook.edition(f"us-{state}") for state in ("az", "ut", "wy", "ms", "pa", "wa"))


def psi(value: float) -> GaugePressure:
    return GaugePressure(value * PSI)


def interval(edition: Edition, kind: str, stack: Any = "surface") -> str:
    recurs = choose(edition, Subject(kind, stack)).recurrence
    assert recurs is not None
    return str(recurs.interval)


HOLD = parse_inline_rule({"high": {"fixed": "1 psi"}, "hold": "5 min"})
"""Lends a time of holding to rules that state none, and asks next to no pressure."""


def high(edition: Edition, kind: str, occasion: str = Occasion.INTERVAL, **figures: Any) -> float:
    """The high pressure an edition asks of a kind, in psi."""
    subject = Subject(kind, occasion=occasion)
    found = required_pressures(Choice(subject, (*choose(edition, subject).rules, HOLD)), **figures)
    return found.high_gauge / PSI


def calls(edition: Edition, kind: str, stack: Any = "surface") -> set[str]:
    """The occasions on which an edition asks for a pressure test of a kind."""
    found = set()
    for occasion in Occasion:
        subject = Subject(kind, stack, occasion=occasion)
        if any(applies(rule, subject) for rule in edition.rules if isinstance(rule, PressureRule)):
            found.add(occasion.value)
    return found


def low_band(edition: Edition) -> tuple[float, float]:
    lows = [rule.low for rule in edition.rules if isinstance(rule, PressureRule) and rule.low]
    (band,) = {(low.min_gauge, low.max_gauge) for low in lows}
    return band


# Clocks


def test_blind_shears_have_clocks_of_their_own():
    assert (interval(OCS, "blind-shear-ram"), interval(OCS, "pipe-ram")) == ("30 d", "14 d")
    shears = scheduled(OCS, "function", "blind-shear-ram").recurrence
    rams = scheduled(OCS, "function", "pipe-ram").recurrence
    assert (str(shears.interval), str(rams.interval)) == ("14 d", "7 d")
    assert str(scheduled(API, "function", "blind-shear-ram").recurrence.interval) == "21 d"


def test_the_blind_shears_clock_of_one_regime_is_not_anothers():
    assert {interval(one, "blind-shear-ram") for one in (API, MS)} == {"21 d"}
    assert interval(NO, "blind-shear-ram") == "14 d"


@pytest.mark.parametrize(
    ("edition", "days"),
    [(OCS, "14 d"), (API, "21 d"), (MS, "21 d"), (AZ, "14 d"), (UT, "30 d"), (WY, "30 d"), (BLM, "30 d"), (NO, "14 d")],
    ids=lambda one: getattr(one, "id", one),
)
def test_21_days_are_not_for_everyone(edition: Edition, days: str):
    assert interval(edition, "pipe-ram") == days


def test_21_days_offshore_need_an_approval_and_a_plan():
    (relief,) = [rule for rule in waivers_of(OCS, "ocs-pt-14d") if rule.recurs]
    assert str(relief.recurs.interval) == "21 d"
    assert relief.unmet({"regulator-approved"}) == ("health-monitoring-plan",)
    assert waivers_of(OCS, "ocs-pt-bsr-30d") == ()


def test_a_month_may_be_30_days_or_the_calendars_and_a_rule_says_which():
    assert Interval.parse("30 d") != Interval.parse("1 month")
    for edition in (UT, WY):
        recurs = choose(edition, Subject("pipe-ram")).recurrence
        assert recurs.source.note.startswith("Monthly, counted as 30 days.")
    assert "Monthly" not in choose(BLM, Subject("pipe-ram")).recurrence.source.note


def test_an_interval_nobody_established_is_not_made_up():
    with pytest.raises(InputError) as refused:
        choose(AB, Subject("pipe-ram"))
    assert refused.value.field == "occasion"
    assert "before-drill-out" in calls(AB, "pipe-ram")


def test_the_five_years_count_from_each_components_own_inspection():
    for edition in (OCS, API):
        rule = scheduled(edition, "overhaul", "annular").rule
        assert str(rule.recurs.interval) == "5 years"
        assert "its own last inspection" in rule.note


def test_a_surface_stack_is_looked_over_daily_and_a_subsea_one_every_three_days_weather_allowing():
    surface = scheduled(OCS, "inspection", "bop-system", stack="surface")
    subsea = scheduled(OCS, "inspection", "bop-system", stack="subsea")
    assert [str(one.recurrence.interval) for one in (surface, subsea)] == ["1 d", "3 d"]
    (weather,) = waivers_of(OCS, subsea.rule.id)
    assert weather.unmet({"weather-or-sea"}) == ("reason-recorded",)
    assert waivers_of(OCS, surface.rule.id) == ()


def test_a_practice_cited_gives_the_procedure_and_not_its_frequency():
    daily = scheduled([PA, RP], "function", "pipe-ram")
    assert str(scheduled(PA, "function", "pipe-ram").recurrence.interval) == "1 d"
    assert [rule.id for rule in daily.rules] == ["pa-1d", "rp3-ft-7d"]
    assert scheduled(PA, "function", "blind-ram", occasion="trip").rule.at_most_every == Interval.parse("1 d")


def test_notice_before_and_results_after_have_clocks_of_their_own():
    (notice,) = scheduled(OCS, "notice", "bop-system", occasion="test-planned").rule.events
    (results,) = scheduled(OCS, "report", "bop-system", occasion="test-concluded").rule.events
    assert isinstance(notice, TimedTrigger)
    assert isinstance(results, TimedTrigger)
    assert (str(notice.before), str(results.after)) == ("72 h", "72 h")


# Events


@pytest.mark.parametrize("occasion", ["installed", "before-drill-out", "seal-broken", "repaired", "refitted", "landed"])
def test_events_call_for_tests_whatever_the_calendar_says(occasion: str):
    assert occasion in calls(OCS, "pipe-ram", "subsea")


@pytest.mark.parametrize(
    ("task", "what", "occasion"),
    [
        ("pressure", "bop-system", "relatched"),
        ("pressure", "lmrp", "lmrp-relatched"),
        ("inspection", "bop-system", "pipe-sheared"),
    ],
)
def test_latching_again_and_shearing_call_for_their_own_tests(task: str, what: str, occasion: str):
    assert scheduled(OCS, task, what, stack="subsea", occasion=occasion).rule.confidence == "read"


def test_the_test_before_drilling_out_is_waived_only_with_every_condition_and_named_in_the_permit():
    (waiver,) = waivers_of(OCS, "ocs-pt-14d", occasion="before-drill-out")[:1]
    three = {"stack-not-removed", "pressures-not-higher", "within-interval"}
    assert waiver.unmet(three) == ("named-in-permit",)
    assert waiver.unmet({*three, "named-in-permit"}) == ()
    assert len(waiver.unmet(())) == 4


def test_a_repair_calls_for_the_component_and_a_long_subsea_repair_for_the_deck():
    assert {"repaired", "seal-broken"} <= calls(OCS, "pipe-ram")
    again = scheduled(OCS, "pressure", "bop-system", stack="subsea", occasion="relatched").rule
    assert again.prerequisites == (Prerequisite.ON_STUMP_AFTER_LONG_REPAIR,)
    assert high(WY, "annular", "seal-broken", rwp=psi(5000)) == pytest.approx(5000)


def test_a_test_waits_only_for_well_control_trouble_and_is_made_after_the_first_trip_out():
    wait = postponement_of(OCS)
    assert wait.reasons == (PostponeReason.LOSSES, PostponeReason.INFLUX, PostponeReason.STUCK_PIPE)
    assert wait.then == Occasion.TRIP


def test_rams_without_a_use_are_left_out_only_when_permitted_and_labelled_and_until_used():
    (unused,) = waivers_of(OCS, "ocs-ft-7d")
    assert unused in waivers_of(OCS, "ocs-pt-14d")
    assert unused.unmet({"not-in-use", "named-in-permit"}) == ("labelled-on-panels",)
    assert "tested first" in unused.until


def test_a_station_or_pod_that_is_down_stops_operations_and_is_no_note():
    rule = scheduled(OCS, "report", "pod", occasion="station-down").rule
    assert "operations suspended" in rule.title


def test_deadman_autoshear_and_disconnect_are_no_ram_tests():
    for thing in ("deadman", "autoshear", "emergency-disconnect"):
        assert scheduled(OCS, "function", thing, stack="subsea", occasion="stump").rule.id == "ocs-ft-emergency-stump"
    below = scheduled(OCS, "function", "deadman", stack="subsea", occasion="landed").rule
    assert set(below.prerequisites) == {
        Prerequisite.ROV_ON_BOTTOM,
        Prerequisite.WELL_SECURED,
        Prerequisite.QUICK_DISCONNECT_POSSIBLE,
    }


def test_a_function_test_may_need_the_pipe_clear_and_never_moves_itself():
    assert scheduled(AB, "function", "blind-ram", occasion="trip").rule.prerequisites == (Prerequisite.PIPE_CLEAR,)
    assert stated(WaiverRule, (AB,)) == ()


# What a test brings


def test_a_pressure_test_counts_as_function_test_for_what_it_closed_and_nothing_else_does():
    assert scheduled(OCS, "function", "annular").rule.renewed_by == (Task.PRESSURE,)
    others = [rule for rule in stated(ScheduledRule, (OCS,)) if rule.things and rule.task is Task.FUNCTION]
    assert all(rule.renewed_by == () for rule in others)


def test_stations_and_pods_alternate_and_arizona_counts_for_each_station():
    offshore = {one.what for rule in evidence_for(OCS, "pressure", "pipe-ram", stack="subsea") for one in rule.evidence}
    assert {Evidence.STATIONS_ALTERNATED, Evidence.PODS_ALTERNATED} <= offshore
    surface = {one.what for rule in evidence_for(OCS, "pressure", "pipe-ram") for one in rule.evidence}
    assert Evidence.PODS_ALTERNATED not in surface
    ((each,),) = [rule.evidence for rule in evidence_for(AZ, "pressure", "pipe-ram")]
    assert (each.what, str(each.within)) == (Evidence.EACH_STATION, "14 d")


def test_variable_bore_rams_are_tested_on_both_ends_of_the_pipe_in_use():
    found = {rule.id: rule for rule in evidence_for(OCS, "pressure", "variable-bore-ram")}
    assert found["ocs-vbr"].evidence[0].what is Evidence.SMALLEST_AND_LARGEST_PIPE
    assert "bottom-hole assembly left out" in found["ocs-vbr"].title
    assert "ocs-vbr" not in {rule.id for rule in evidence_for(OCS, "pressure", "pipe-ram")}


def test_a_kill_lines_check_valve_is_held_open():
    (valves,) = evidence_for(BLM, "pressure", "check-valve")
    assert "held open" in valves.note


def test_three_people_sign_offshore():
    assert len(seats(OCS)) == 3


# Pressures


def test_the_low_band_is_the_editions_own():
    assert low_band(OCS) == pytest.approx((250 * PSI, 350 * PSI))
    assert low_band(RP) == pytest.approx((200 * PSI, 300 * PSI))
    assert low_band(NO) == pytest.approx((1.5e6, 2.0e6))
    assert low_band(AB)[0] == pytest.approx(1.4e6)
    assert choose(BLM, Subject("pipe-ram")).pressure_rules[0].low is None


def test_the_weakest_part_limits_the_high_pressure():
    approval = Approval("permit 12-B", psi(9000))
    assert high(BLM, "pipe-ram", rwp=psi(10000), approval=approval, weakest_part=psi(4000)) == pytest.approx(4000)


def test_over_rated_equipment_is_tested_to_what_is_approved():
    with pytest.raises(InputError) as refused:
        high(BLM, "pipe-ram", rwp=psi(10000))
    assert refused.value.field == "approval"
    assert high(BLM, "pipe-ram", rwp=psi(10000), approval=Approval("permit 12-B", psi(5000))) == pytest.approx(5000)
    assert high(BLM, "annular", rwp=psi(10000)) == pytest.approx(5000)


def test_some_states_take_the_least_and_one_the_greatest():
    figures = {"rwp": psi(10000), "casing_burst": psi(8000), "casing_depth": 4500 * FOOT}
    assert high(AZ, "pipe-ram", **figures) == pytest.approx(4500)
    assert high(AZ, "annular", rwp=psi(10000)) == pytest.approx(1000)
    assert high(UT, "pipe-ram", masp=psi(3200), **figures) == pytest.approx(3200)
    assert high(WY, "pipe-ram", rwp=psi(10000), masp=psi(3200)) == pytest.approx(5000)
    assert high(WY, "pipe-ram", rwp=psi(10000), masp=psi(6200)) == pytest.approx(6200)


def test_an_approved_departure_is_used_with_its_reference():
    subject = Subject("annular")
    approval = Approval("departure 7", psi(3000))
    found = required_pressures(choose(OCS, subject), rwp=psi(5000), approval=approval)
    assert found.high_gauge == pytest.approx(psi(3000))
    assert any("departure 7" in note for note in found.notes)


def test_of_several_regimes_the_strictest_counts_and_all_are_shown():
    choice = choose([API, OCS, MS], Subject("blind-ram"))
    assert choice.rule.id == "ocs-pt-14d"
    assert {rule.id for rule in choice.rules} == {"ocs-pt-14d", "a4-pt-21d", "ms-21d"}


# Closing times and drawdowns


def test_the_annulars_time_turns_on_its_bore_and_on_the_regime():
    at = 18.75 * INCH
    assert response_limit(OCS, kind="annular", stack="surface", bore=at).within == 45
    assert response_limit(OCS, kind="annular", stack="surface", bore=at - 0.01 * INCH).within == 30
    assert response_limit(AB, kind="annular", stack="surface", bore=0.346).within == 60
    assert response_limit(AB, kind="annular", stack="surface", bore=0.476).within == 90


def test_what_is_left_after_a_drawdown_is_the_editions_own():
    fixed = {one.id: one.final for one in (drawdown_rule(AB, stack="surface"), drawdown_rule(WA, stack="surface"))}
    assert fixed["ab-acc"][0].pressure_gauge == pytest.approx(8.4e6)
    assert fixed["wa-acc"][0].pressure_gauge == pytest.approx(1000 * PSI)


@pytest.mark.parametrize("edition", [OCS, API, BLM, NO, AB, RP, AZ, UT, WY, MS], ids=lambda one: one.id)
def test_shears_that_do_not_seal_are_never_pressure_tested(edition: Edition):
    exempt = [rule for rule in edition.rules if isinstance(rule, ExemptRule)]
    assert [rule.scopes[0].kinds for rule in exempt] == [("casing-shear-ram",)]
