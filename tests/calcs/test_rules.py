"""Rules as data: what a rule file may say, which rules apply, what they require."""

import copy
import datetime as dt
import itertools
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.requirements import Approval, required_pressures
from calcs.rule_files import parse_edition, parse_inline_rule
from calcs.rules import (
    KIND_LABELS,
    Choice,
    Confidence,
    Edition,
    ExemptRule,
    Occasion,
    PressureRule,
    Subject,
    applies,
    choose,
)
from calcs.units import Dimension, GaugePressure, to_si
from tests_app import rulebook

PSI = to_si(1, "psi", Dimension.PRESSURE)
OCS = rulebook.edition("us-ocs")
API = rulebook.edition("api53-4")
RATINGS = st.floats(min_value=1000, max_value=20000)


def psi(value: float) -> GaugePressure:
    return GaugePressure(value * PSI)


SMALL: dict[str, Any] = {
    "id": "house/1",
    "regime": "house",
    "title": "House rules",
    "edition": "first",
    "effective_from": dt.date(2026, 1, 1),
    "source": "invented for the tests",
    "checked_on": dt.date(2026, 1, 1),
    "rules": [
        {
            "kind": "pressure",
            "id": "h-ram",
            "clause": "H 1",
            "title": "Rams",
            "confidence": "read",
            "scope": [{"kinds": ["pipe-ram"]}],
            "low": {
                "min": "250 psi",
                "max": "350 psi",
                "restart_above": "500 psi",
                "clause": "H 2",
                "confidence": "read",
            },
            "high": {"fraction": 1.0, "clause": "H 3", "confidence": "read", "alternative": {"masp_plus": "500 psi"}},
            "hold": {"time": "5 min", "clause": "H 4", "confidence": "read"},
            "recurs": {"interval": "14 d", "deadline": "midnight", "clause": "H 5", "confidence": "read"},
        }
    ],
}


def small(**changes: Any) -> dict[str, Any]:
    """The small edition with values of its only rule replaced; None takes a value away."""
    edition = copy.deepcopy(SMALL)
    for path, value in changes.items():
        place: Any = edition["rules"][0]
        *parents, last = path.split("__")
        for parent in parents:
            place = place[parent]
        if value is None:
            del place[last]
        else:
            place[last] = value
    return edition


def rule_of(formula: dict[str, Any]) -> Choice:
    rule = parse_inline_rule({"high": formula, "hold": "5 min"})
    return Choice(Subject("pipe-ram"), (rule,))


def high_psi(formula: dict[str, Any], rwp: float = 10000, **figures: Any) -> float:
    return required_pressures(rule_of(formula), rwp=psi(rwp), **figures).high_gauge / PSI


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"holds": {}}, "rules.0.holds"),
        ({"low__mn": "1 psi"}, "rules.0.low.mn"),
        ({"high__alternative": {"masp_plus": "500 psi", "expr": "1+1"}}, "rules.0.high.alternative.expr"),
        ({"scope": [{"kind": ["pipe-ram"]}]}, "rules.0.scope.0.kind"),
    ],
)
def test_a_key_outside_the_vocabulary_is_named_by_its_path(changes: dict[str, Any], path: str):
    with pytest.raises(InputError) as refused:
        parse_edition(small(**changes))
    assert refused.value.field == path


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"low__min": "350 psi"}, "rules.0.low.max"),
        ({"low__restart_above": "300 psi"}, "rules.0.low.restart_above"),
        ({"low__min": "0 psi"}, "rules.0.low.min"),
        ({"low__min": 250}, "rules.0.low.min"),
        ({"high__fraction": 0}, "rules.0.high.fraction"),
        ({"high__fraction": None}, "rules.0.high"),
        ({"high__fixed": "300 psi"}, "rules.0.high"),
        ({"hold__time": "-5 min"}, "rules.0.hold.time"),
        ({"hold__reduced": "3 min"}, "rules.0.hold.conditions"),
        ({"hold__reduced": "6 min", "hold__conditions": ["at-surface"]}, "rules.0.hold.reduced"),
        ({"recurs__interval": "a fortnight"}, "rules.0.recurs.interval"),
        ({"recurs__deadline": "noon"}, "rules.0.recurs.deadline"),
        ({"recurs": None}, "rules.0.recurs"),
        ({"scope": []}, "rules.0.scope"),
        ({"scope": [{"kinds": ["ram"]}]}, "rules.0.scope.0.kinds.0"),
        ({"confidence": "sure"}, "rules.0.confidence"),
        ({"kind": "guess"}, "rules.0.kind"),
        ({"clause": None}, "rules.0.clause"),
        ({"high__clause": None}, "rules.0.high.clause"),
        ({"low__confidence": None}, "rules.0.low.confidence"),
        ({"hold__confidence": "given"}, "rules.0.hold.confidence"),
    ],
)
def test_a_value_that_cannot_be_is_named_by_its_path(changes: dict[str, Any], path: str):
    with pytest.raises(InputError) as refused:
        parse_edition(small(**changes))
    assert refused.value.field == path


