"""Rotations of many samples at once, from quaternions with the scalar last.

What scipy's `Rotation` does too; on the millions of samples of an hour this is several times
faster, and needs no second copy of the quaternions.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Turns:
    """Rotations ready to be applied.

    Args:
        quaternions: Shape (n, 4), scalar last, of any length but 0.
    """

    def __init__(self, quaternions: Floats) -> None:
        x, y, z, w = quaternions.T
        twice = 2.0 / (x * x + y * y + z * z + w * w)
        tx, ty, tz = twice * x, twice * y, twice * z
        xx, yy, zz = tx * x, ty * y, tz * z
        xy, xz, yz = tx * y, tx * z, ty * z
        wx, wy, wz = tx * w, ty * w, tz * w
        self._rows = (
            (1.0 - (yy + zz), xy - wz, xz + wy),
            (xy + wz, 1.0 - (xx + zz), yz - wx),
            (xz - wy, yz + wx, 1.0 - (xx + yy)),
        )

    def apply(self, vectors: Floats) -> Floats:
        """Return each rotation's image of its vector (n, 3), or of one for all (3,), (n, 3)."""
        x, y, z = vectors[..., 0], vectors[..., 1], vectors[..., 2]
        return np.array([a * x + b * y + c * z for a, b, c in self._rows]).T

    def undo(self, vectors: Floats) -> Floats:
        """Return what each rotation makes its vector (n, 3), or one for all (3,), of, (n, 3)."""
        x, y, z = vectors[..., 0], vectors[..., 1], vectors[..., 2]
        return np.array([a * x + b * y + c * z for a, b, c in zip(*self._rows, strict=True)]).T

    def image_of_y(self) -> Floats:
        """Return where each rotation takes the Y axis, shape (n, 3)."""
        return np.array([row[1] for row in self._rows]).T


def quaternion_product(first: Floats, second: Floats) -> Floats:
    """Return first · second, (n, 4), scalar last: the second rotation acts before the first.

    Hamilton's product; either may be one for all, (4,).
    """
    x1, y1, z1, w1 = first.T
    x2, y2, z2, w2 = second.T
    return np.array(
        [
            w1 * x2 + x1 * w2 + y1 * z2 - z1 * y2,
            w1 * y2 - x1 * z2 + y1 * w2 + z1 * x2,
            w1 * z2 + x1 * y2 - y1 * x2 + z1 * w2,
            w1 * w2 - x1 * x2 - y1 * y2 - z1 * z2,
        ]
    ).T
