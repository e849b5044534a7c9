"""The cell under the stabilising hand: what it would read, to raw counts as built.

It is bolted to the block, so it feels the hand and nothing else that changes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acquisition.rig import RigDescription, StabiliserDescription
from acquisition.virtual_rig.chance import Purpose, normals, uniforms
from acquisition.virtual_rig.sensors import FORCE_CHANNELS, SensorModel, digitised, polar_flip
from acquisition.virtual_rig.world import WorldState
from firmware_protocol.messages import ChannelSpec, SampleType, StreamSpec

Floats = NDArray[np.float64]
Counts = NDArray[np.int32]

STREAM_ID = 3


class StabiliserCell:
    """A three-axis load cell fixed in the base frame.

    Args:
        rig: The rig as built.
        cell: Its second cell.
        model: How good its sensors are.
        seed: Makes noise and offsets.
        who: Code of the person.
    """

    def __init__(
        self,
        rig: RigDescription,
        cell: StabiliserDescription,
        model: SensorModel,
        *,
        seed: int,
        who: str,
    ) -> None:
        self._flip = polar_flip(rig.rig.side)
        self._seed, self._who = seed, who
        self._base_to_cell = np.array(cell.to_base).T
        self._counts_per_newton = np.linalg.inv(np.array(cell.calibration_matrix))
        self._zero = np.array(cell.zero_counts or (0.0, 0.0, 0.0))
        unit = uniforms(seed, Purpose.SENSOR_OFFSET, first=2, rows=1, columns=6, who=rig.rig.id)
        self._offset = model.zero_offset_n * (2.0 * unit[0, :3] - 1.0)
        self._noise_n = model.force_noise_n
        rail = 2 ** (model.force_bits - 1)
        self.spec = StreamSpec(
            STREAM_ID,
            cell.stream,
            SampleType.INT32 if model.force_bits > 16 else SampleType.INT16,
            model.stabiliser_rate_hz,
            tuple(ChannelSpec(name, "count", 1.0, -rail, rail - 1) for name in FORCE_CHANNELS[:3]),
        )

    def counts(self, world: WorldState, first: int) -> Counts:
        """Return counts (n, 3) for samples numbered from *first* on."""
        force = np.einsum("ij,nj->ni", self._base_to_cell, world.stabilising_n * self._flip)
        noise = normals(
            self._seed,
            Purpose.STABILISER_NOISE,
            first=first,
            rows=len(force),
            columns=3,
            who=self._who,
        )
        felt = force + self._offset + self._noise_n * noise
        exact = np.einsum("ij,nj->ni", self._counts_per_newton, felt) + self._zero
        return digitised(exact, self.spec)
