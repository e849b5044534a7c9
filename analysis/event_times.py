"""When an event of a recording happened, on the time axis of its resolved series."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from acquisition.recording.model import Recording
from analysis.sample_times import clock_offsets_us
from firmware_protocol.messages import FORCE_STREAM

Floats = NDArray[np.float64]


def event_times_s(recording: Recording, origin_us: float) -> Floats:
    """Return when each event happened, shape (number of events,).

    An event is told by the host's clock; the newest sample that had arrived by then has a time
    of the rig, and the host's clock says how long ago it came. What a sample takes from the rig
    to the host is not known and left out: a few milliseconds.

    Args:
        recording: With a force stream that has samples.
        origin_us: `analysis.timebase.Grid.origin_us`.
    """
    stream = recording.streams[FORCE_STREAM]
    offsets = clock_offsets_us(recording.streams)
    told_ns = np.array([event.arrival_ns for event in recording.events], dtype=np.int64)
    newest = np.searchsorted(stream.arrival_ns, told_ns, side="right") - 1
    at = np.clip(newest, 0, len(stream.arrival_ns) - 1)
    offset_us = np.array([offsets[int(segment)] for segment in stream.segment[at]])
    sample_s = (stream.device_time_us[at] + offset_us - origin_us) * 1e-6
    return np.asarray(sample_s + (told_ns - stream.arrival_ns[at]) * 1e-9, dtype=np.float64)