def test_two_rules_of_one_id_are_refused():
    edition = small()
    edition["rules"].append(edition["rules"][0])
    with pytest.raises(InputError, match="twice"):
        parse_edition(edition)


def test_formulas_without_bottom_are_refused():
    formula: dict[str, Any] = {"fixed": "500 psi"}
    for _ in range(8):
        formula = {"least": [formula, {"fixed": "600 psi"}]}
    with pytest.raises(InputError):
        rule_of(formula)


CITED = {
    "us-ocs": ("30 CFR 250.7",),
    "api53-4": ("API Standard 53, ",),
    "rp53-3": ("API Recommended Practice 53, ",),
    "us-blm": ("43 CFR 3172",),
    "no": ("NORSOK D-010, ",),
    "ab-d36": ("Directive 036",),
    "us-az": ("R12-7-113(B)",),
    "us-ut": ("R649-3-7(",),
    "us-wy": ("Wyoming workplace safety rules, chapter 7",),
    "us-ms": ("Mississippi Administrative Code 26-2-1.13",),
    "us-tx": ("16 TAC 3.13",),
}


@pytest.mark.parametrize("edition", rulebook.editions(), ids=lambda edition: edition.id)
def test_every_figure_shipped_names_its_clause_and_how_surely_it_is_known(edition: Edition):
    for rule in edition.rules:
        sources: list[Any] = [rule]
        if isinstance(rule, PressureRule):
            sources += [figure.source for figure in (rule.low, rule.high, rule.hold, rule.recurs) if figure]
            sources += [event.source for event in rule.events]
        assert all(source.clause.startswith(CITED[edition.regime]) for source in sources)
        assert all(source.confidence in set(Confidence) - {Confidence.GIVEN} for source in sources)
    for stated in (*edition.bank_rules, *edition.schedule_rules):
        assert stated.clause
        assert stated.confidence is not Confidence.GIVEN


TESTED_OTHERWISE = {"closing-unit", "accumulator-bank", "riser", "diverter"}
EVERY_KIND_ON_THE_INTERVAL = ["us-ocs", "api53-4", "rp53-3", "us-blm", "no", "us-az", "us-ms", "us-tx"]


@pytest.mark.parametrize("stack", ["surface", "subsea"])
@pytest.mark.parametrize("regime", EVERY_KIND_ON_THE_INTERVAL)
def test_every_pressure_tested_kind_finds_exactly_one_rule(regime: str, stack):
    for kind in KIND_LABELS.keys() - TESTED_OTHERWISE:
        assert len(choose(rulebook.edition(regime), Subject(kind, stack)).rules) == 1, kind


@pytest.mark.parametrize("edition", rulebook.editions(), ids=lambda edition: edition.id)
def test_no_edition_answers_one_question_twice(edition: Edition):
    for stack in ("surface", "subsea"):
        for kind, occasion in itertools.product(KIND_LABELS, Occasion):
            subject = Subject(kind, stack, occasion=occasion)
            assert sum(applies(rule, subject) for rule in edition.rules) <= 1, subject


@pytest.mark.parametrize("kind", ["closing-unit", "riser"])
def test_no_rule_is_an_error_that_says_which_field_found_none(kind: str):
    with pytest.raises(InputError) as refused:
        choose(OCS, Subject(kind))
    assert refused.value.field == "component.kind"
    assert kind in refused.value.reason


