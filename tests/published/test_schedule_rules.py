"""What recurs or events call for, against the published rules. How surely a figure is known stands beside it."""

from typing import Any

import pytest

from calcs.bank_rules import drawdown_rule, response_limit
from calcs.rules import PressureRule, Subject, choose
from calcs.schedule_rules import ScheduledRule, TimedTrigger, scheduled, stated
from calcs.units import Dimension, to_si
from tests_app import rulebook

ORDER_2 = "43 CFR 3172.6 (Onshore Order 2, III.A.2)"
PSI = to_si(1, "psi", Dimension.PRESSURE)


@pytest.mark.parametrize(
    ("regime", "task", "what", "stack", "interval", "clause", "confidence"),
    [
        # 30 CFR 250.433(a) to (c): read.
        ("us-ocs", "function", "diverter", "surface", "24 h", "30 CFR 250.433(a), (c)", "read"),
        ("us-ocs", "pressure", "diverter", "surface", "7 d", "30 CFR 250.433(a)", "read"),
        ("us-ocs", "function", "diverter", "subsea", "7 d", "30 CFR 250.433(b)", "read"),
        # 30 CFR 250.737(d): seven days read in an official report, the rest from memory.
        ("us-ocs", "function", "annular", "surface", "7 d", "30 CFR 250.737(d)(9)", "read-2"),
        ("us-ocs", "function", "variable-bore-ram", "subsea", "7 d", "30 CFR 250.737(d)(9)", "read-2"),
        ("us-ocs", "function", "casing-shear-ram", "surface", "14 d", "30 CFR 250.737(d)(10)", "memory"),
        ("us-ocs", "function", "control-station", "surface", "7 d", "30 CFR 250.737(d)(5)(i)", "memory"),
        ("us-ocs", "function", "remote-panel", "surface", "30 d", "30 CFR 250.737(d)(5)(ii)", "memory"),
        # 30 CFR 250.739 and 250.711: from memory.
        ("us-ocs", "overhaul", "pipe-ram", "surface", "5 years", "30 CFR 250.739(b)", "memory"),
        ("us-ocs", "inspection", "bop-system", "surface", "1 d", "30 CFR 250.739(c)", "memory"),
        ("us-ocs", "inspection", "riser", "subsea", "3 d", "30 CFR 250.739(c)", "memory"),
        ("us-ocs", "drill", "crew", "surface", "7 d", "30 CFR 250.711", "memory"),
        # API Standard 53, 4th edition: from memory.
        ("api53-4", "function", "annular", "surface", "7 d", "API Standard 53, 6.5.2 and 7.6.3", "memory"),
        ("api53-4", "function", "annular", "subsea", "7 d", "API Standard 53, 6.5.2 and 7.6.3", "memory"),
        ("api53-4", "function", "blind-shear-ram", "subsea", "21 d", "API Standard 53, 6.5.2 and 7.6.3", "memory"),
        ("api53-4", "overhaul", "connector", "subsea", "5 years", "API Standard 53, 6.5.7 and 7.6.11", "memory"),
        ("api53-4", "function", "deadman", "subsea", "5 years", "API Standard 53, 7.6 and annexes", "memory-low"),
        # API Recommended Practice 53, 3rd edition: read by report.
        (
            "rp53-3",
            "function",
            "pipe-ram",
            "surface",
            "7 d",
            "API Recommended Practice 53, sections 17 and 18",
            "read-2",
        ),
        ("rp53-3", "overhaul", "diverter", "surface", "5 years", "API Recommended Practice 53, 18.10.3", "read-2"),
        # 43 CFR 3172 by Onshore Order 2: from memory.
        ("us-blm", "function", "annular", "surface", "7 d", "43 CFR 3172.6 (Onshore Order 2, III.A.2.i)", "memory"),
        ("us-blm", "drill", "crew", "surface", "7 d", "43 CFR 3172.6 (Onshore Order 2, III.A.2.i)", "memory"),
        (
            "us-blm",
            "precharge",
            "accumulators",
            "surface",
            "182 d",
            "43 CFR 3172.6 (Onshore Order 2, III.A.2)",
            "memory",
        ),
        # NORSOK D-010 Annex A, Activities Regulations section 51: from memory.
        ("no", "function", "annular", "subsea", "7 d", "NORSOK D-010, Annex A", "memory"),
        ("no", "overhaul", "bop-system", "subsea", "5 years", "Activities Regulations, section 51", "memory"),
        # Directive 036: from memory.
        ("ab-d36", "function", "pipe-ram", "surface", "1 d", "Directive 036", "memory"),
        ("ab-d36", "function", "annular", "surface", "7 d", "Directive 036", "memory"),
        # 25 Pa. Code 78.72(f) with the regulator's answers, LAC 43:XIX.111(B): read.
        ("us-pa", "function", "pipe-ram", "surface", "1 d", "25 Pa. Code 78.72(f)", "read"),
        ("us-la", "function", "diverter", "surface", "24 h", "LAC 43:XIX.111(B)", "read"),
    ],
)
def test_intervals_with_their_clauses(
    regime: str, task: str, what: str, stack: Any, interval: str, clause: str, confidence: str
):
    recurs = scheduled(rulebook.edition(regime), task, what, stack=stack).recurrence
    assert recurs is not None
    assert (str(recurs.interval), recurs.source.clause, recurs.source.confidence) == (interval, clause, confidence)


