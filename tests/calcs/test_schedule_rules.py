"""What recurs or is called for by events as data: what a file may say, and which rule answers."""

import copy
import datetime as dt
from typing import Any

import pytest

from calcs.errors import InputError
from calcs.recurrence import Interval
from calcs.requirements import required_pressures
from calcs.rule_files import parse_edition
from calcs.rules import Edition, Occasion, StatedRule, Subject, choose
from calcs.schedule_rule_words import asked_of, event_words
from calcs.schedule_rules import (
    Evidence,
    Needed,
    ScheduledRule,
    TimedTrigger,
    WaiverRule,
    evidence_for,
    postponement_of,
    scheduled,
    waivers_of,
)
from calcs.units import Dimension, GaugePressure, to_si
from tests_app import rulebook

PSI = to_si(1, "psi", Dimension.PRESSURE)
FOOT = to_si(1, "ft", Dimension.LENGTH)
SOURCE = {"clause": "H 1", "confidence": "read"}
WEEKLY = {"interval": "7 d", "deadline": "midnight", **SOURCE}
BOTH_WAYS = {"before": "1 d", "after": "1 d", **SOURCE}
COMMON = {**SOURCE, "title": "t"}
RAMS = {
    **COMMON,
    "kind": "schedule",
    "id": "f",
    "task": "function",
    "scope": [{"kinds": ["pipe-ram"]}],
    "recurs": WEEKLY,
}
CASING = {
    **COMMON,
    "kind": "schedule",
    "id": "c",
    "task": "casing",
    "things": ["casing"],
    "high": {"fraction": 0.7, "of": "casing-burst", **SOURCE},
    "hold": {"time": "30 min", **SOURCE},
    "decline": {"fraction": 0.1, "over": "30 min"},
    "events": [{"occasion": "cemented", **SOURCE}],
}
STATIONS = {
    **COMMON,
    "kind": "evidence",
    "id": "e",
    "tasks": ["pressure"],
    "things": ["control-station"],
    "evidence": [{"what": "each-station", "within": "14 d"}],
}
WAIVER = {**COMMON, "kind": "waiver", "id": "w", "waives": ["f"], "conditions": ["named-in-permit", "not-in-use"]}
WAIT = {**COMMON, "kind": "postponement", "id": "p", "reasons": ["losses"], "then": "trip"}
PRESSURE = {
    **COMMON,
    "kind": "pressure",
    "id": "r",
    "scope": [{"kinds": ["pipe-ram"]}],
    "leaves_open": ["low", "hold"],
    "high": {"fraction": 1.0, **SOURCE},
    "recurs": {**WEEKLY, "interval": "14 d"},
}


def house(*rules: dict[str, Any], key: str = "house/1") -> Edition:
    return parse_edition(
        copy.deepcopy(
            {
                "id": key,
                "regime": "house",
                "title": "House rules",
                "edition": "first",
                "source": "invented for the tests",
                "checked_on": dt.date(2026, 1, 1),
                "rules": list(rules),
            }
        )
    )


def only(rule: dict[str, Any]) -> StatedRule:
    return house(rule).schedule_rules[0]


@pytest.mark.parametrize(
    ("rule", "changes", "field"),
    [
        (RAMS, {"taks": "function"}, "rules.0.taks"),
        (RAMS, {"task": "polish"}, "rules.0.task"),
        (RAMS, {"things": ["coffee"]}, "rules.0.things.0"),
        (RAMS, {"scope": []}, "rules.0.scope"),
        (RAMS, {"recurs": None}, "rules.0.recurs"),
        (RAMS, {"recurs": {**WEEKLY, "every": "1 d"}}, "rules.0.recurs.every"),
        (RAMS, {"renewed_by": ["rest"]}, "rules.0.renewed_by.0"),
        (RAMS, {"at_most_every": "often"}, "rules.0.at_most_every"),
        (RAMS, {"within": "0 s"}, "rules.0.within"),
        (RAMS, {"prerequisites": ["luck"]}, "rules.0.prerequisites.0"),
        (RAMS, {"evidence": [{"what": "faith"}]}, "rules.0.evidence.0.what"),
        (RAMS, {"evidence": [{"what": "chart", "on": "paper"}]}, "rules.0.evidence.0.on"),
        (RAMS, {"confidence": "given"}, "rules.0.confidence"),
        (CASING, {"events": [{"occasion": "interval", **SOURCE}]}, "rules.0.events.0.occasion"),
        (
            CASING,
            {"events": [{"occasion": "trip", "before": "1 d", "after": "1 d", **SOURCE}]},
            "rules.0.events.0.before",
        ),
        (CASING, {"decline": {"fraction": 1.0, "over": "30 min"}}, "rules.0.decline.fraction"),
        (CASING, {"high": {"expression": "0.7 * MIYP", **SOURCE}}, "rules.0.high"),
        (CASING, {"high": {"per_casing_depth": "0 psi/ft", **SOURCE}}, "rules.0.high.per_casing_depth"),
        (
            RAMS,
            {"bands": [{"working": "3000 psi", "lowest": "1100 psi", "desired": "1000 psi", "highest": "1200 psi"}]},
            "rules.0.bands.0.lowest",
        ),
        (STATIONS, {"tasks": []}, "rules.0.tasks"),
        (STATIONS, {"evidence": []}, "rules.0.evidence"),
        (STATIONS, {"recurs": WEEKLY}, "rules.0.recurs"),
        (WAIVER, {"conditions": []}, "rules.0.conditions"),
        (WAIVER, {"conditions": ["nobody-looks"]}, "rules.0.conditions.0"),
        (WAIVER, {"waives": []}, "rules.0.waives"),
        (WAIVER, {"waives": ["g"]}, "rules.0.waives.0"),
        (WAIT, {"reasons": ["no-time"]}, "rules.0.reasons.0"),
        (WAIT, {"reasons": []}, "rules.0.reasons"),
        (PRESSURE, {"leaves_open": ["high"]}, "rules.0.leaves_open.0"),
        (PRESSURE, {"leaves_open": ["low"]}, "rules.0.hold"),
        (PRESSURE, {"hold": {"time": "5 min", **SOURCE}}, "rules.0.hold"),
        (PRESSURE, {"waives": ["r"]}, "rules.0.waives"),
    ],
)
def test_a_rule_outside_the_vocabulary_is_refused_by_its_path(rule: dict[str, Any], changes: dict, field: str):
    with pytest.raises(InputError) as caught:
        house({**rule, **changes})
    assert caught.value.field == field


