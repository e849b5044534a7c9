"""What is said when the rig was moved, or the arm does not come home."""

from __future__ import annotations

import numpy as np

from analysis.live_chain import LiveStatus
from analysis.said import said

LEVELLED = "the rig was moved: its level was taken anew from two rests at home"


def leaning(status: LiveStatus) -> str:
    """Return what to do about an arm that rests elsewhere than at home; empty if it does not."""
    if not status.leaned_rad:
        return ""
    return said(
        "the arm rests {}° from home: bring it home, or if the rig was moved rest at home twice",
        f"{np.rad2deg(status.leaned_rad):.0f}",
    )
