"""Rigs in software for the tests: ideal ones, still poses, people without spread."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec
import numpy as np
import pytest
from numpy.typing import NDArray

from acquisition.rig import RigDescription
from acquisition.virtual_rig import SensorModel, Trainee, VirtualRig, default_rig, trainee
from acquisition.virtual_rig.kinematics import Angle, arm_motion
from acquisition.virtual_rig.trainees import Spread
from acquisition.virtual_rig.world import WorldState

Floats = NDArray[np.float64]
MakeRig = Callable[..., VirtualRig]
Still = Callable[..., WorldState]


@pytest.fixture(scope="session")
def ideal() -> SensorModel:
    """Sensors without noise, offset or bias."""
    return SensorModel(
        force_noise_n=0.0,
        moment_noise_nm=0.0,
        zero_offset_n=0.0,
        zero_offset_nm=0.0,
        accel_noise_m_s2=0.0,
        gyro_noise_rad_s=0.0,
        accel_bias_m_s2=0.0,
        gyro_bias_rad_s=0.0,
    )


@pytest.fixture(scope="session")
def make_rig() -> MakeRig:
    def make(code: str = "E01", side: str = "right", axes: int = 3, **options: Any) -> VirtualRig:
        return VirtualRig(default_rig(side, axes), trainee(code), **({"seed": 7} | options))

    return make


@pytest.fixture(scope="session")
def machine() -> Callable[..., Trainee]:
    """Somebody who repeats exactly, for sums done by hand."""

    def make(code: str = "E01", **hand: float) -> Trainee:
        still = {"wander_n": 0.0, "tremble_n": 0.0, "tremble_deg": 0.0}
        exact = Spread(
            top_deg=0.0,
            force_percent=0.0,
            azimuth_deg=0.0,
            superior_deg=0.0,
            speed_percent=0.0,
            timing_s=0.0,
        )
        own = trainee(code)
        return Trainee(
            code,
            own.fault,
            own.about,
            msgspec.structs.replace(own.hand, **(still | hand)),
            own.arm,
            exact,
        )

    return make


@pytest.fixture(scope="session")
def still() -> Still:
    """An arm that does not move, and a push, at one time."""

    def make(
        elevation_deg: float,
        plane_deg: float = 0.0,
        *,
        force_n: tuple[float, float, float] = (0.0, 0.0, 0.0),
        on_head: tuple[float, float, float] = (1.0, 0.0, 0.0),
        stabilising_n: tuple[float, float, float] = (0.0, 0.0, 0.0),
    ) -> WorldState:
        zero = np.zeros(1)
        angle = Angle(np.deg2rad([elevation_deg]), zero, zero)
        arm = arm_motion(angle, plane_rad=float(np.deg2rad(plane_deg)), axial_ratio=0.0)
        none = np.zeros(1, dtype=np.int64)
        force = np.array([force_n])
        return WorldState(
            zero,
            arm,
            force,
            np.array([on_head]),
            np.any(force != 0.0, axis=1),
            none,
            none,
            np.array([stabilising_n]),
        )

    return make


@pytest.fixture
def plain_rig() -> Callable[..., RigDescription]:
    """A shipped rig with some of its tables changed."""

    def make(side: str = "right", axes: int = 3, **tables: dict[str, Any]) -> RigDescription:
        rig = default_rig(side, axes)
        changed = {
            name: msgspec.structs.replace(getattr(rig, name), **values)
            for name, values in tables.items()
        }
        return msgspec.structs.replace(rig, **changed)

    return make
