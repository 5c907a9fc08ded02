"""Recorder files made for the tests: curves of a pressure test by their corner points, written in any layout."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt

from calcs.holds import HoldRule
from calcs.recordings import Recording
from calcs.units import Dimension, to_si

MINUTE = 60.0
PSI = to_si(1.0, "psi", Dimension.PRESSURE)


def psi(value: float) -> float:
    return to_si(value, "psi", Dimension.PRESSURE)


def rule(
    *,
    low: tuple[float, float] = (250, 350),
    restart_above: float = 500,
    target: float = 5_000,
    most: float | None = None,
    hold: float = 5 * MINUTE,
    max_decay: float | None = None,
    max_gap: float | None = None,
) -> HoldRule:
    """A rule in psi and seconds; by default the bands of an offshore ram test."""
    return HoldRule(
        low_min=psi(low[0]),
        low_max=psi(low[1]),
        restart_above=psi(restart_above),
        high_target=psi(target),
        hold_s=hold,
        high_max=None if most is None else psi(most),
        max_decay=None if max_decay is None else psi(max_decay),
        max_gap_s=max_gap,
    )


@dataclass(frozen=True)
class Curve:
    """Pressures in psi at times in s, sampled from corner points; changed only by making another."""

    t: npt.NDArray[np.float64]
    p: npt.NDArray[np.float64]

    @classmethod
    def through(cls, corners: Sequence[tuple[float, float]], *, interval: float = 1.0) -> "Curve":
        """Sample the lines between corners of (minutes, psi)."""
        minutes, pressures = zip(*corners, strict=True)
        count = round((minutes[-1] - minutes[0]) * MINUTE / interval) + 1
        t = np.arange(count) * interval
        return cls(t, np.interp(t / MINUTE + minutes[0], minutes, pressures))

    def then(self, other: "Curve", *, after: float = 1.0) -> "Curve":
        return Curve(np.append(self.t, other.t + self.t[-1] + after), np.append(self.p, other.p))

    def with_noise(self, amplitude: float, seed: int = 1) -> "Curve":
        return replace(self, p=self.p + np.random.default_rng(seed).uniform(-amplitude, amplitude, len(self.p)))

    def with_its_own_ramps(self, seed: int) -> "Curve":
        """Shake the samples of the ramps a little; what is flat stays as it is."""
        shaken = np.random.default_rng(seed).uniform(-0.4, 0.4, len(self.p))
        moving = np.abs(np.gradient(self.p)) > 2.0 if len(self.p) > 1 else np.zeros(len(self.p), bool)
        moving[1:-1] &= np.diff(self.p)[:-1] * np.diff(self.p)[1:] > 0
        return replace(self, p=np.where(moving & (self.p > 1.0), self.p + shaken, self.p))

    def without(self, start: float, end: float) -> "Curve":
        """Leave out the samples between two times in minutes: the recorder stood still."""
        keep = (self.t < start * MINUTE) | (self.t > end * MINUTE)
        return Curve(self.t[keep], self.p[keep])

    def recording(self, *, started_at: datetime | None = None) -> Recording:
        return Recording.from_samples(self.t, self.p, "psi", started_at=started_at)

    def csv(self, *, head: str = "Time (s),Pressure (psi)", separator: str = ",", comma: bool = False) -> str:
        return self.written((f"{t:.1f}" for t in self.t), head=head, separator=separator, comma=comma)

    def clock_csv(
        self, start: datetime, *, head: str = "Clock,Pressure (psi)", separator: str = ",", ending: str | None = None
    ) -> str:
        """Write with a clock; `ending` replaces the offset."""
        moments = (start + timedelta(seconds=float(t)) for t in self.t)
        texts = (m.isoformat() if ending is None else m.replace(tzinfo=None).isoformat() + ending for m in moments)
        return self.written(texts, head=head, separator=separator)

    def written(self, times: Iterable[str], *, head: str, separator: str, comma: bool = False) -> str:
        rows = (f"{t}{separator}{p:.2f}" for t, p in zip(times, self.p, strict=True))
        lines = (row.replace(".", ",") for row in rows) if comma else rows
        return "\n".join([head, *lines]) + "\n"


def step(*, low: float = 300, high: float = 5_060, hold: float = 6, interval: float = 1.0) -> Curve:
    """A whole good step: up to the low hold, up to the high hold, bled off; `hold` in minutes each."""
    end = 2 * hold
    corners = [(0, 0), (0.5, low), (0.5 + hold, low), (1.5 + hold, high), (1.5 + end, high), (2 + end, 0), (3 + end, 0)]
    return Curve.through(corners, interval=interval)
