"""Functions worked, against the times rules allow: what limits a line, what fails it, what is said without a rule."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.function_verdicts import (
    FunctionVerdict,
    FunctionWorked,
    Moved,
    Ways,
    fastest_closing,
    judge_function,
    trend_words,
    volume_words,
)
from calcs.rotation import is_repeat, next_in_turn, statements_for, turns_asked
from tests.calcs.test_rule_traps import AB, API, NO, OCS

INCH = 0.0254


def worked(
    kind: str,
    *,
    closing: float | None = 10.0,
    opening: float | None = 10.0,
    ways: str = "close-open",
    completed: bool | None = True,
    stack: str = "surface",
    bore: float | None = None,
) -> FunctionWorked:
    times = {"close": closing, "open": opening}
    moves = tuple(Moved(one, times[one.value]) for one in Ways(ways).movements)
    return FunctionWorked(kind, stack, Ways(ways), moves, completed, bore)


def judged(one: FunctionWorked, *, fastest: float | None = None, edition=OCS) -> FunctionVerdict:
    return judge_function(edition, one, fastest)


def test_a_ram_that_closed_completely_and_in_time_passes_with_its_margin_in_words():
    verdict = judged(worked("pipe-ram", closing=9.2))
    assert verdict.passes
    assert verdict.times[0].words == "30 s allowed, 20.8 s to spare."
    assert "30 CFR 250.735(a)" in verdict.judged_by


def test_the_last_tenth_allowed_passes_and_one_more_does_not():
    assert judged(worked("pipe-ram", closing=30.0)).passes
    late = judged(worked("pipe-ram", closing=30.1))
    assert not late.passes
    assert late.reasons == ("Closing took 30.1 s; the rule allows 30 s.",)


def test_nothing_is_judged_while_nobody_says_whether_it_worked_completely():
    verdict = judged(worked("pipe-ram", closing=99.0, completed=None))
    assert verdict.passes is None
    assert verdict.reasons == ()
    assert verdict.times[0].passes is False  # told already, beside the field


def test_what_did_not_work_completely_fails_however_fast():
    assert judged(worked("pipe-ram", closing=2.0, completed=False)).reasons == ("It did not work completely.",)


def test_a_time_the_rule_limits_and_nobody_took_is_not_passed():
    verdict = judged(worked("pipe-ram", closing=None))
    assert verdict.reasons == ("Closing was not timed, and the rule limits it.",)


def test_a_preventer_only_opened_was_not_function_tested():
    verdict = judged(worked("blind-shear-ram", ways="open", opening=5.0))
    assert verdict.reasons == ("It was not closed: a preventer is function tested by closing it.",)


def test_where_no_rule_speaks_the_line_stands_on_completeness_and_the_fields_are_named():
    verdict = judged(worked("connector", ways="close", closing=40.0))
    assert verdict.passes
    assert verdict.times[0].words == "No time limit: no rule was found for connector."
    assert verdict.judged_by == "Judged by having worked completely: no rule followed limits its time."
    opening = judged(worked("pipe-ram", closing=9.2, opening=50.0))
    assert opening.passes
    assert opening.times[1].words == "No time limit: no rule was found for opening."


def test_an_edition_without_closing_times_says_so():
    bare = replace(OCS, bank_rules=())
    assert judged(worked("pipe-ram"), edition=bare).times[0].words == (
        "No time limit: the rules followed state no closing times."
    )


@pytest.mark.parametrize("kind", ["choke-valve", "kill-valve", "gate-valve-hydraulic"])
def test_a_line_valve_is_held_to_the_fastest_ram_of_its_own_test_either_way(kind: str):
    as_fast = worked(kind, ways="open-close", closing=8.0, opening=8.0)
    assert judged(as_fast, fastest=8.0).passes
    slower = worked(kind, ways="open-close", closing=8.1, opening=7.0)
    assert judged(slower, fastest=8.0).reasons == ("Closing took 8.1 s; the rule allows 8 s.",)


def test_a_line_valve_without_a_ram_timed_beside_it_is_not_shown_to_keep_the_rule():
    verdict = judged(worked("choke-valve", ways="open-close"))
    assert not verdict.passes
    assert "no ram was timed in this test" in verdict.reasons[0]


def test_the_fastest_ram_is_one_that_closed_completely():
    rams = [worked("pipe-ram", closing=4.0, completed=False), worked("blind-ram", closing=9.0), worked("annular")]
    assert fastest_closing(rams) == 9.0
    assert fastest_closing([worked("annular", closing=2.0)]) is None


def test_a_sequence_is_held_to_the_time_of_its_scheduled_rule():
    def run(seconds: float) -> FunctionVerdict:
        moves = (Moved(Ways.SEQUENCE.movements[0], seconds),)
        one = FunctionWorked(
            "emergency-disconnect", "subsea", Ways.SEQUENCE, moves, True, None, 45.0, "API Standard 53, 7.3"
        )
        return judged(one)

    assert run(45.0).passes
    assert run(46.0).reasons == ("The sequence took 46 s; the rule allows 45 s.",)


@given(st.floats(0.1, 3600), st.floats(0.1, 3600))
def test_slower_never_judges_better(first: float, second: float):
    fast, slow = sorted((first, second))
    verdicts = [judged(worked("pipe-ram", closing=each)).passes for each in (fast, slow)]
    assert verdicts[0] or not verdicts[1]


def test_times_and_volumes_nothing_takes_are_refused():
    close = Ways.CLOSE.movements[0]
    for seconds in (0.0, -1.0, 4000.0):
        with pytest.raises(InputError):
            Moved(close, seconds)
    with pytest.raises(InputError):
        Moved(close, 1.0, 0.0)


def test_a_trend_tells_the_times_before_and_when_it_has_grown_slower_three_times():
    assert trend_words(9.2, []) == ""
    assert trend_words(None, [6.8]) == ""
    assert trend_words(9.2, [6.8]) == "9.2 s, 6.8 s last time."
    assert "3 times in a row" in trend_words(9.2, [8.0, 7.0, 6.0])
    assert "in a row" not in trend_words(9.2, [8.0, 7.0, 7.0])


def test_the_fluid_used_is_told_beside_the_volume_on_file():
    assert volume_words(0.0378541, 0.0378541, "us") == "10 gal used, 10 gal on file: the same."
    assert volume_words(0.036, 0.040, "si") == "36 L used, 40 L on file: 10 % less."
    assert volume_words(0.036, None, "si") == ""


def test_stations_and_pods_are_used_in_turn_where_a_rule_asks():
    assert {rule.id for rule in turns_asked(OCS, "annular", stack="surface").stations} == {"ocs-ft-7d"}
    subsea = turns_asked(OCS, "annular", stack="subsea")
    assert "ocs-alt-pod" in {rule.id for rule in subsea.pods}
    assert turns_asked(OCS, "annular", stack="surface").pods == ()
    assert turns_asked(AB, "annular", stack="surface").stations == ()


def test_next_is_who_waited_longest():
    assert next_in_turn(["a", "b", "c"], ["a", "c", "a", "b"]) == "b"
    assert next_in_turn([], ["a"]) is None
    assert is_repeat("a", ["a", "b"])
    assert not is_repeat("a", ["b", "a"])


def test_what_has_to_be_so_first_follows_from_the_occasion():
    seafloor = statements_for(OCS, "deadman", stack="subsea", occasion="landed")
    assert [one.prerequisite for one in seafloor] == ["rov-on-bottom", "well-secured", "quick-disconnect-possible"]
    assert {one.clause for one in seafloor} == {"30 CFR 250.737(d)(12)"}
    assert statements_for(OCS, "deadman", stack="subsea", occasion="stump") == ()
    assert [one.prerequisite for one in statements_for(NO, "blind-shear-ram", stack="surface")] == ["pipe-clear"]
    assert statements_for(API, "annular", stack="surface") == ()
