"""The highest pressure a step stood under: looked for in all its part of a recording shows, not between marks alone.

Marks say which holds are judged. They can not make a pressure unseen: what the equipment stood under before and
after them counts as well. Pressures are gauge in Pa, times elapsed seconds.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from calcs.hold_windows import TIME_TOLERANCE_S, FloatArray
from calcs.recordings import Recording
from calcs.units import Dimension, GaugePressure, to_si
from calcs.verdicts import Peak

BLED_OFF: Final = GaugePressure(to_si(50.0, "psi", Dimension.PRESSURE))
"""Below this a line counts as bled to zero: gauges of this range do not show a true zero (common practice)."""

_TOLERANCE: Final = 1e-9
"""Relative, on pressures: room for the conversion of units."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What else is judged from the recording, beside the step asked about.

    Attributes:
        before: where the part of the step before ends, elapsed s; None where no step comes before.
        after: where the part of the step after begins, elapsed s; None where none comes after.
        allowed: highest pressure any of the other steps may stand under, Pa gauge; None where there is none.
    """

    before: float | None = None
    after: float | None = None
    allowed: float | None = None


ALONE: Final = Beside()
"""Nothing else is judged from the recording: all of it is the step's."""


@dataclass(frozen=True, slots=True)
class Exposure:
    """What a step stood under.

    Attributes:
        highest: the highest pressure that is the step's.
        apart: the highest pressure that may be the step's or another's: bled to zero on both sides, between
            the part of this step and of the next; None where there is nothing of the kind.
    """

    highest: Peak
    apart: Peak | None

    @classmethod
    def of(cls, recording: Recording, start: float | None, end: float | None, beside: Beside = ALONE) -> "Exposure":
        """Return what a step marked from `start` to `end` (elapsed s; None: the whole) stood under.

        Its part reaches from the end of the step before to the start of the one after. Where the pressure was
        bled to zero on the way there, what was under pressure before that with the other step is the other's.
        """
        times = recording.elapsed
        first = 0 if start is None else int(np.searchsorted(times, start - TIME_TOLERANCE_S, side="left"))
        stop = len(times) if end is None else int(np.searchsorted(times, end + TIME_TOLERANCE_S, side="right"))
        since = 0 if beside.before is None else min(first, int(np.searchsorted(times, beside.before, side="left")))
        until = (
            len(times) if beside.after is None else max(stop, int(np.searchsorted(times, beside.after, side="right")))
        )
        before = _bled(recording.pressures, since, first)
        after = _bled(recording.pressures, stop, until)
        apart = []
        if before:
            apart.append(_peak(recording, before[0] if beside.before is not None else since, before[1] + 1))
        if after:
            apart.append(_peak(recording, after[0], after[1] + 1 if beside.after is not None else until))
        own = _peak(recording, before[1] if before else since, after[0] + 1 if after else until)
        return cls(own, max(apart, key=lambda peak: peak.pressure, default=None))

    def charged(self, beside: Beside) -> Peak:
        """Return the highest pressure the step answers for: one apart too, unless another step may stand under it."""
        if self.apart is None or self.is_anothers(beside):
            return self.highest
        return max(self.highest, self.apart, key=lambda peak: peak.pressure)

    def is_anothers(self, beside: Beside) -> bool:
        """Tell whether the peak apart may be of another step: one whose ratings allow it."""
        allowed = beside.allowed
        return self.apart is not None and allowed is not None and self.apart.pressure <= allowed * (1 + _TOLERANCE)


def beside(number: int, parts: Sequence[tuple[float, float]], allowed: Sequence[float | None]) -> Beside:
    """Return what stands beside the part `number` of a recording, whose `parts` (from, to, elapsed s) are judged.

    `allowed` holds the highest pressure each part may stand under. Together the parts with what lies before and
    after them leave nothing of the recording out, however they lie or overlap.

    >>> beside(1, [(0.0, 100.0), (150.0, 300.0), (400.0, 500.0)], [None, 7e6, 5e6])
    Beside(before=100.0, after=400.0, allowed=5000000.0)
    """
    own = (parts[number][0], number)
    earlier = [part[1] for place, part in enumerate(parts) if (part[0], place) < own]
    later = [part[0] for place, part in enumerate(parts) if (part[0], place) > own]
    others = [most for place, most in enumerate(allowed) if place != number and most is not None]
    return Beside(max(earlier, default=None), min(later, default=None), max(others, default=None))


def _bled(pressures: FloatArray, since: int, until: int) -> tuple[int, int] | None:
    """Return the first and the last sample from `since` to before `until` bled to zero; None where none is."""
    found = np.flatnonzero(pressures[since:until] < BLED_OFF)
    return (since + int(found[0]), since + int(found[-1])) if len(found) else None


def _peak(recording: Recording, since: int, until: int) -> Peak:
    at = since + int(np.argmax(recording.pressures[since:until]))
    return Peak(float(recording.pressures[at]), float(recording.elapsed[at]))
