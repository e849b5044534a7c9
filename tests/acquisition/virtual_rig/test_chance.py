from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from acquisition.virtual_rig.chance import MAX_SEED, Purpose, normals, uniforms


@given(
    seed=st.integers(0, MAX_SEED),
    first=st.integers(0, 10**12),
    cut=st.integers(0, 30),
    columns=st.integers(1, 9),
)
def test_numbers_depend_on_their_place_and_not_on_the_piece_asked_for(
    seed: int, first: int, cut: int, columns: int
) -> None:
    def piece(start: int, rows: int) -> NDArray[np.float64]:
        return normals(seed, Purpose.FORCE_NOISE, first=start, rows=rows, columns=columns)

    whole = piece(first, 30)

    assert np.array_equal(np.vstack([piece(first, cut), piece(first + cut, 30 - cut)]), whole)


def test_seed_purpose_and_person_each_give_other_numbers() -> None:
    def draw(seed: int, purpose: Purpose, who: str) -> tuple[float, ...]:
        return tuple(uniforms(seed, purpose, first=0, rows=1, columns=4, who=who)[0].tolist())

    drawn = {
        draw(seed, purpose, who) for seed in (0, 1) for purpose in Purpose for who in ("", "T01")
    }

    assert len(drawn) == 2 * len(Purpose) * 2


def test_the_noise_is_white_and_normal() -> None:
    noise = normals(3, Purpose.IMU_NOISE, first=0, rows=100_000, columns=6)

    # Standard errors: mean 1/√n, SD 1/√(2n), kurtosis √(24/n), correlations 1/√n; five of them.
    n = len(noise)
    assert np.abs(noise.mean(axis=0)).max() < 5 / np.sqrt(n)
    assert np.abs(noise.std(axis=0) - 1.0).max() < 5 / np.sqrt(2 * n)
    assert np.abs((noise**4).mean(axis=0) - 3.0).max() < 5 * np.sqrt(24 / n) * 2
    assert np.abs(np.corrcoef(noise.T) - np.eye(6)).max() < 5 / np.sqrt(n)
    assert abs(np.corrcoef(noise[1:, 0], noise[:-1, 0])[0, 1]) < 5 / np.sqrt(n)


def test_uniform_numbers_never_reach_their_ends() -> None:
    unit = uniforms(5, Purpose.LINE, first=0, rows=50_000, columns=4)

    assert 0.0 < unit.min() < 1e-4
    assert 1.0 - 1e-4 < unit.max() < 1.0
    assert unit.mean() == pytest.approx(0.5, abs=5 / np.sqrt(12 * unit.size))
