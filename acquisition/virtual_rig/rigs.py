"""The rigs that exist in software only; their files double as templates for real ones."""

from __future__ import annotations

from pathlib import Path

from acquisition.errors import DescriptionError
from acquisition.rig import RigDescription, load_rig

_FOLDER = Path(__file__).parent
RIG_FILES = {
    ("right", 3): _FOLDER / "rig_right.toml",
    ("left", 3): _FOLDER / "rig_left.toml",
    ("right", 6): _FOLDER / "rig_right_six_axis.toml",
    ("left", 6): _FOLDER / "rig_left_six_axis.toml",
}


def default_rig(side: str = "right", axes: int = 3) -> RigDescription:
    """Return the description of the rig in software.

    Args:
        side: ``right`` or ``left``.
        axes: Of its load cell, 3 or 6.

    Raises:
        DescriptionError: No such side or axes.
    """
    if (side, axes) not in RIG_FILES:
        raise DescriptionError(f"no virtual rig with side {side!r} and {axes} axes")
    return load_rig(RIG_FILES[side, axes])