def test_no_rule_for_the_occasion_names_the_occasion():
    with pytest.raises(InputError) as refused:
        choose(API, Subject("pipe-ram", "surface", occasion=Occasion.LANDED))
    assert refused.value.field in {"stack", "occasion"}
    with pytest.raises(InputError) as refused:
        choose(parse_edition(small()), Subject("pipe-ram", occasion=Occasion.STUMP))
    assert refused.value.field == "occasion"


@pytest.mark.parametrize(
    "subject", [{"kind": "ram"}, {"kind": "annular", "stack": "sea"}, {"kind": "annular", "position": "top"}]
)
def test_a_subject_outside_the_vocabulary_is_refused(subject: dict[str, Any]):
    with pytest.raises(InputError):
        Subject(**subject)


def test_of_two_editions_the_stricter_interval_wins_and_both_are_kept():
    choice = choose([API, OCS], Subject("pipe-ram"))
    assert choice.rule.id == "ocs-pt-14d"
    assert {rule.id for rule in choice.rules} == {"ocs-pt-14d", "a4-pt-21d"}
    assert choice.recurrence is not None
    assert str(choice.recurrence.interval) == "14 d"


def test_of_two_editions_the_higher_pressure_wins_and_the_note_names_the_other():
    found = required_pressures(choose([API, OCS], Subject("pipe-ram")), rwp=psi(10000), masp=psi(6000))
    assert found.high_gauge == pytest.approx(psi(10000))
    assert found.rule.id == "ocs-pt-14d"
    assert any("a4-pt-21d" in note for note in found.notes)


def test_casing_shears_are_exempt_with_a_reason_and_have_no_pressure():
    choice = choose(OCS, Subject("casing-shear-ram", "subsea"))
    assert isinstance(choice.exempt, ExemptRule)
    with pytest.raises(InputError, match="holds no pressure"):
        required_pressures(choice, rwp=psi(15000))


def test_masp_plus_500_stands_in_for_the_rating_only_with_an_approval():
    choice = choose(OCS, Subject("pipe-ram"))
    plain = required_pressures(choice, rwp=psi(10000), masp=psi(6000))
    assert plain.high_gauge == pytest.approx(psi(10000))
    assert any("approval" in note for note in plain.notes)
    approved = required_pressures(choice, rwp=psi(10000), masp=psi(6000), approval=Approval("permit 12-B"))
    assert approved.high_gauge == pytest.approx(psi(6500))
    assert any("permit 12-B" in note for note in approved.notes)


@pytest.mark.parametrize("reference", ["", "   "])
def test_an_approval_without_a_reference_is_none(reference: str):
    with pytest.raises(InputError):
        Approval(reference)


def test_masp_that_needs_an_approval_and_has_none_is_refused():
    with pytest.raises(InputError) as refused:
        high_psi({"masp_plus": "500 psi"}, masp=psi(6000))
    assert refused.value.field == "approval"


def test_an_approval_needs_the_masp_it_is_added_to():
    with pytest.raises(InputError) as refused:
        required_pressures(choose(OCS, Subject("annular")), rwp=psi(10000), approval=Approval("permit 12-B"))
    assert refused.value.field == "masp"


def test_an_approved_pressure_is_used_as_approved():
    approval = Approval("departure 7", psi(4200))
    found = required_pressures(choose(OCS, Subject("annular")), rwp=psi(5000), approval=approval)
    assert found.high_gauge == pytest.approx(psi(4200))
    assert any("departure 7" in note for note in found.notes)


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ({"fraction": 0.5}, 5000),
        ({"fraction": "70 %", "of": "annular"}, 3500),
        ({"fixed": "250 psi"}, 250),
        ({"masp_plus": "500 psi", "needs_approval": False}, 6500),
        ({"least": [{"fraction": 1.0}, {"fraction": 0.7, "of": "casing-burst"}, {"fixed": "9000 psi"}]}, 5600),
        ({"greatest": [{"fraction": 0.5}, {"masp_plus": "0 psi", "needs_approval": False}]}, 6000),
    ],
)
def test_the_vocabulary_works_out_as_it_reads(formula: dict[str, Any], expected: float):
    figures = {"masp": psi(6000), "annular_rwp": psi(5000), "casing_burst": psi(8000)}
    assert high_psi(formula, **figures) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("formula", "field"),
    [
        ({"fraction": 0.7, "of": "annular"}, "annular_rwp"),
        ({"fraction": 1.0, "of": "wellhead"}, "wellhead_rwp"),
        ({"fraction": 0.7, "of": "casing-burst"}, "casing_burst"),
        ({"masp_plus": "0 psi", "needs_approval": False}, "masp"),
        ({"approved": True}, "approval"),
    ],
)
def test_a_figure_the_rule_needs_and_lacks_is_asked_for(formula: dict[str, Any], field: str):
    with pytest.raises(InputError) as refused:
        high_psi(formula)
    assert refused.value.field == field


