"""A rig in software that speaks the real protocol and knows its own truth."""

from acquisition.virtual_rig.rigs import default_rig
from acquisition.virtual_rig.sensors import SensorModel
from acquisition.virtual_rig.trainees import TRAINEES, Trainee, trainee
from acquisition.virtual_rig.truth import Truth
from acquisition.virtual_rig.truth_file import write_truth
from acquisition.virtual_rig.virtual_rig import VirtualRig

__all__ = [
    "TRAINEES",
    "SensorModel",
    "Trainee",
    "Truth",
    "VirtualRig",
    "default_rig",
    "trainee",
    "write_truth",
]
