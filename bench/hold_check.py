"""How long reading and judging a recorder's file takes, as a ratio to polars merely reading the same bytes.

Run as ``python -m bench.hold_check``; exits 1 when a ratio is over the limit.
"""

import sys
import time
import tracemalloc
from collections.abc import Callable
from statistics import median

import numpy as np
import polars as pl

from calcs.holds import HoldRule, judge
from calcs.recordings import read_recording
from calcs.units import Dimension, to_si

SAMPLES = 500_000
LIMIT = 3.0
ROUNDS = 15


def pressures() -> np.ndarray:
    """A whole day at the pump: pairs of a low and a high hold, with the noise of a gauge."""
    minutes = np.array([0, 0.5, 1, 7, 8, 20, 21, 25]) * 60
    cycle = np.interp(np.arange(25 * 60 * 10) / 10, minutes, [0, 0, 300, 298, 5_060, 5_050, 0, 0])
    noise = np.random.default_rng(7).normal(0, 1, SAMPLES).round(1)
    return np.resize(cycle, SAMPLES) + noise


def one_long_hold() -> np.ndarray:
    """The hardest case for the judge: nearly every sample lies in one long high hold."""
    noise = np.random.default_rng(7).normal(0, 1, SAMPLES).round(1)
    minutes = np.array([0, 0.5, 7, 8, SAMPLES / 600]) * 60
    return np.interp(np.arange(SAMPLES) / 10, minutes, [0, 300, 298, 5_060, 5_050]) + noise


def elapsed_file(pressure: np.ndarray) -> bytes:
    lines = (f"{index / 10:.1f},{value:.1f}\n" for index, value in enumerate(pressure))
    return ("Time (s),Pressure (psi)\n" + "".join(lines)).encode()


def clock_file(pressure: np.ndarray) -> bytes:
    start = np.datetime64("2026-03-31T06:00:00.000")
    clock = np.datetime_as_string(start + (np.arange(SAMPLES) * 100).astype("timedelta64[ms]"))
    lines = (f"{at}+02:00,{value:.1f}\n" for at, value in zip(clock, pressure, strict=True))
    return ("Clock,Pressure (psi)\n" + "".join(lines)).encode()


def rule() -> HoldRule:
    psi = {name: to_si(value, "psi", Dimension.PRESSURE) for name, value in _RULE_PSI.items()}
    return HoldRule(**psi, hold_s=300.0)


_RULE_PSI = {"low_min": 250, "low_max": 350, "restart_above": 500, "high_target": 5_000, "max_decay": 50}


def interleaved(*questions: Callable[[], object]) -> list[float]:
    """Median seconds of each question, asked in turns so that the machine's moods fall on all alike."""
    taken: list[list[float]] = [[] for _ in questions]
    for _ in range(ROUNDS):
        for spent, question in zip(taken, questions, strict=True):
            before = time.perf_counter()
            question()
            spent.append(time.perf_counter() - before)
    return [median(spent) for spent in taken]


def main() -> int:
    asked, worst = rule(), 0.0
    curves = {"whole day": pressures(), "one long hold": one_long_hold()}
    writers = {"elapsed seconds": elapsed_file, "clock with offset": clock_file}
    print(f"{SAMPLES:,} samples; medians of {ROUNDS} rounds; limit {LIMIT:g} times polars.read_csv")
    for curve, pressure in curves.items():
        for layout, write in writers.items():
            content = write(pressure)
            recording = read_recording(content)
            floor, whole, judging = interleaved(
                lambda content=content: pl.read_csv(content),
                lambda content=content: judge(read_recording(content), asked),
                lambda recording=recording: judge(recording, asked),
            )
            worst = max(worst, whole / floor)
            print(
                f"  {curve}, {layout}: {whole / floor:.2f} times ({whole * 1e3:.1f} ms against {floor * 1e3:.1f} ms; "
                f"{judging * 1e3:.1f} ms of it judging); passes: {judge(recording, asked).passes}"
            )
    tracemalloc.start()
    judge(read_recording(content), asked)
    peak = tracemalloc.get_traced_memory()[1]
    print(f"  memory at the peak, numpy and Python: {peak / 2**20:.0f} MB for a file of {len(content) / 2**20:.0f} MB")
    print("within the limit" if worst <= LIMIT else f"OVER THE LIMIT: {worst:.2f}")
    return 0 if worst <= LIMIT else 1


if __name__ == "__main__":
    sys.exit(main())