@given(RATINGS, RATINGS, RATINGS)
def test_no_requirement_passes_the_rating_or_the_weakest_part(rwp: float, weakest: float, masp: float):
    approval = Approval("permit")
    found = required_pressures(
        choose(OCS, Subject("pipe-ram")), rwp=psi(rwp), masp=psi(masp), weakest_part=psi(weakest), approval=approval
    )
    assert found.high_gauge <= min(psi(rwp), psi(weakest))
    assert found.limited_by_weakest == (weakest < min(rwp, masp + 500))
    assert any(note.startswith("Warning") for note in found.notes) == (found.high_gauge < psi(masp))


def test_a_missing_weakest_part_is_pointed_out():
    found = required_pressures(choose(OCS, Subject("pipe-ram")), rwp=psi(10000))
    assert any("weakest part" in note for note in found.notes)


def test_a_weakest_part_inside_the_low_band_is_refused():
    with pytest.raises(InputError) as refused:
        required_pressures(choose(OCS, Subject("pipe-ram")), rwp=psi(10000), weakest_part=psi(300))
    assert refused.value.field == "weakest_part"


@pytest.mark.parametrize(
    ("kind", "stack", "recorded", "minutes"),
    [
        ("pipe-ram", "surface", True, 3),
        ("pipe-ram", "surface", False, 5),
        ("pipe-ram", "subsea", True, 5),
        ("manifold", "subsea", True, 3),
        ("annular", "subsea", True, 5),
    ],
)
def test_three_minutes_do_only_at_the_surface_and_only_recorded(kind, stack, recorded, minutes):
    found = required_pressures(choose(OCS, Subject(kind, stack)), rwp=psi(10000), recorded=recorded)
    assert found.hold == minutes * 60


def test_a_valve_above_the_uppermost_ram_sees_what_the_annular_sees():
    inside = choose(OCS, Subject("choke-valve", position="above-uppermost-ram"))
    assert required_pressures(inside, rwp=psi(15000), annular_rwp=psi(10000)).high_gauge == pytest.approx(psi(7000))
    outside = choose(OCS, Subject("choke-valve", position="above-uppermost-ram", side="outside"))
    assert required_pressures(outside, rwp=psi(15000)).high_gauge == pytest.approx(psi(15000))
    below = choose(OCS, Subject("choke-valve", position="below-uppermost-ram", side="inside"))
    assert required_pressures(below, rwp=psi(15000)).high_gauge == pytest.approx(psi(15000))


def test_blind_shears_keep_their_own_clock():
    shears = choose(OCS, Subject("blind-shear-ram")).recurrence
    others = choose(OCS, Subject("blind-ram")).recurrence
    assert shears
    assert others
    assert (str(shears.interval), str(others.interval)) == ("30 d", "14 d")
    elsewhere = choose(API, Subject("blind-shear-ram")).recurrence
    assert elsewhere
    assert str(elsewhere.interval) == "21 d"


@pytest.mark.parametrize(
    "name", ["us-ocs", "US-OCS/2023", "30 CFR 250.737", "30 cfr § 250.737", "30 cfr 250, subpart g"]
)
def test_an_edition_answers_to_its_names(name: str):
    assert rulebook.edition(name) is OCS


def test_an_unknown_edition_is_refused_with_the_known_ones():
    with pytest.raises(InputError, match="us-ocs/2023"):
        rulebook.edition("us-moon")


@pytest.mark.parametrize("content", ["id = ", "id = 'x'", "\xff"])
def test_a_broken_rule_file_is_named(tmp_path, content: str):
    path = tmp_path / "broken.toml"
    path.write_bytes(content.encode("latin-1"))
    with pytest.raises(rulebook.RuleFileError, match=r"broken\.toml"):
        rulebook.read_edition(path)
