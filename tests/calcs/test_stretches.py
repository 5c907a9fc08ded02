"""A stretch of a recording is known again by its samples, and honest stretches are not taken for each other."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.stretches import are_alike, fingerprint
from tests.recordings_made import step


def noisy(seed: int) -> np.ndarray:
    return step().with_noise(3.0, seed).recording().pressures


@given(seed=st.integers(0, 500), at=st.integers(40, 700))
def test_a_copy_with_a_line_cut_out_or_added_is_known_again(seed: int, at: int):
    pressures = noisy(seed)
    for copy in (np.delete(pressures, at), np.insert(pressures, at, pressures[at] + 700.0)):
        assert are_alike(fingerprint(pressures), fingerprint(copy))


@given(one=st.integers(0, 500), other=st.integers(501, 1_000))
def test_two_recordings_of_the_same_pressures_are_not_taken_for_each_other(one: int, other: int):
    assert not are_alike(fingerprint(noisy(one)), fingerprint(noisy(other)))


def test_flat_holds_of_the_same_pressure_are_told_apart_by_the_ramp_between():
    flat = np.full(300, 2_068_000.0)
    quick, slow = np.linspace(2.1e6, 3.4e7, 40), np.linspace(2.1e6, 3.4e7, 60)
    top = np.full(300, 3.45e7)
    one, other = np.concatenate([flat, quick, top]), np.concatenate([flat, slow, top])
    assert not are_alike(fingerprint(one), fingerprint(other))
    assert are_alike(fingerprint(one), fingerprint(one.copy()))


@pytest.mark.parametrize("samples", [2, 15, 400])
def test_a_stretch_too_short_or_too_flat_is_told_by_all_its_samples(samples: int):
    flat = np.full(samples, 7e7)
    assert fingerprint(flat) == fingerprint(flat.copy())
    assert not are_alike(fingerprint(flat), fingerprint(flat[1:]))
