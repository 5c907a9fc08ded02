"""Telling by its samples whether a stretch of a recording is one that was seen before.

The file does not tell it: a copy with a line cut off or added is another file. What is compared are short rows of
samples that change; of them those with the least of four mixed numbers are kept, so that two stretches that share
most of their rows have most of the four in common, and two that share none have none. Flat rows are left out: two
honest holds of the same flat pressure are not the same. Pressures gauge in Pa.
"""

import hashlib
from typing import Final

import numpy as np
import numpy.typing as npt

from calcs.hold_windows import FloatArray

ROW: Final = 16
"""Samples in a row."""

LEAST_DIFFERENT: Final = 6
"""Different pressures a row needs to tell one stretch from another."""

LEAST_ALIKE: Final = 2
"""How many of the four numbers two stretches share that are taken for the same."""

_SEEDS: Final = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9, 0xD6E8FEB86659FD93)
_STEP: Final = np.uint64(0x100000001B3)
_MIX: Final = np.uint64(0xBF58476D1CE4E5B9)
_SHIFT: Final = np.uint64(31)

Numbers = npt.NDArray[np.uint64]


def fingerprint(pressures: FloatArray) -> tuple[str, ...]:
    """Return the four numbers of a stretch, each as 16 hexadecimal digits; the same four for the same samples.

    A stretch without any row that changes is told by all its samples together.
    """
    whole = np.round(pressures).astype(np.int64)
    rows = _telling_rows(whole)
    if not len(rows):
        told = hashlib.sha256(whole.astype("<i8").tobytes()).hexdigest()
        return tuple(told[16 * place : 16 * place + 16] for place in range(len(_SEEDS)))
    numbers = _numbers_of(rows)
    return tuple(f"{int(_mixed(numbers, seed).min()):016x}" for seed in _SEEDS)


def are_alike(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    """Tell whether two fingerprints are of the same stretch, give or take a few samples."""
    return sum(mine == theirs for mine, theirs in zip(one, other, strict=False)) >= LEAST_ALIKE


def _telling_rows(whole: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    if len(whole) < ROW:
        return np.empty((0, ROW), np.int64)
    rows = np.lib.stride_tricks.sliding_window_view(whole, ROW)
    different = 1 + np.count_nonzero(np.diff(np.sort(rows, axis=1), axis=1), axis=1)
    telling: npt.NDArray[np.int64] = rows[different >= LEAST_DIFFERENT]
    return telling


def _numbers_of(rows: npt.NDArray[np.int64]) -> Numbers:
    number = np.zeros(len(rows), np.uint64)
    for place in range(ROW):
        number = number * _STEP + rows[:, place].astype(np.uint64)
    return number


def _mixed(numbers: Numbers, seed: int) -> Numbers:
    mixed = (numbers ^ np.uint64(seed)) * _MIX
    mixed ^= mixed >> _SHIFT
    return mixed * _MIX
