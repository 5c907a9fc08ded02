"""The recorder files in fixtures/recordings: as the demo's recorder writes them, and judged as their names promise."""

import re
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import pytest

from calcs.drawdown_steps import find_drawdown_steps
from calcs.hold_matching import find_holds
from calcs.holds import HoldRule, judge
from calcs.recordings import Recording, read_recording
from calcs.units import Dimension, GaugePressure, to_si
from tests_app.management.demo.samples_to_try import FILES

FOLDER: Final = Path(__file__).resolve().parents[2] / "fixtures" / "recordings"
FIVE_MINUTES: Final = 300.0


def psi(pressure: float) -> GaugePressure:
    return GaugePressure(to_si(pressure, "psi", Dimension.PRESSURE))


def rule(target: float) -> HoldRule:
    """The limits of 30 CFR 250.737(b) and (c): low 250 to 350 psi, begun again over 500 psi, five minutes each."""
    return HoldRule(
        low_min=psi(250), low_max=psi(350), restart_above=psi(500), high_target=psi(target), hold_s=FIVE_MINUTES
    )


def read(name: str, channel: str | None = None) -> Recording:
    return read_recording((FOLDER / name).read_bytes(), channel=channel, zone=ZoneInfo("America/Chicago"))


def test_the_folder_holds_what_the_recorder_writes_and_nothing_else() -> None:
    assert {path.name for path in FOLDER.iterdir()} == set(FILES)


@pytest.mark.parametrize("name", FILES)
def test_a_file_is_what_the_recorder_writes(name: str) -> None:
    assert (FOLDER / name).read_bytes() == FILES[name]().encode()


SINGLE: Final = [name for name in FILES if not name.startswith(("whole", "drawdown"))]


@pytest.mark.parametrize("name", SINGLE)
def test_a_file_of_one_step_gives_the_verdict_its_name_promises(name: str) -> None:
    target = float(re.findall(r"-(\d+)-", name)[0])
    verdict = judge(read(name, "Test pump" if "two-channels" in name else None), rule(target))
    fails_low, fails_high = "low" in name.split("-", 2)[2], "leaks-high" in name
    assert verdict.low.passes is not fails_low
    assert verdict.high.passes is not (fails_low or fails_high)


def test_the_idle_channel_of_a_file_of_two_proves_nothing() -> None:
    assert not judge(read("ram-10000-two-channels.csv", "Standpipe"), rule(10_000)).passes


@pytest.mark.parametrize(
    ("name", "passes"),
    [
        ("whole-stack-passes.csv", [True, True, True, True]),
        ("whole-stack-third-step-leaks.csv", [True, True, False, True]),
        ("whole-stack-clock-kpa-semicolons.csv", [True, True, True, True]),
    ],
)
def test_a_file_of_the_whole_stack_is_cut_into_its_steps(name: str, passes: list[bool]) -> None:
    found = find_holds(read(name), [rule(3_500), rule(10_000), rule(10_000), rule(10_000)])
    assert [(hold.step, hold.verdict.passes) for hold in found.holds] == list(enumerate(passes))


def test_the_file_with_a_clock_runs_across_midnight_into_the_day_clocks_go_forward() -> None:
    recording = read("whole-stack-clock-kpa-semicolons.csv")
    began, ended = recording.started_at, recording.clock(recording.duration)
    assert began is not None
    assert ended is not None
    assert (began.date().isoformat(), ended.date().isoformat()) == ("2026-03-07", "2026-03-08")


@pytest.mark.parametrize(
    ("name", "at_once"),
    [
        ("drawdown-16-bottles.csv", [1_793, 1_578, 1_398, 1_382, 1_370]),
        ("drawdown-4-of-16-shut-off.csv", [1_576, 1_353, 1_171, 1_158, 1_143]),
    ],
)
def test_a_file_of_a_drawdown_shows_its_five_functions_and_what_the_gas_comes_back_to(
    name: str, at_once: list[int]
) -> None:
    found = find_drawdown_steps(read(name), functions=5)
    assert found.start == pytest.approx(psi(3_000), abs=psi(2))
    assert [step.pressure_at_once for step in found.steps] == pytest.approx([psi(one) for one in at_once], abs=psi(4))
    settled = [step.pressure_settled for step in found.steps]
    assert all(later > step.pressure_at_once for later, step in zip(settled, found.steps, strict=True))
