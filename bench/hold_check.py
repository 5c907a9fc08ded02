"""How long reading and judging a recorder's file takes, as a ratio to polars merely reading the same bytes.

To read is to have numbers and times: for a file with a clock polars is asked to read the clock too, not to leave
it as text, from which no hold could be judged.
"""

import numpy as np
import polars as pl

from bench.contest import Contest
from calcs.holds import HoldRule, judge
from calcs.recordings import read_recording
from calcs.units import Dimension, to_si

SAMPLES = 500_000
LIMIT = 3.0
ROUNDS = 25


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


def contests() -> list[Contest]:
    """Ask for each curve and each layout how reading and judging compares with merely reading."""
    curves = {"whole day": pressures(), "one long hold": one_long_hold()}
    writers = {"elapsed seconds": elapsed_file, "clock with offset": clock_file}
    return [
        contest(f"{curve}, {layout}", write(pressure))
        for curve, pressure in curves.items()
        for layout, write in writers.items()
    ]


def contest(name: str, content: bytes) -> Contest:
    asked = rule()
    return Contest(
        question=f"judge {SAMPLES:,} samples: {name}",
        ours=lambda: judge(read_recording(content), asked),
        floor=lambda: pl.read_csv(content, try_parse_dates=True),
        floor_is="polars reads the same bytes, clock and all",
        limit=LIMIT,
        rounds=ROUNDS,
    )
