"""What does not fail a hold that passes, but has to be looked for, in words: a steady fall, a pressure pumped up.

Common practice, not a figure of any rule. Pressures gauge in Pa, times in s.
"""

from typing import Final

import numpy as np

from calcs.hold_windows import FloatArray
from calcs.recordings import Recording
from calcs.steady import (
    HIGH_SHARE,
    LOW_FALL,
    LOW_RAISED,
    RAISED_SHARE,
    Raised,
    SteadyFall,
    raised_again,
    steady_fall,
)
from calcs.verdicts import HoldResult, Wording

_ON_THE_RAMP: Final = 0.2
"""Share of the largest fall the first sample lies under the highest where a hold is said to begin on the ramp."""


def low_notes(hold: HoldResult | None, recording: Recording, wording: Wording) -> list[str]:
    """Return the notes on a low hold that passes; none where there is none."""
    return [] if hold is None else _notes("low", hold, recording, wording, fall=LOW_FALL, rise=LOW_RAISED)


def high_notes(hold: HoldResult, recording: Recording, wording: Wording, *, target: float) -> list[str]:
    """Return the notes on a high hold that passes, of which `target` Pa was asked."""
    return _notes("high", hold, recording, wording, fall=HIGH_SHARE * target, rise=RAISED_SHARE * target)


def seen_raised(hold: HoldResult, recording: Recording, *, over: float) -> Raised | None:
    """Return what was raised again by more than `over` Pa inside a hold, passing or not; None for nothing."""
    return raised_again(*_samples_of(hold, recording), over=over)


def _notes(
    name: str, hold: HoldResult, recording: Recording, wording: Wording, *, fall: float, rise: float
) -> list[str]:
    if not hold.passes or hold.start is None or hold.end is None:
        return []
    raised = seen_raised(hold, recording, over=rise)
    if raised is not None:
        return [_raised_in_words(name, raised, wording)]
    steady = steady_fall(*_samples_of(hold, recording), over=fall)
    return [] if steady is None else [_steady_in_words(name, steady, hold, wording)]


def _samples_of(hold: HoldResult, recording: Recording) -> tuple[FloatArray, FloatArray]:
    if hold.start is None or hold.end is None:
        return recording.elapsed[:0], recording.pressures[:0]
    first = int(np.searchsorted(recording.elapsed, hold.start))
    stop = int(np.searchsorted(recording.elapsed, hold.end, side="right"))
    return recording.elapsed[first:stop], recording.pressures[first:stop]


def _raised_in_words(name: str, raised: Raised, wording: Wording) -> str:
    often = "once" if raised.times == 1 else f"{raised.times} times"
    by = f"by {wording.pressure(raised.most)}" if raised.times == 1 else f"by up to {wording.pressure(raised.most)}"
    return (
        f"The {name} pressure was raised again {often} inside the hold, {by}: pumped up? A hold is made with the pump "
        "shut off (common practice)."
    )


def _steady_in_words(name: str, steady: SteadyFall, hold: HoldResult, wording: Wording) -> str:
    told = (
        f"The {name} pressure fell steadily, {wording.pressure(steady.rate * 60)}/min, and did not settle: a steady "
        "fall is a leak to be found (common practice)."
    )
    decay, top, start = hold.decay or 0.0, hold.max_pressure or 0.0, hold.start_pressure or 0.0
    if top - start <= _ON_THE_RAMP * decay:
        return told
    return (
        f"{told} The hold judged begins on the ramp, so that its start and end understate the fall: the largest fall "
        f"in it is {wording.pressure(decay)}."
    )