@pytest.mark.parametrize(
    ("regime", "kind", "interval", "clause", "confidence"),
    [
        # 43 CFR 3172.6 by Onshore Order 2, NORSOK D-010, RP 53: from memory.
        ("us-blm", "pipe-ram", "30 d", "43 CFR 3172.6 (Onshore Order 2, III.A.2.i)", "memory"),
        ("no", "pipe-ram", "14 d", "NORSOK D-010, Annex A", "memory"),
        ("no", "blind-shear-ram", "14 d", "NORSOK D-010, Annex A", "memory-low"),
        ("rp53-3", "annular", "21 d", "API Recommended Practice 53, 17.3 and 18.3", "memory"),
        # State rules: read, but for the Texan one.
        ("us-az", "pipe-ram", "14 d", "R12-7-113(B)(1)-(3)", "read"),
        ("us-ut", "pipe-ram", "30 d", "R649-3-7(4)", "read"),
        ("us-wy", "manifold", "30 d", "Wyoming workplace safety rules, chapter 7, section 7-3(a)(iv)", "read"),
        ("us-ms", "annular", "21 d", "Mississippi Administrative Code 26-2-1.13", "read"),
        ("us-tx", "annular", "21 d", "16 TAC 3.13", "memory-low"),
    ],
)
def test_pressure_test_intervals_with_their_clauses(
    regime: str, kind: str, interval: str, clause: str, confidence: str
):
    recurs = choose(rulebook.edition(regime), Subject(kind)).recurrence
    assert recurs is not None
    assert (str(recurs.interval), recurs.source.clause, recurs.source.confidence) == (interval, clause, confidence)


@pytest.mark.parametrize(
    ("regime", "task", "occasion", "before", "after"),
    [
        # 30 CFR 250.737(d)(2) to (4): the notice from memory, the results read in the notice of the 2023 rule.
        ("us-ocs", "notice", "test-planned", "72 h", None),
        ("us-ocs", "report", "test-concluded", None, "72 h"),
        # 62 IAC 245.550: read.
        ("us-il", "notice", "test-planned", "24 h", None),
        # 30 CFR 250.730(c): 30 days from memory, 90 days read in a text that reports them.
        ("us-ocs", "report", "failure-found", None, "30 d"),
    ],
)
def test_times_an_event_leaves(regime: str, task: str, occasion: str, before: str | None, after: str | None):
    rule = scheduled(rulebook.edition(regime), task, "bop-system", occasion=occasion).rule
    (event,) = rule.events
    assert isinstance(event, TimedTrigger)
    assert [one and str(one) for one in (event.before, event.after)] == [before, after]


def test_an_analysis_of_a_failure_begins_within_90_days():
    # 30 CFR 250.730(c): read in a text that reports it; 120 days before.
    found = scheduled(rulebook.edition("us-ocs"), "report", "bop-system", occasion="failure-found")
    assert [str(rule.events[0].after) for rule in found.rules] == ["30 d", "90 d"]


def test_casing_is_tested_to_70_percent_of_its_yield_for_30_minutes_and_may_lose_a_tenth():
    # 30 CFR 250.721(a), (f): read.
    rule = scheduled(rulebook.edition("us-ocs"), "casing", "casing", occasion="cemented").rule
    assert (rule.high.formula.fraction, rule.high.formula.of) == (0.7, "casing-burst")
    assert (rule.hold.duration, rule.decline.fraction, rule.decline.over) == (1800, 0.10, 1800)
    conductor = scheduled(rulebook.edition("us-ocs"), "casing", "conductor", occasion="cemented").rule
    assert conductor.high.formula.pressure_gauge == pytest.approx(250 * PSI)
    assert {one.high.source.confidence for one in (rule, conductor)} == {"read"}


def test_precharges_of_onshore_order_2():
    # Onshore Order 2, III.A.2, table: from memory.
    bands = scheduled(rulebook.edition("us-blm"), "precharge", "accumulators").rule.bands
    found = [[round(one / PSI) for one in (b.working, b.lowest, b.desired, b.highest)] for b in bands]
    assert found == [[1500, 700, 750, 800], [2000, 900, 1000, 1100], [3000, 900, 1000, 1100]]


def test_alberta_works_in_si():
    # Directive 036: from memory; the closing times unsure.
    edition = rulebook.edition("ab-d36")
    (rule,) = [one for one in edition.rules if isinstance(one, PressureRule)]
    assert rule.low.min_gauge == pytest.approx(1_400_000)
    assert rule.hold.duration == 600
    assert drawdown_rule(edition, stack="surface").final[0].pressure_gauge == pytest.approx(8_400_000)
    assert response_limit(edition, kind="pipe-ram", stack="surface").within == 30


def test_norway_holds_the_low_pressure_five_minutes_and_the_high_ten():
    # NORSOK D-010, Annex A: from memory.
    (rule,) = choose(rulebook.edition("no"), Subject("annular")).pressure_rules
    assert (rule.hold.low, rule.hold.duration) == (300, 600)
    assert (rule.low.min_gauge, rule.low.max_gauge) == (1_500_000, 2_000_000)


def test_onshore_order_2_holds_ten_minutes_and_states_no_low_test():
    # Onshore Order 2, III.A.2.i: from memory.
    for kind, fraction in (("pipe-ram", None), ("annular", 0.5)):
        (rule,) = choose(rulebook.edition("us-blm"), Subject(kind)).pressure_rules
        assert (rule.low, rule.hold.duration) == (None, 600)
        assert getattr(rule.high.formula, "fraction", None) == fraction


def test_nothing_of_norsok_or_of_onshore_order_2s_numbers_is_surer_than_memory():
    # Neither text could be read.
    for regime in ("no", "us-blm"):
        rules = stated(ScheduledRule, (rulebook.edition(regime),))
        assert {rule.confidence for rule in rules} == {"memory"}
