"""Whether a hold that met its limits was still falling at its end as it fell at its beginning.

A fresh hold falls while the fluid cools and the trapped air goes into it, and slows down; a leak does not slow
down. Training texts for drilling crews tell the two apart so (common practice). No figure of any rule is used:
a steady fall is something to look for, not a failure. Pressures gauge in Pa, times in s, rates in Pa/s.
"""

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

_LEAST_SAMPLES: Final = 6


@dataclass(frozen=True, slots=True)
class SteadyFall:
    """A fall that did not slow down: `fall` in Pa over the whole window, `rate` in Pa/s."""

    fall: float
    rate: float


def steady_fall(times: FloatArray, pressures: FloatArray, *, over: float) -> SteadyFall | None:
    """Return the steady fall of a window, or None where it rose, settled, or fell by no more than `over` Pa.

    Each half is judged by the straight line that fits its samples best, so that noise and single spikes do not
    decide. Fewer than six samples can't show it: None.

    >>> import numpy as np
    >>> times = np.arange(0.0, 301.0)
    >>> steady_fall(times, 1000.0 - times, over=100.0)
    SteadyFall(fall=300.0, rate=1.0)
    """
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


def _rate(times: FloatArray, pressures: FloatArray) -> float:
    """Return the rate of fall of the straight line of least squares, Pa/s."""
    since = times - times.mean()
    spread = float(np.dot(since, since))
    return -float(np.dot(since, pressures - pressures.mean())) / spread if spread > 0 else 0.0
