"""Random numbers by address: the same seed, purpose and place give the same number.

A counter-based generator (Philox; Salmon et al. 2011, "Parallel random numbers: as easy as
1, 2, 3") answers for any row without those before it, so a signal can be made in pieces cut
anywhere. Only its raw words are used, which numpy promises not to change; its distributions
carry no such promise.
"""

from __future__ import annotations

import zlib
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_WORDS_PER_COUNTER = 4
MAX_SEED = 2**63 - 1


class Purpose(IntEnum):
    """What the numbers are for, so that two uses never share them."""

    FORCE_NOISE = 1
    IMU_NOISE = 2
    REPETITION = 3
    TREMBLE = 4
    SENSOR_OFFSET = 5
    LINE = 6
    STABILISER = 7
    STABILISER_NOISE = 8


def uniforms(
    seed: int, purpose: Purpose, *, first: int, rows: int, columns: int, who: str = ""
) -> Floats:
    """Return numbers between 0 (never) and 1, shape (rows, columns).

    Args:
        seed: 0 to `MAX_SEED`.
        purpose: What for.
        first: Number of the first row wanted, from 0.
        rows: How many rows.
        columns: Numbers in a row; a wider row begins with other numbers.
        who: Code of the rig or the trainee, so that each has numbers of its own.
    """
    counters_per_row = -(-columns // _WORDS_PER_COUNTER)
    key = np.array([seed, purpose | zlib.crc32(who.encode()) << 8], dtype=np.uint64)
    counter = np.array([first * counters_per_row, 0, 0, 0], dtype=np.uint64)
    shape = (rows, counters_per_row * _WORDS_PER_COUNTER)
    words = np.random.Philox(key=key, counter=counter).random_raw(shape[0] * shape[1])
    table = np.asarray(words, dtype=np.uint64).reshape(shape)[:, :columns]
    unit: Floats = ((table >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53
    return unit


def normals(
    seed: int, purpose: Purpose, *, first: int, rows: int, columns: int, who: str = ""
) -> Floats:
    """Return standard normal numbers, shape (rows, columns), by Box and Muller (1958).

    Arguments as in `uniforms`.
    """
    pairs = -(-columns // 2)
    unit = uniforms(seed, purpose, first=first, rows=rows, columns=2 * pairs, who=who)
    radius = np.sqrt(-2.0 * np.log(unit[:, :pairs]))
    angle = 2.0 * np.pi * unit[:, pairs:]
    table: Floats = np.hstack([radius * np.cos(angle), radius * np.sin(angle)])
    return table[:, :columns]
