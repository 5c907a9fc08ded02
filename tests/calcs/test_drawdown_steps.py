"""The drops of a drawdown found in curves of known drops: re-warming gas, noise, leaks, pumps, other tests."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.drawdown_steps import find_drawdown_steps
from calcs.errors import InputError
from calcs.recordings import Recording
from calcs.surface import calculate
from tests.drawdowns_made import PSI, Made, drawdown

SEQUENCE = ((700, 25), (330, 12), (250, 12), (60, 3))


def found_matches(made: Made, *, seconds: float, psi: float) -> bool:
    found = find_drawdown_steps(made.recording, len(made.truth))
    assert found.reasons == ()
    assert len(found.steps) == len(made.truth)
    assert found.start / PSI == pytest.approx(made.start, abs=psi + 20)
    for step, (began, done, at_once, settled) in zip(found.steps, made.truth, strict=True):
        assert step.began_s == pytest.approx(began, abs=seconds)
        assert step.done_s == pytest.approx(done, abs=seconds)
        assert step.pressure_at_once / PSI == pytest.approx(at_once, abs=psi)
        assert step.pressure_settled is not None
        assert step.pressure_settled / PSI == pytest.approx(settled, abs=psi)
    return True


@pytest.mark.parametrize("interval", [0.1, 0.5, 1.0])
@pytest.mark.parametrize("cold", [0.0, 0.3, 0.8])
@pytest.mark.parametrize("recharge", [0.0, 2.0])
def test_every_drop_is_found_with_its_pressures(interval: float, cold: float, recharge: float):
    made = drawdown(SEQUENCE, interval=interval, cold=cold, recharge=recharge, noise=2, leak=0.05)
    assert found_matches(made, seconds=4, psi=8)


@pytest.mark.parametrize("interval", [5.0, 10.0])
def test_a_slow_recorder_still_shows_the_drops(interval: float):
    assert found_matches(drawdown(SEQUENCE, interval=interval, wait=120), seconds=1.5 * interval, psi=45)


@settings(max_examples=60)
@given(
    drops=st.lists(st.tuples(st.floats(80, 500), st.floats(3, 25)), min_size=1, max_size=5),
    wait=st.floats(40, 200),
    noise=st.floats(0, 3),
    seed=st.integers(0, 1000),
)
def test_as_many_drops_are_found_as_were_made(drops: list[tuple[float, float]], wait: float, noise: float, seed: int):
    made = drawdown(drops, wait=wait, noise=noise, seed=seed, start=4000)
    found = find_drawdown_steps(made.recording)
    assert len(found.steps) == len(drops)
    times = [moment for step in found.steps for moment in (step.began_s, step.done_s)]
    assert times == sorted(times)
    assert all(step.pressure_at_once < step.pressure_before for step in found.steps)


def test_the_unit_of_the_recorder_changes_nothing():
    made = drawdown(SEQUENCE).recording
    metric = Recording.from_samples(made.elapsed, made.pressures / 1e5, "bar")
    ours, theirs = find_drawdown_steps(made), find_drawdown_steps(metric)
    assert [step.done_s for step in ours.steps] == [step.done_s for step in theirs.steps]
    assert ours.steps[0].pressure_at_once == pytest.approx(theirs.steps[0].pressure_at_once)


def test_warming_gas_shows_as_a_climb_between_at_once_and_settled():
    step = find_drawdown_steps(drawdown(SEQUENCE, wait=300).recording).steps[0]
    assert step.pressure_settled is not None
    assert step.pressure_settled - step.pressure_at_once > 150 * PSI


@pytest.mark.parametrize(
    "pressures",
    [
        np.full(3600, 3000.0),
        3000 + np.random.default_rng(1).normal(0, 5, 3600),
        3000 - 0.3 * np.arange(3600),
        3000 - 0.5 * np.arange(3600) + np.random.default_rng(2).normal(0, 4, 3600),
        np.round((3000 - 0.05 * np.arange(3600)) / 10) * 10,
        0.5 * np.arange(3600),
        [3000, 2000],
    ],
    ids=["flat", "noise", "leak", "noisy leak", "leak on a coarse gauge", "charging", "two samples"],
)
def test_a_file_without_drops_is_refused_in_words(pressures: np.ndarray):
    with pytest.raises(InputError) as caught:
        find_drawdown_steps(Recording.from_samples(np.arange(len(pressures)), pressures, "psi"))
    assert caught.value.field == "recording"
    assert caught.value.remedy


def test_two_functions_without_a_pause_are_told_by_the_count():
    found = find_drawdown_steps(drawdown([(700, 25), (500, 20)]).recording, 3)
    assert len(found.steps) == 2
    assert found.reasons[0].startswith("2 drops were found for 3 functions: some were worked without a pause")


def test_more_drops_than_functions_are_told_too():
    assert "two strokes" in find_drawdown_steps(drawdown(SEQUENCE).recording, 3).reasons[0]


def test_single_spikes_are_no_drops():
    made = drawdown(SEQUENCE, noise=1)
    pressures = made.recording.pressures / PSI
    pressures[20], pressures[130], pressures[50] = 0.0, 6000.0, 2500.0
    spiked = Recording.from_samples(made.recording.elapsed, pressures, "psi")
    assert found_matches(Made(spiked, made.truth, made.start), seconds=2, psi=5)


def test_of_two_tests_in_one_file_the_one_with_as_many_drops_as_functions_is_taken():
    first, second = drawdown(SEQUENCE[:2], recharge=2.0), drawdown(SEQUENCE, recharge=2.0)
    later = second.recording.elapsed + first.recording.duration + 1
    both = Recording.from_samples(
        np.concatenate((first.recording.elapsed, later)),
        np.concatenate((first.recording.pressures, second.recording.pressures)) / PSI,
        "psi",
    )
    two, four = find_drawdown_steps(both, 2), find_drawdown_steps(both, 4)
    assert (len(two.steps), len(four.steps)) == (2, 4)
    assert "2 runs, of 2, 4 drops" in two.reasons[0]


def test_trap_a_pump_that_ran_is_not_taken_for_warming_gas():
    made = drawdown(SEQUENCE, wait=200, noise=1)
    times, pressures = made.recording.elapsed, made.recording.pressures / PSI
    pumped = pressures + np.clip((times - 320) * 3, 0, 120)
    found = find_drawdown_steps(Recording.from_samples(times, pumped, "psi"), 4)
    assert found.reasons == ("After drop 1 the pressure climbs faster than warming gas: look whether a pump ran.",)


def test_trap_pumps_started_right_after_the_last_drop_leave_no_settled_pressure():
    times, pressures = np.arange(400.0), np.full(400, 3000.0)
    pressures[60:81] = np.linspace(3000, 2000, 21)
    pressures[81:] = 2000 + np.minimum((times[81:] - 80) * 8, 1000)
    found = find_drawdown_steps(Recording.from_samples(times, pressures, "psi"))
    assert [step.pressure_settled for step in found.steps] == [None]
    assert "settled pressure can't be told" in found.reasons[0]


def test_trap_samples_missing_in_a_drop_are_told():
    made = drawdown([(700, 25), (330, 12)])
    kept = (made.recording.elapsed < 65) | (made.recording.elapsed > 80)
    holed = Recording.from_samples(made.recording.elapsed[kept], made.recording.pressures[kept] / PSI, "psi")
    found = find_drawdown_steps(holed, 2)
    assert found.reasons == ("Samples are missing in drop 1: its times and the pressure at once may be off.",)


@pytest.mark.parametrize("count", [0, -1, 10_000])
def test_a_count_of_functions_nobody_works_is_refused(count: int):
    with pytest.raises(InputError) as caught:
        find_drawdown_steps(drawdown(SEQUENCE).recording, count)
    assert caught.value.field == "functions"


def test_by_name_the_steps_come_with_their_moments():
    made = drawdown([(700, 25)])
    lines = "\n".join(
        f"2026-01-05T10:{int(t) // 60:02}:{int(t) % 60:02}+00:00,{p / PSI:.1f}"
        for t, p in zip(made.recording.elapsed, made.recording.pressures, strict=True)
    )
    found = calculate("drawdown-steps", {"recording_csv": f"time,pressure psi\n{lines}\n", "functions": 1})
    assert found["steps"][0]["start_at"].startswith("2026-01-05T10:01:0")
    assert found["start"]["value"] == pytest.approx(3000, abs=1)


@pytest.mark.parametrize(
    ("document", "field"),
    [
        ({"samples": {"t": [0, 1, 2, 3, 4], "p": [1, 1, 1, 1, 1], "pressure_unit": "psi"}}, "samples"),
        ({"recording_csv": "time s,pressure psi\n0,1\n1,1\n2,1\n3,1\n4,1\n"}, "recording_csv"),
        ({"samples": {"t": [0, 1], "p": [1, 1], "pressure_unit": "psi"}, "functions": 1.5}, "functions"),
        ({"samples": {"t": [0, 1], "p": [1, 1], "pressure_unit": "psi"}, "functions": True}, "functions"),
        ({}, "recording_csv"),
    ],
)
def test_by_name_a_file_without_drops_is_refused_by_its_field(document: dict, field: str):
    with pytest.raises(InputError) as caught:
        calculate("drawdown-steps", document)
    assert caught.value.field == field
