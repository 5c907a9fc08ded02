"""Whether a hold that met its limits was still falling at its end as it fell at its beginning, or was pumped up.

A fresh hold falls while the fluid cools and the trapped air goes into it, and slows down; a leak does not slow
down. Training texts for drilling crews tell the two apart so (common practice). A hold is made with the pump shut
off: a pressure that fell and was raised again shows neither. No figure of any rule is used: both are something to
look for, not a failure. Pressures gauge in Pa, times in s, rates in Pa/s.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from calcs.hold_windows import FloatArray
from calcs.units import Dimension, to_si

HIGH_SHARE: Final = 0.01
"""Share of the target a high hold may fall before its steadiness is looked at (common practice)."""

LOW_FALL: Final = to_si(10.0, "psi", Dimension.PRESSURE)
"""What a low hold may fall before its steadiness is looked at, Pa (common practice)."""

ABOUT_AS_FAST: Final = 0.8
"""A second half that falls at this share of the first half's rate, or faster, did not settle (common practice)."""

RAISED_SHARE: Final = 0.005
"""Share of the target a high hold must fall, and rise again, to be taken for pumped up (common practice).

More than gauges flicker by; fluid that warms in the line raises the pressure too, but not after a fall."""

LOW_RAISED: Final = to_si(10.0, "psi", Dimension.PRESSURE)
"""What a low hold must fall, and rise again, to be taken for pumped up, Pa (common practice)."""

_LEAST_SAMPLES: Final = 6
_LEAST_PART: Final = 0.25
"""Share of the window that must follow its highest sample for the fall from there to be judged alone."""
_NOISES: Final = 8.0
"""A rise of fewer standard deviations of the gauge's noise than this is taken for noise."""
_MOST_NOISE: Final = 3.0
"""Noise never hides a rise of more than this many times what is looked for."""
_DEVIATION: Final = 0.6745 * math.sqrt(6.0)
"""Median size of the second differences of white noise of one standard deviation."""


@dataclass(frozen=True, slots=True)
class SteadyFall:
    """A fall that did not slow down: `fall` in Pa over what was judged of the window, `rate` in Pa/s."""

    fall: float
    rate: float


@dataclass(frozen=True, slots=True)
class Raised:
    """A pressure that fell inside a window and was raised again: how often, and the largest rise in Pa."""

    times: int
    most: float


def steady_fall(times: FloatArray, pressures: FloatArray, *, over: float) -> SteadyFall | None:
    """Return the steady fall of a window, or None where it rose, settled, or fell by no more than `over` Pa.

    Each half is judged by the straight line that fits its samples best, so that noise and single spikes do not
    decide. A window that begins on the ramp is judged from its highest sample on: the rise would else stand against
    the fall. Fewer than six samples can't show it: None.

    >>> import numpy as np
    >>> times = np.arange(0.0, 301.0)
    >>> steady_fall(times, 1000.0 - times, over=100.0)
    SteadyFall(fall=300.0, rate=1.0)
    """
    top = int(np.argmax(pressures)) if len(times) else 0
    if top and times[-1] - times[top] >= _LEAST_PART * (times[-1] - times[0]):
        times, pressures = times[top:], pressures[top:]
    if len(times) < _LEAST_SAMPLES:
        return None
    middle = float(times[0] + times[-1]) / 2
    first, second = times <= middle, times >= middle
    if int(first.sum()) < 2 or int(second.sum()) < 2:
        return None
    rate = _rate(times, pressures)
    fall = rate * float(times[-1] - times[0])
    early, late = _rate(times[first], pressures[first]), _rate(times[second], pressures[second])
    if fall <= over or late <= 0 or late < ABOUT_AS_FAST * early:
        return None
    return SteadyFall(fall=round(fall, 6), rate=round(rate, 9))


def raised_again(times: FloatArray, pressures: FloatArray, *, over: float) -> Raised | None:
    """Return how often the pressure of a window rose by more than `over` Pa after it had fallen by as much.

    None where it never did. The ramp a window may begin on is no rise after a fall. On a gauge that flickers, `over`
    is what stands out of its noise.

    >>> import numpy as np
    >>> raised_again(np.arange(5.0), np.array([7800.0, 7510.0, 7800.0, 7520.0, 7790.0]), over=40.0)
    Raised(times=2, most=290.0)
    """
    limit = max(over, min(_NOISES * _noise(pressures), _MOST_NOISE * over))
    rises: list[float] = []
    top = bottom = float(pressures[0]) if len(times) else 0.0
    fallen = rising = False
    for pressure in pressures.tolist():
        if not fallen:
            top = max(top, pressure)
            if rising:
                rises[-1] = max(rises[-1], top - bottom)
            if top - pressure > limit:
                fallen, rising, bottom = True, False, pressure
        else:
            bottom = min(bottom, pressure)
            if pressure - bottom > limit:
                fallen, rising, top = False, True, pressure
                rises.append(top - bottom)
    return Raised(times=len(rises), most=round(max(rises), 6)) if rises else None


def _noise(pressures: FloatArray) -> float:
    """Return the standard deviation of the gauge's noise, Pa: what neither a fall nor a rise explains."""
    if len(pressures) < _LEAST_SAMPLES:
        return 0.0
    return float(np.median(np.abs(np.diff(pressures, 2)))) / _DEVIATION


def _rate(times: FloatArray, pressures: FloatArray) -> float:
    """Return the rate of fall of the straight line of least squares, Pa/s."""
    since = times - times.mean()
    spread = float(np.dot(since, since))
    return -float(np.dot(since, pressures - pressures.mean())) / spread if spread > 0 else 0.0
