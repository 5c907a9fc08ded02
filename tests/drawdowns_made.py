"""Recorder curves of drawdowns made for the tests: known drops, re-warming gas, noise, leaks, pumps."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calcs.recordings import Recording
from calcs.units import Dimension, to_si

PSI = to_si(1.0, "psi", Dimension.PRESSURE)
WARMING_S = 90.0
"""Time in which cold gas comes two thirds of the way back; of the order trade notes tell."""


@dataclass(frozen=True)
class Made:
    """A curve and what is true of it, in s and psi: one (began, done, at once, settled) a drop."""

    recording: Recording
    truth: tuple[tuple[float, float, float, float], ...]
    start: float


def drawdown(
    drops: Sequence[tuple[float, float]],
    *,
    start: float = 3000.0,
    wait: float = 60.0,
    interval: float = 1.0,
    noise: float = 0.0,
    cold: float = 0.3,
    leak: float = 0.0,
    recharge: float = 0.0,
    seed: int = 0,
) -> Made:
    """Make a curve of `drops` (depth settled in psi, time of the fall in s), a `wait` after each.

    `cold` is the share of a drop's depth by which it overshoots while the gas is cold; `leak` is psi/s lost
    throughout; `recharge` is psi/s at which pumps charge the bank again after the last wait.
    """
    times, levels, truth = [0.0, wait], [start, start], []
    at, warm, short = wait, start, 0.0
    for depth, falls in drops:
        began = at
        warm -= depth
        short = short * np.exp(-falls / WARMING_S) + cold * depth
        at_once = warm - short
        times.append(at := at + falls)
        levels.append(at_once)
        done = at
        for since in np.linspace(wait / 40, wait, 40):
            times.append(done + since)
            levels.append(warm - short * np.exp(-since / WARMING_S))
        at = done + wait
        short *= np.exp(-wait / WARMING_S)
        truth.append((began, done, at_once - leak * done, levels[-1] - leak * at))
    if recharge:
        times.append(at + (start - levels[-1]) / recharge)
        levels.append(start)
        times.append(times[-1] + 60)
        levels.append(start)
    t = np.arange(0.0, times[-1], interval)
    p = np.interp(t, times, levels) - leak * t
    p = p + np.random.default_rng(seed).normal(0.0, noise, len(t)) if noise else p
    return Made(Recording.from_samples(t, p, "psi"), tuple(truth), start)
