"""The rigs that exist in software only; their files double as templates for real ones."""

from __future__ import annotations

from pathlib import Path

import msgspec

from acquisition.errors import DescriptionError
from acquisition.rig import RigDescription, StabiliserDescription, load_rig
from acquisition.toml_records import read_toml, to_record

_FOLDER = Path(__file__).parent
RIG_FILES = {
    ("right", 3): _FOLDER / "rig_right.toml",
    ("left", 3): _FOLDER / "rig_left.toml",
    ("right", 6): _FOLDER / "rig_right_six_axis.toml",
    ("left", 6): _FOLDER / "rig_left_six_axis.toml",
}


STABILISER_FILE = _FOLDER / "stabiliser.toml"


class _OnlyStabiliser(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    stabiliser: StabiliserDescription


def default_rig(side: str = "right", axes: int = 3, *, stabiliser: bool = False) -> RigDescription:
    """Return the description of the rig in software.

    Args:
        side: ``right`` or ``left``.
        axes: Of its load cell, 3 or 6.
        stabiliser: It has a second cell, under the hand that steadies the scapula block.

    Raises:
        DescriptionError: No such side or axes.
    """
    if (side, axes) not in RIG_FILES:
        raise DescriptionError(f"no virtual rig with side {side!r} and {axes} axes")
    rig = load_rig(RIG_FILES[side, axes])
    if not stabiliser:
        return rig
    data = read_toml(STABILISER_FILE, DescriptionError)
    second = to_record(data, _OnlyStabiliser, where=STABILISER_FILE, error=DescriptionError)
    return msgspec.structs.replace(rig, stabiliser=second.stabiliser)
