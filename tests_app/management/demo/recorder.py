"""An invented recorder: pressure against time for a list of holds, as real recorders write it.

Deterministic: the same steps and seed give the same file. Made for the demo and for trying uploads;
nothing in here judges anything.
"""

import math
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

LOW_HOLD_PSI = 300.0
OVERSHOOT_PSI = 560.0
WARMING_S = 200.0
"""Time in which cold gas comes two thirds of the way back; of the order trade notes tell."""
KPA_PER_PSI = 6.894757293168361


@dataclass(frozen=True)
class MadeHold:
    """One step to be recorded.

    Attributes:
        target_psi: pressure the high hold has to keep, gauge.
        hold_s: seconds each hold has to last.
        fault: "" or what goes wrong: low-leak, low-overshoot, high-leak.
    """

    target_psi: float
    hold_s: int
    fault: str = ""


@dataclass(frozen=True)
class MadeDrop:
    """One function worked in a drawdown, as the recorder sees it.

    Attributes:
        at_once_psi: where the pressure stands as the function is done.
        back_psi: what it comes back to, as the gas warms, by the end of the wait.
        falls_s: seconds the pressure falls.
        wait_s: seconds until the next function.
    """

    at_once_psi: float
    back_psi: float
    falls_s: float
    wait_s: float


def drawdown_samples(
    start_psi: float, drops: Sequence[MadeDrop], *, seed: int, interval_s: float = 1.0
) -> list[tuple[float, float]]:
    """Return (elapsed seconds, gauge psi) of a drawdown with the pumps off: a minute still, then drop after drop."""
    noise = random.Random(seed)
    clean = [start_psi] * round(60 / interval_s)
    level = start_psi
    for drop in drops:
        clean += _ramp(level, drop.at_once_psi, max(1, round(drop.falls_s / interval_s)))
        clean += _warm(drop, max(1, round(drop.wait_s / interval_s)), interval_s)
        level = clean[-1]
    return [
        (round(index * interval_s, 3), round(max(0.0, pressure + noise.gauss(0.0, 0.6)), 1))
        for index, pressure in enumerate(clean)
    ]


def _warm(drop: MadeDrop, steps: int, interval_s: float) -> Iterator[float]:
    """Rise from the cold pressure as gas does that warms by its bottle's wall: fast at first, then ever slower."""
    whole = 1 - math.exp(-steps * interval_s / WARMING_S)
    for index in range(steps):
        share = (1 - math.exp(-index * interval_s / WARMING_S)) / whole
        yield drop.at_once_psi + (drop.back_psi - drop.at_once_psi) * share


def samples(holds: Sequence[MadeHold], *, seed: int, interval_s: float = 2.0) -> list[tuple[float, float]]:
    """Return (elapsed seconds, gauge psi) of all holds one after the other."""
    noise = random.Random(seed)
    clean = [pressure for hold in holds for pressure in _hold(hold, interval_s, noise)]
    return [
        (round(index * interval_s, 3), round(max(0.0, pressure + noise.gauss(0.0, 0.6)), 1))
        for index, pressure in enumerate(clean)
    ]


def _hold(hold: MadeHold, interval_s: float, noise: random.Random) -> Iterator[float]:
    def count(seconds: float) -> int:
        return max(1, round(seconds / interval_s))

    yield from _ramp(0.0, 0.0, count(60))
    yield from _low(hold, count, noise)
    if hold.fault in {"low-leak", "low-overshoot"}:
        yield from _ramp(240.0, 0.0, count(15))
        return
    start = hold.target_psi * noise.uniform(1.012, 1.022)
    end = hold.target_psi * 0.93 if hold.fault == "high-leak" else hold.target_psi
    yield from _ramp(LOW_HOLD_PSI, start, count(70))
    if hold.fault == "high-leak":
        yield from _ramp(start, end, count(hold.hold_s * 1.1))
    else:
        loss = start * noise.uniform(0.002, 0.004)
        yield from _settle(start, loss, count(hold.hold_s + noise.randint(25, 60)), count(90))
    yield from _ramp(end, 0.0, count(25))


def _low(hold: MadeHold, count: Callable[[float], int], noise: random.Random) -> Iterator[float]:
    level = LOW_HOLD_PSI * noise.uniform(0.98, 1.06)
    if hold.fault == "low-overshoot":
        yield from _ramp(0.0, OVERSHOOT_PSI, count(12))
        yield from _ramp(OVERSHOOT_PSI, level, count(10))
    else:
        yield from _ramp(0.0, level, count(20))
    loss = 90.0 if hold.fault == "low-leak" else noise.uniform(1.5, 4.0)
    yield from _settle(level, loss, count(hold.hold_s + noise.randint(20, 45)), count(120))


def _ramp(start: float, end: float, steps: int) -> Iterator[float]:
    for index in range(steps):
        yield start + (end - start) * index / steps


def _settle(level: float, loss: float, steps: int, constant: int) -> Iterator[float]:
    """Fall by about `loss` the way trapped pressure does: fast at first, then ever slower."""
    for index in range(steps):
        yield level - loss * index / (index + constant)


def as_csv(rows: Sequence[tuple[float, float]]) -> str:
    """Return a comma file with elapsed seconds, psi."""
    lines = [f"{seconds:g},{pressure:.1f}" for seconds, pressure in rows]
    return "\n".join(["Elapsed (s),Pressure (psi)", *lines, ""])


def as_clock_csv(rows: Sequence[tuple[float, float]], *, start: datetime, serial: str) -> str:
    """Return a semicolon file: decimal commas, an ISO 8601 clock with offset, kPa, lines of text before the head."""
    lines = [
        f"{(start + timedelta(seconds=seconds)).isoformat()};" + f"{pressure * KPA_PER_PSI:.1f}".replace(".", ",")
        for seconds, pressure in rows
    ]
    return "\r\n".join([f"Recorder;{serial}", f"Samples;{len(rows)}", "Time;Pressure (kPa)", *lines, ""])


def as_tab_bar(rows: Sequence[tuple[float, float]]) -> str:
    """Return a tab file with h:mm:ss elapsed and bar."""
    lines = [f"{timedelta(seconds=seconds)}\t{pressure * KPA_PER_PSI / 100:.2f}" for seconds, pressure in rows]
    return "\n".join(["Elapsed\tPressure [bar]", *lines, ""])


def as_two_channels(rows: Sequence[tuple[float, float]], *, seed: int) -> str:
    """Return a comma file with two pressure channels: the tested one, and an idle one beside it."""
    noise = random.Random(seed)
    lines = [f"{seconds:g},{abs(noise.gauss(0.0, 1.0)):.1f},{pressure:.1f}" for seconds, pressure in rows]
    return "\n".join(["Elapsed (s),Standpipe (psi),Test pump (psi)", *lines, ""])