def test_an_unknown_kind_lists_these_kinds_too():
    with pytest.raises(InputError, match="schedule, evidence, waiver, postponement"):
        house({**RAMS, "kind": "routine"})


def test_they_stand_beside_the_pressure_rules_and_do_not_mix():
    edition = house(RAMS, PRESSURE, WAIVER)
    assert [rule.id for rule in edition.rules] == ["r"]
    assert [rule.id for rule in edition.schedule_rules] == ["f", "w"]


def test_of_two_editions_the_shorter_interval_wins_and_both_are_kept():
    stricter = house({**RAMS, "id": "g", "recurs": {**WEEKLY, "interval": "1 d"}}, key="house/2")
    for order in ([house(RAMS), stricter], [stricter, house(RAMS)]):
        found = scheduled(order, "function", "pipe-ram")
        assert [rule.id for rule in found.rules] == ["g", "f"]
        assert found.recurrence is not None
        assert str(found.recurrence.interval) == "1 d"


def test_of_two_editions_the_shorter_time_after_an_event_wins():
    def within(days: str) -> dict[str, Any]:
        event = {"occasion": "failure-found", "after": days, **SOURCE}
        return {**CASING, "id": days[:2], "task": "report", "events": [event]}

    found = scheduled([house(within("90 d")), house(within("30 d"))], "report", "casing", occasion="failure-found")
    assert [rule.id for rule in found.rules] == ["30", "90"]
    assert found.recurrence is None


def test_evidence_of_every_rule_that_applies_counts():
    more = {**RAMS, "id": "g", "evidence": [{"what": "closing-times"}, {"what": "volumes"}]}
    found = scheduled([house({**RAMS, "evidence": [{"what": "closing-times"}]}), house(more)], "function", "pipe-ram")
    assert found.evidence == (Needed(Evidence.CLOSING_TIMES), Needed(Evidence.VOLUMES))


@pytest.mark.parametrize(
    ("asked", "fields"),
    [
        ({"task": "overhaul", "what": "pipe-ram"}, ["task"]),
        ({"task": "function", "what": "annular"}, ["what"]),
        ({"task": "function", "what": "crew"}, ["what"]),
        ({"task": "function", "what": "pipe-ram", "stack": "subsea"}, ["stack"]),
        ({"task": "function", "what": "pipe-ram", "occasion": "trip"}, ["occasion"]),
        ({"task": "drill", "what": "pipe-ram", "stack": "subsea"}, ["task", "stack"]),
    ],
)
def test_no_rule_is_an_error_that_says_which_fields_found_none(asked: dict[str, Any], fields: list[str]):
    edition = house({**RAMS, "scope": [{"kinds": ["pipe-ram"], "stacks": ["surface"]}]})
    with pytest.raises(InputError) as refused:
        scheduled(edition, **asked)
    assert refused.value.field == fields[0]
    assert all(f"{name} {asked[name]}" in refused.value.reason for name in fields)


def test_a_thing_nobody_knows_is_refused():
    with pytest.raises(InputError, match="control-station"):
        scheduled(house(RAMS), "function", "gearbox")
    with pytest.raises(InputError):
        evidence_for(house(RAMS), "function", "gearbox")


def test_beside_things_a_scope_without_kinds_says_where_they_are_and_takes_in_no_component():
    edition = house({**RAMS, "things": ["pod"], "scope": [{"stacks": ["subsea"]}]})
    assert scheduled(edition, "function", "pod", stack="subsea").rule.id == "f"
    for what, stack in (("pod", "surface"), ("annular", "subsea")):
        with pytest.raises(InputError):
            scheduled(edition, "function", what, stack=stack)


