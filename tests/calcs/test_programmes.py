"""A rig's own programme: figures changed in a copy of an edition, stricter freely, looser by approval alone."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from calcs.bank_rules import drawdown_rule, precharge_rule, response_limit
from calcs.errors import InputError
from calcs.fields import Fields
from calcs.holds import HoldRule
from calcs.programme_figures import FIGURES, Comparison, Every, Figure, compare_intervals
from calcs.programmes import applied, changed_figure, figures_of, parse_changes, read_change, rules_of
from calcs.recurrence import Deadline, Interval, IntervalUnit, deadline_after
from calcs.requirements import Approval, required_pressures
from calcs.rules import Confidence, PressureRule, Subject, choose
from calcs.schedule_rules import scheduled
from calcs.units import Dimension, GaugePressure, to_si
from tests_app import rulebook

OCS = rulebook.edition("us-ocs")
NORSOK = rulebook.edition("no")
BLM = rulebook.edition("us-blm")


def psi(value: float) -> GaugePressure:
    return GaugePressure(to_si(value, "psi", Dimension.PRESSURE))


def copy(edition, *changes, words="with the rig's own changes no. 1"):
    return applied(edition, parse_changes(changes), edition_id=f"{edition.id}+1", words=words)


def change(rule, figure, own, approval=""):
    return {"rule": rule, "figure": figure, "own": own, "approval": approval}


ANNULAR = choose(OCS, Subject("annular")).rule.id


def annular_of(edition) -> PressureRule:
    rule = edition.rule(ANNULAR)
    assert isinstance(rule, PressureRule)
    return rule


def test_an_own_interval_stands_beside_the_source_with_its_clause():
    made = copy(OCS, change(ANNULAR, "interval", {"interval": "7 d", "deadline": "midnight"}))

    recurs = annular_of(made).recurs
    assert str(recurs.interval) == "7 d"
    assert recurs.source.clause == annular_of(OCS).recurs.source.clause
    assert recurs.source.own
    assert recurs.source.confidence is Confidence.GIVEN
    assert "own programme: 7 days" in recurs.source.note
    assert "instead of 14 days" in recurs.source.note
    (own,) = made.own
    assert (own.comparison, own.label) == ("stricter", "Interval")
    assert made.source_id == OCS.id
    assert "own changes no. 1" in made.edition
    assert annular_of(OCS).recurs.source.own is False  # the edition itself is untouched


def test_a_looser_value_needs_the_reference_of_an_approval():
    looser = change(ANNULAR, "interval", {"interval": "21 d", "deadline": "midnight"})
    with pytest.raises(InputError) as refused:
        copy(OCS, looser)
    assert refused.value.field == "changes.0.approval"
    assert "looser than the source's 14 days" in refused.value.reason

    made = copy(OCS, {**looser, "approval": "Letter 12"})
    assert "approved under Letter 12" in annular_of(made).recurs.source.note
    assert made.own[0].comparison == "looser"


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        (change("no-such-rule", "hold", "10 min"), "changes.0.rule"),
        (change(ANNULAR, "precharge-tolerance", "50 psi"), "changes.0.figure"),
        (change(ANNULAR, "colour", "red"), "changes.0.figure"),
        (change(ANNULAR, "hold", "10 min") | {"because": "x"}, "changes.0.because"),
        (change(ANNULAR, "low-band", {"min": "350 psi", "max": "250 psi"}), "changes.0.own"),
        (change(ANNULAR, "hold", "-1 min"), "changes.0.own"),
        (change("annulars", "own-rule", {}), "changes.0.rule"),
    ],
)
def test_what_is_not_in_the_vocabulary_is_refused_by_its_path(wrong, field):
    with pytest.raises(InputError) as refused:
        copy(OCS, {**wrong, "approval": "Letter 1"})
    assert refused.value.field == field
    assert refused.value.reason
    assert refused.value.remedy


def test_one_figure_is_changed_once():
    with pytest.raises(InputError, match="changed twice"):
        copy(OCS, change(ANNULAR, "hold", "10 min"), change(ANNULAR, "hold", "12 min"))


def test_an_own_hold_lasts_its_time_on_every_recorder_too():
    made = copy(OCS, change(ANNULAR, "hold", "5 min"))

    asked = required_pressures(choose(made, Subject("annular")), rwp=psi(5000), recorded=True)
    assert required_pressures(choose(OCS, Subject("annular")), rwp=psi(5000), recorded=True).hold == 180
    assert asked.hold == 300
    assert made.own[0].comparison == "stricter"
    assert any("own programme: 5 min instead of 5 min, 3 min in some cases" in note for note in asked.notes)


def test_a_least_pressure_raises_what_the_rule_asks_and_never_lowers_it():
    made = copy(OCS, change(ANNULAR, "high-at-least", "4000 psi"))
    ocs, own = (choose(one, Subject("annular")) for one in (OCS, made))

    assert required_pressures(own, rwp=psi(5000)).high_gauge == pytest.approx(psi(4000))  # 70 % would be 3,500 psi
    assert required_pressures(own, rwp=psi(10_000)).high_gauge == pytest.approx(psi(7000))
    approved = Approval("Permit 7")
    assert required_pressures(ocs, rwp=psi(5000), masp=psi(2000), approval=approved).high_gauge < psi(4000)
    assert required_pressures(own, rwp=psi(5000), masp=psi(2000), approval=approved).high_gauge == pytest.approx(
        psi(4000)
    )


def test_a_pressure_in_place_of_an_approved_one_needs_its_reference_and_makes_the_rule_answer():
    rule = choose(BLM, Subject("pipe-ram")).rule.id
    with pytest.raises(InputError, match="Give the reference"):
        copy(BLM, change(rule, "high-fixed", "3500 psi"))

    made = copy(BLM, change(rule, "high-fixed", "3500 psi", "Permit 99"))
    asked = required_pressures(choose(made, Subject("pipe-ram")), rwp=psi(5000))
    assert asked.high_gauge == pytest.approx(psi(3500))
    assert "Permit 99" in asked.sources["high"].note


def test_a_low_test_can_be_added_where_the_rule_asks_none():
    rule = choose(BLM, Subject("annular")).rule.id
    made = copy(BLM, change(rule, "low-band", {"min": "250 psi", "max": "350 psi", "restart_above": "500 psi"}))

    assert made.own[0].comparison == "stricter"
    assert made.rule(rule).low.restart_above_gauge == pytest.approx(psi(500))
    assert made.rule(rule).low.source.clause == made.rule(rule).clause


def test_a_band_is_stricter_only_inside_the_source_s():
    band = annular_of(OCS).low
    assert (band.min_gauge, band.max_gauge) == (pytest.approx(psi(250)), pytest.approx(psi(350)))
    copy(OCS, change(ANNULAR, "low-band", {"min": "260 psi", "max": "350 psi", "restart_above": "500 psi"}))
    with pytest.raises(InputError, match="looser"):
        copy(OCS, change(ANNULAR, "low-band", {"min": "200 psi", "max": "300 psi"}))


def test_banks_closing_times_and_drawdowns_have_own_values_too():
    api = rulebook.edition("api53-4")
    drawdown, precharge = drawdown_rule(api, stack="surface"), precharge_rule(api, stack="surface")
    closing = next(rule for rule in api.bank_rules if rule.kind == "response" and rule.within)
    made = copy(
        api,
        change(drawdown.id, "above-precharge", "300 psi"),
        change(precharge.id, "precharge-tolerance", "50 psi"),
        change(precharge.id, "interval", {"interval": "14 d", "deadline": "exact"}),
        change(closing.id, "within", "20 s"),
    )

    assert "own programme: 300 psi" in drawdown_rule(made, stack="surface").note
    assert precharge_rule(made, stack="surface").tolerance == pytest.approx(psi(50))
    kind = closing.scopes[0].kinds[0]
    assert response_limit(made, kind=kind, stack=closing.scopes[0].stacks[0]).within == 20
    assert all(one.comparison == "stricter" for one in made.own)


def test_a_rule_of_the_rig_s_own_is_found_like_any_other():
    own = {
        "title": "Elastomers of the annular changed",
        "task": "elastomer",
        "about": ["annular"],
        "interval": "1 year",
        "deadline": "midnight",
    }
    made = copy(OCS, change("own-annular-elastomers", "own-rule", own))

    found = scheduled(made, "elastomer", "annular")
    assert found.rule.clause == "own programme"
    assert str(found.recurrence.interval) == "1 year"
    with pytest.raises(InputError, match="already"):
        copy(OCS, change("own-x", "own-rule", own), change("own-x", "own-rule", own))


@pytest.mark.parametrize(
    ("task", "about", "field"),
    [
        ("drill", ["annular"], "changes.0.own.about"),
        ("document", ["annular"], "changes.0.own.about"),
        ("elastomer", ["crew"], "changes.0.own.about"),
        ("notice", ["bop-system"], "changes.0.own.task"),
        ("inspection", [], "changes.0.own.about"),
    ],
)
def test_a_rule_of_the_rig_s_own_asks_only_what_is_followed_up_by_date(task, about, field):
    own = {"title": "t", "task": task, "about": about, "interval": "1 year", "deadline": "midnight"}
    with pytest.raises(InputError) as refused:
        copy(OCS, change("own-x", "own-rule", own))
    assert refused.value.field == field
    assert refused.value.remedy


def test_evidence_is_added_and_nothing_of_the_source_is_lost():
    rule = next(rule for rule in OCS.schedule_rules if rule.kind == "schedule" and rule.evidence)
    missing = next(one for one in ("volumes", "chart", "report") if one not in {n.what for n in rule.evidence})
    made = copy(OCS, change(rule.id, "evidence", [missing]))

    now = next(one for one in made.schedule_rules if one.id == rule.id)
    assert set(rule.evidence) < set(now.evidence)


@pytest.mark.parametrize("edition", rulebook.editions(), ids=lambda edition: edition.id)
def test_every_figure_of_every_edition_compares_the_same_as_itself_and_says_itself_in_words(edition):
    for rule in rules_of(edition):
        for found in figures_of(rule):
            if found.source is None:
                continue
            assert found.source_words
            if found.figure is Figure.HOLD:
                assert FIGURES[found.figure].compare(found.source.duration, found.source) is not Comparison.LOOSER
            elif found.figure is not Figure.HIGH_FIXED or isinstance(found.source, float):
                assert FIGURES[found.figure].compare(found.source, found.source) is Comparison.SAME, found


ZONES = [
    ZoneInfo(name) for name in ("UTC", "America/Chicago", "Europe/Oslo", "Australia/Lord_Howe", "Antarctica/Troll")
]
every = st.builds(
    Every,
    st.one_of(
        st.builds(Interval, st.integers(1, 400), st.just(IntervalUnit.DAYS)),
        st.builds(Interval, st.integers(1, 24), st.just(IntervalUnit.MONTHS)),
        st.builds(Interval, st.integers(1, 6), st.just(IntervalUnit.YEARS)),
        st.builds(Interval, st.integers(1, 9000), st.just(IntervalUnit.HOURS)),
    ),
    st.sampled_from(Deadline),
).filter(lambda one: one.deadline is Deadline.EXACT or one.interval.unit is not IntervalUnit.HOURS)
moments = st.integers(0, 40 * 365 * 24 * 60).map(
    lambda minutes: dt.datetime(2000, 1, 1, tzinfo=dt.UTC) + dt.timedelta(minutes=minutes)
)


def _every(text, deadline):
    return Every(Interval.parse(text), Deadline(deadline))


@settings(deadline=None)
@given(every, every, moments, st.sampled_from(ZONES))
@example(_every("14 d", "exact"), _every("14 d", "midnight"), dt.datetime(2026, 2, 23, 5, 30, tzinfo=dt.UTC), ZONES[1])
@example(_every("28 d", "exact"), _every("1 month", "exact"), dt.datetime(2026, 2, 12, 12, tzinfo=dt.UTC), ZONES[1])
@example(_every("1 year", "exact"), _every("12 months", "exact"), dt.datetime(2024, 2, 29, tzinfo=dt.UTC), ZONES[0])
def test_a_stricter_interval_never_gives_a_later_date(own, source, concluded, zone):
    later = deadline_after(concluded, own.interval, own.deadline, zone) > deadline_after(
        concluded, source.interval, source.deadline, zone
    )
    assert not (later and compare_intervals(own, source) is not Comparison.LOOSER)


@settings(deadline=None)
@given(every, every)
def test_of_two_intervals_no_more_than_one_is_stricter(one, other):
    assert {compare_intervals(one, other), compare_intervals(other, one)} != {Comparison.STRICTER}


PRESSURES = [rule for edition in (OCS, NORSOK, BLM) for rule in edition.rules if isinstance(rule, PressureRule)]
own_values = st.one_of(
    st.tuples(st.just("hold"), st.floats(1, 120).map(lambda m: f"{m:.3f} min")),
    st.tuples(st.just("low-hold"), st.floats(1, 120).map(lambda m: f"{m:.3f} min")),
    st.tuples(st.just("high-at-least"), st.integers(1, 20_000).map(lambda p: f"{p} psi")),
    st.tuples(st.just("high-fraction"), st.floats(0.05, 1.0).map(lambda f: round(f, 4))),
    st.tuples(st.just("high-margin"), st.integers(0, 5_000).map(lambda p: f"{p} psi")),
)


@settings(deadline=None)
@given(st.sampled_from(PRESSURES), own_values, st.integers(1_000, 20_000), st.integers(500, 15_000), st.booleans())
def test_a_stricter_change_never_lowers_the_pressure_nor_shortens_a_hold(rule, own, rating, masp, recorded):
    edition = next(one for one in (OCS, NORSOK, BLM) if rule in one.rules)
    figure, value = own
    try:
        _, comparison = changed_figure(edition, read_change(Fields(change(rule.id, figure, value))))
        assume(comparison is not Comparison.LOOSER)
        made = copy(edition, change(rule.id, figure, value))
    except InputError:
        assume(False)
    approval = Approval("Permit 1", None if edition is OCS else psi(masp + 500))
    known = {
        "rwp": psi(rating),
        "masp": psi(masp),
        "approval": approval,
        "recorded": recorded,
        "annular_rwp": psi(rating),
        "wellhead_rwp": psi(rating),
        "casing_burst": psi(rating),
        "casing_depth": 2000.0,
    }
    kind, stack = (rule.scopes[0].kinds or ("pipe-ram",))[0], (rule.scopes[0].stacks or ("surface",))[0]
    subject = Subject(kind, stack)
    try:
        before = required_pressures(type(choose(OCS, Subject("annular")))(subject, (rule,)), **known)
    except InputError:
        assume(False)
    after = required_pressures(type(choose(OCS, Subject("annular")))(subject, (made.rule(rule.id),)), **known)
    assert after.high_gauge >= before.high_gauge * (1 - 1e-9)
    assert after.hold >= before.hold - 1e-6


def test_the_rule_of_holds_takes_what_a_copy_asks():
    """What a copy asks can be judged: its figures make a hold rule."""
    asked = required_pressures(choose(copy(OCS, change(ANNULAR, "hold", "10 min")), Subject("annular")), rwp=psi(5000))
    low = asked.low
    HoldRule(low.min_gauge, low.max_gauge, low.restart_above_gauge, asked.high_gauge, asked.hold)
