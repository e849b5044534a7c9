"""A trial with a gap, and its recording."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from acquisition.recording.model import Recording
from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from analysis.pipeline import analyse
from analysis.trial import Trial


@pytest.fixture(scope="session")
def recording(made_recording: Callable[[VirtualRig], Recording]) -> Recording:
    """Two repetitions on a left rig of six axes, with half a second lost on the way up."""
    rig = VirtualRig(default_rig("left", 6), trainee("T03"), seed=3, repetitions=2)
    whole = made_recording(rig)
    force = whole.streams["force"]
    time_s = (force.device_time_us - force.device_time_us[0]) * 1e-6
    kept = ~((time_s > 9.0) & (time_s < 9.5))
    arrays = ("counts", "sample_number", "device_time_us", "segment", "arrival_ns")
    cut = replace(force, **{name: getattr(force, name)[kept] for name in arrays})
    assert np.count_nonzero(~kept) > 400
    return replace(whole, streams={**whole.streams, "force": cut})


@pytest.fixture(scope="session")
def trial(recording: Recording) -> Trial:
    """The recording analysed."""
    return analyse(recording)