def test_a_waiver_holds_only_when_every_condition_is_met():
    (waiver,) = waivers_of(house(RAMS, WAIVER), "f")
    assert waiver.unmet({"not-in-use"}) == ("named-in-permit",)
    assert waiver.unmet({"not-in-use", "named-in-permit"}) == ()
    assert waivers_of(house(RAMS, {**WAIVER, "occasions": ["trip"]}), "f") == ()


def test_a_rule_may_leave_the_hold_open_and_another_in_force_with_it_gives_it():
    alone = house(PRESSURE)
    assert alone.rules[0].kind == "pressure"
    with pytest.raises(InputError) as refused:
        required_pressures(choose(alone, Subject("pipe-ram")), rwp=GaugePressure(5000 * PSI))
    assert refused.value.field == "hold"
    both = choose([alone, rulebook.edition("us-ocs")], Subject("pipe-ram"))
    found = required_pressures(both, rwp=GaugePressure(5000 * PSI))
    assert (found.hold, found.low is not None) == (300, True)
    assert {rule.id for rule in both.rules} == {"r", "ocs-pt-14d"}


def test_a_pressure_by_the_casings_depth_needs_the_depth():
    rule = {**PRESSURE, "leaves_open": ["low"], "hold": {"time": "5 min", **SOURCE}}
    choice = choose(house({**rule, "high": {"per_casing_depth": "1 psi/ft", **SOURCE}}), Subject("pipe-ram"))
    found = required_pressures(choice, rwp=GaugePressure(5000 * PSI), casing_depth=3200 * FOOT)
    assert found.high_gauge == pytest.approx(3200 * PSI)
    assert any("3,200 ft" in step.line("us") for step in found.working)
    with pytest.raises(InputError) as refused:
        required_pressures(choice, rwp=GaugePressure(5000 * PSI))
    assert refused.value.field == "casing_depth"
    with pytest.raises(InputError):
        required_pressures(choice, rwp=GaugePressure(5000 * PSI), casing_depth=-1.0)


def test_a_shorter_low_hold_lasts_its_own_time_and_none_where_no_low_test_is_asked():
    hold = {"time": "10 min", "low_time": "5 min", **SOURCE}
    without = choose(house({**PRESSURE, "leaves_open": ["low"], "hold": hold}), Subject("pipe-ram"))
    found = required_pressures(without, rwp=GaugePressure(5000 * PSI))
    assert (found.hold, found.low_hold, found.low) == (600, None, None)
    assert any("No low test is asked by" in note for note in found.notes)
    band = {"min": "250 psi", "max": "350 psi", **SOURCE}
    stated = {key: value for key, value in PRESSURE.items() if key != "leaves_open"}
    both = choose(house({**stated, "low": band, "hold": hold}), Subject("pipe-ram"))
    found = required_pressures(both, rwp=GaugePressure(5000 * PSI))
    assert (found.hold, found.low_hold) == (600, 300)


@pytest.mark.parametrize("edition", rulebook.editions(), ids=lambda edition: edition.id)
def test_every_rule_shipped_says_what_it_asks_in_words(edition: Edition):
    for rule in edition.schedule_rules:
        said = list(asked_of(rule))
        assert said
        assert all(about and words for about, words in said)
        assert all(event_words(event) for event in rule.events if isinstance(event, TimedTrigger))


def test_words_of_a_waiver_a_wait_and_a_notice():
    said = dict(asked_of(only_of(house(RAMS, WAIVER), WaiverRule)))
    assert said["Waives"] == "f"
    assert dict(asked_of(only_of(house(RAMS, WAIVER), WaiverRule), {"f": "Rams"}))["Waives"] == "Rams"
    assert "named in the permit" in said["Only if all"]
    assert dict(asked_of(only(WAIT)))["Reasons accepted"] == "losses, and no other"
    notice = TimedTrigger(
        Occasion.TEST_PLANNED, only_of(house(RAMS), ScheduledRule).recurs.source, Interval.parse("72 h")
    )
    assert event_words(notice) == "before a test planned, by at least 72 hours"


def only_of(edition: Edition, wanted: type) -> Any:
    (found,) = [rule for rule in edition.schedule_rules if isinstance(rule, wanted)]
    return found


def test_a_rule_without_postponement_says_none():
    assert postponement_of(house(RAMS)) is None
    assert postponement_of(house(WAIT)).then == Occasion.TRIP


def test_a_comparison_inside_a_comparison_stands_in_brackets():
    inner = {"greatest": [{"per_casing_depth": "0.22 psi/ft"}, {"fixed": "1500 psi"}]}
    rule = only({**CASING, "high": {"least": [inner, {"fraction": 0.7, "of": "casing-burst"}], **SOURCE}})
    words = dict(asked_of(rule))["Pressure"]
    assert words == (
        "the least of (the greatest of 0.22 psi/ft of the last casing's depth, 1,500 psi), "
        "70 % of the casing's internal yield"
    )
