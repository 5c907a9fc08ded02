"""Verdicts on holds against a second, slow and plain reading of the same rules.

Sample by sample, as one would with a ruler on the chart: nothing here is taken from the code that judges.
"""

import random
import statistics
from dataclasses import dataclass, field
from itertools import pairwise

import pytest

from calcs.holds import HoldRule, judge
from calcs.recordings import Recording
from calcs.units import Dimension, to_si

PSI = to_si(1, "psi", Dimension.PRESSURE)
LEVELS: dict[str, list[float]] = {
    "bled": [0, 20, 49, 49.9, 50, 300, 600],
    "low": [249.5, 250, 300, 300, 340, 350, 350.5, 400],
    "pumped": [0, 49, 50, 350, 499, 500, 501, 1500],
    "high": [2999, 2999.5, 3000, 3000, 3001, 3050, 3300, 3301],
}


@dataclass(frozen=True)
class Asked:
    """A rule in psi and s."""

    hold: float
    low: tuple[float, float] = (250, 350)
    restart_above: float = 500
    target: float = 3000
    most: float | None = None
    max_decay: float | None = None
    max_gap: float | None = None

    def rule(self) -> HoldRule:
        def pascal(psi: float | None) -> float | None:
            return None if psi is None else psi * PSI

        return HoldRule(
            low_min=self.low[0] * PSI,
            low_max=self.low[1] * PSI,
            restart_above=self.restart_above * PSI,
            high_target=self.target * PSI,
            hold_s=self.hold,
            high_max=pascal(self.most),
            max_decay=pascal(self.max_decay),
            max_gap_s=self.max_gap,
        )


@dataclass
class Trace:
    """A recording being made, in psi and s."""

    asked: Asked
    chance: random.Random
    interval: float
    odd_intervals: bool
    times: list[float] = field(default_factory=list)
    pressures: list[float] = field(default_factory=list)

    def dwell(self, level: float) -> None:
        """Stay near a level for about a hold: exactly, a sample short, much longer; level, noisy, leaking, rising."""
        kind = self.chance.choice(["flat", "flat", "flat", "noise", "leak", "ramp"])
        whole = round(self.asked.hold / self.interval)
        count = self.chance.choice([whole + 1, whole + 1, whole, whole // 2 + 1, 2 * whole, 1])
        before = self.pressures[-1] if self.pressures else 0.0
        lost = self.chance.choice([1, 5, 20])
        for place in range(max(1, count)):
            share = (place + 1) / count if count else 1.0
            shown = {
                "flat": level,
                "noise": level + self.chance.choice([-3, -1, 0, 0, 1, 2]),
                "leak": level - lost * share,
                "ramp": before + (level - before) * share,
            }
            self.sample(round(shown[kind], 3))

    def sample(self, pressure: float) -> None:
        waited = self.interval
        if self.odd_intervals:
            usual = [self.interval] * 40
            waited = self.chance.choice([*usual, 0.0, self.interval / 2, 3 * self.interval, 29.9, 30, 30.5, 200])
        self.times.append(round(self.times[-1] + waited, 6) if self.times else 0.0)
        self.pressures.append(pressure)


def trace(chance: random.Random) -> Trace:
    interval = chance.choice([0.5, 1, 2, 10, 10, 12, 60])
    hold = chance.choice([12, 60]) if interval < 10 else 300
    asked = Asked(
        hold,
        restart_above=chance.choice([500, 500, 350]),
        most=chance.choice([None, None, 3000, 3300]),
        max_decay=chance.choice([None, None, 0, 3, 20]),
        max_gap=chance.choice([None, None, None, 12, 60]),
    )
    made = Trace(asked, chance, interval, odd_intervals=chance.random() < 0.4)
    parts = [chance.choice(LEVELS[part]) for _ in range(chance.randint(1, 3)) for part in LEVELS]
    if chance.random() < 0.3:
        chance.shuffle(parts)
    for level in parts:
        made.dwell(level)
    return made


Window = tuple[int, int, float]
"""First and last sample, and the largest fall from an earlier to a later one."""


def windows(made: Trace, meets: list[bool]) -> list[Window]:
    """Return from each sample the shortest window that lasts the hold: a longer one never falls less."""
    asked, times = made.asked, made.times
    gap = asked.max_gap or max(30.0, 5 * statistics.median(after - before for before, after in pairwise(times)))
    found = []
    for first in range(len(times)):
        peak = fall = 0.0
        for last in range(first, len(times)):
            if not meets[last] or (last > first and times[last] - times[last - 1] > gap):
                break
            peak = max(peak, made.pressures[last])
            fall = max(fall, peak - made.pressures[last])
            if times[last] - times[first] >= asked.hold - 1e-6:
                found.append((first, last, fall))
                break
    return [one for one in found if asked.max_decay is None or one[2] <= asked.max_decay + 1e-9]


def low_windows(made: Trace) -> list[Window]:
    asked, spoilt, meets = made.asked, False, []
    for pressure in made.pressures:
        spoilt = pressure > asked.restart_above or (spoilt and pressure >= 50)
        meets.append(asked.low[0] <= pressure <= asked.low[1] and not spoilt)
    return windows(made, meets)


def high_windows(made: Trace) -> list[Window]:
    most = made.asked.most if made.asked.most is not None else float("inf")
    return windows(made, [made.asked.target <= pressure <= most for pressure in made.pressures])


@pytest.mark.parametrize("seed", range(6))
def test_any_trace_is_judged_as_one_would_by_hand(seed: int) -> None:
    passed = 0
    for number in range(90):
        made = trace(random.Random(1000 * seed + number))
        if made.times[-1] == 0:
            continue
        verdict = judge(Recording.from_samples(made.times, made.pressures, "psi"), made.asked.rule())
        lows, highs = low_windows(made), high_windows(made)
        after = [high for high in highs if lows and high[0] > min(low[1] for low in lows)]
        told = f"seed {seed}, trace {number}, {made.asked}"
        assert verdict.low.passes == bool(lows), told
        assert verdict.passes == bool(after), told
        assert all(bool(hold.reasons) != hold.passes for hold in (verdict.low, verdict.high)), told
        if after:
            passed += 1
            least = min(high[2] for high in after)
            assert verdict.high.decay == pytest.approx(least * PSI, abs=1e-3), told
            assert verdict.high.start is not None
            before = [low[2] for low in lows if made.times[low[1]] <= verdict.high.start]
            assert verdict.low.decay == pytest.approx(min(before) * PSI, abs=1e-3), told
    assert passed, "no trace passed: these traces show nothing"


def test_a_hold_exactly_as_long_as_required_passes_and_a_sample_less_does_not() -> None:
    asked = Asked(60)
    for samples, passes in ((61, True), (60, False)):
        made = Trace(asked, random.Random(0), 1.0, odd_intervals=False)
        for level, count in ((0, 2), (350, samples), (3000, samples)):
            for _ in range(count):
                made.sample(level)
        assert judge(Recording.from_samples(made.times, made.pressures, "psi"), asked.rule()).passes is passes
