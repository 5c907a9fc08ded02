"""A hold over the lowest rating exposed is over-pressure, whatever else it shows."""

from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.exposure import Beside, beside
from calcs.holds import judge
from calcs.recordings import Recording
from calcs.verdicts import OverPressured, Wording, in_words
from tests.recordings_made import MINUTE, Curve, psi, rule, step

ANNULAR = replace(rule(target=3_500, most=5_250), rating=psi(5_000))


def test_an_annular_rated_5000_psi_held_at_10105_psi_fails_in_words():
    verdict = judge(step(low=300, high=10_105).recording(), ANNULAR)
    assert not verdict.passes
    assert in_words(verdict.high.reasons[0], Wording()).startswith("10,105 psi was seen")
    assert "the lowest rating exposed is 5,000 psi: over-pressured, inspect before it is relied on" in in_words(
        verdict.high.reasons[0], Wording()
    )


def test_one_peak_between_good_holds_fails_the_step():
    corners = [(0, 0), (0.5, 300), (6.5, 300), (7, 5_400), (7.2, 3_600), (13, 3_590), (14, 0)]
    verdict = judge(Curve.through(corners).recording(), ANNULAR)
    assert verdict.low.passes
    assert not verdict.high.passes
    assert isinstance(verdict.high.reasons[0], OverPressured)
    assert verdict.high.min_pressure is not None


@given(st.floats(min_value=3_550, max_value=5_240))
def test_up_to_five_percent_over_the_rating_holds(pressure: float):
    assert judge(step(low=300, high=pressure).recording(), ANNULAR).passes


@given(st.floats(min_value=5_260, max_value=20_000))
def test_more_than_five_percent_over_the_rating_never_holds(pressure: float):
    assert not judge(step(low=300, high=pressure).recording(), ANNULAR).passes


def test_without_a_rating_the_rule_judges_as_before():
    assert judge(step(low=300, high=10_105).recording(), rule(target=3_500)).passes


def test_a_rating_of_zero_is_refused():
    with pytest.raises(InputError) as refusal:
        replace(rule(), rating=0.0)
    assert refusal.value.field == "high.rating"


PEAKED = Curve.through([(0, 0), (0.2, 6_000), (1, 0), (2, 0), (2.5, 300), (8.5, 300), (9, 3_550), (15, 3_550), (16, 0)])
"""Pumped to 6,000 psi, bled off, then both holds held well on an annular rated 5,000 psi."""


def test_marks_set_past_a_peak_do_not_hide_it():
    verdict = judge(PEAKED.recording(), ANNULAR, start=2 * MINUTE)
    assert verdict.low.passes
    assert not verdict.high.passes
    (reason,) = verdict.high.reasons
    assert in_words(reason, Wording()) == (
        "6,000 psi was seen 0:00:12 into the recording, outside the part marked; the lowest rating exposed is "
        "5,000 psi: over-pressured, inspect before it is relied on"
    )


def test_marks_that_end_before_a_peak_do_not_hide_it():
    late = step(low=300, high=3_550).then(Curve.through([(0, 0), (0.5, 6_000), (1, 0)]))
    assert not judge(late.recording(), ANNULAR, end=13.8 * MINUTE).passes


def test_a_peak_inside_the_part_of_the_step_before_is_that_steps():
    assert judge(PEAKED.recording(), ANNULAR, start=2 * MINUTE, beside=Beside(before=1 * MINUTE)).passes


def test_pressure_left_from_the_step_before_is_that_steps_until_it_is_bled_to_zero():
    mid_peak = Beside(before=0.2 * MINUTE)
    assert judge(PEAKED.recording(), ANNULAR, start=2 * MINUTE, beside=mid_peak).passes


def test_a_peak_bled_off_on_both_sides_is_the_steps_unless_another_may_stand_under_it():
    twice = Curve.through([(0, 0), (0.2, 6_000), (1, 0), (2, 0)]).then(PEAKED)
    held_after = {"start": 4 * MINUTE}
    before = Beside(before=1 * MINUTE)
    assert not judge(twice.recording(), ANNULAR, **held_after, beside=before).passes
    too_low = Beside(before=1 * MINUTE, allowed=psi(5_900))
    assert not judge(twice.recording(), ANNULAR, **held_after, beside=too_low).passes
    ram_beside = judge(twice.recording(), ANNULAR, **held_after, beside=Beside(1 * MINUTE, allowed=psi(10_500)))
    assert ram_beside.passes
    assert ram_beside.apart is not None
    assert ram_beside.apart.pressure == pytest.approx(psi(6_000))


LASTS = st.floats(min_value=0.0, max_value=1.0)
MARKS = st.tuples(LASTS, LASTS).filter(lambda pair: abs(pair[0] - pair[1]) > 0.01)


@st.composite
def over_pressured_traces(draw: st.DrawFn) -> Curve:
    """A trace with a peak over 5,250 psi anywhere, spliced out of good steps, bleeding off and random pressures."""
    pieces = [step(low=300, high=3_550, hold=5.5)] * draw(st.integers(1, 3))
    pressures = draw(st.lists(st.floats(0, 5_000), min_size=2, max_size=8))
    peak = draw(st.floats(5_260, 12_000))
    pressures.insert(draw(st.integers(0, len(pressures))), peak)
    wild = Curve.through([(float(minute), pressure) for minute, pressure in enumerate(pressures)], interval=2.0)
    pieces.insert(draw(st.integers(0, len(pieces))), wild)
    whole = pieces[0]
    for piece in pieces[1:]:
        whole = whole.then(piece, after=draw(st.sampled_from([1.0, 20.0, 90.0])))
    return whole


def samples_between(recording: Recording, start: float, end: float) -> int:
    return int(((recording.elapsed >= start) & (recording.elapsed <= end)).sum())


@given(over_pressured_traces(), MARKS)
def test_no_choice_of_marks_lets_an_over_pressured_step_pass(trace: Curve, marks: tuple[float, float]):
    recording = trace.recording()
    start, end = sorted(mark * recording.duration for mark in marks)
    assume(samples_between(recording, start, end) >= 2)
    assert not judge(recording, ANNULAR, start=start, end=end).passes


@given(over_pressured_traces(), st.lists(MARKS, min_size=2, max_size=4))
def test_no_choice_of_marks_lets_all_steps_of_an_over_pressured_file_pass(
    trace: Curve, marks: list[tuple[float, float]]
):
    recording = trace.recording()
    parts = [(min(pair) * recording.duration, max(pair) * recording.duration) for pair in marks]
    assume(all(samples_between(recording, start, end) >= 2 for start, end in parts))
    allowed = [ANNULAR.never_above] * len(parts)
    verdicts = [
        judge(recording, ANNULAR, start=start, end=end, beside=beside(number, parts, allowed))
        for number, (start, end) in enumerate(parts)
    ]
    seen = [reason for verdict in verdicts for reason in verdict.high.reasons if isinstance(reason, OverPressured)]
    assert seen
