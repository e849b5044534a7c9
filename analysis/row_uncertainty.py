"""Uncertainties of some rows of a series, worked out when they are asked for.

Those of the directions are in the series, since they decide what has a direction. Those of force
and pose are wanted of a repetition or of a profile alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.turns import Turns
from analysis.uncertainty import (
    ForceUncertainty,
    PoseUncertainty,
    force_uncertainty,
    pose_uncertainty,
)

Rows = slice | NDArray[np.int64]


def force_u(series: ResolvedSeries, rows: Rows, target: Target) -> ForceUncertainty | None:
    """Return the uncertainty of the force in some rows, None if its sources are not known."""
    if series.sources is None or series.heading_age_s is None:
        return None
    poses = series.humerus_to_base
    return force_uncertainty(
        series.force_n[rows],
        target.directions_in(series)[rows],
        series.heading_age_s[rows],
        series.sources,
        None if poses is None else Turns(poses[rows]),
    )


def pose_u(series: ResolvedSeries, rows: Rows) -> PoseUncertainty | None:
    """Return the uncertainty of the pose in some rows, None if its sources are not known."""
    if series.sources is None or series.heading_age_s is None:
        return None
    return pose_uncertainty(
        series.elevation_rad[rows],
        series.plane_rad[rows],
        series.heading_age_s[rows],
        series.sources,
    )
