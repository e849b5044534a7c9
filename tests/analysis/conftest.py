"""Recordings of the virtual rig, made in memory, with the truth beside them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from acquisition.recording.model import Recording, StreamData, TrialLabel
from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from firmware_protocol.messages import Identity

CLOCK_OFFSET_US = 5_000_000


@dataclass(frozen=True)
class Told:
    """A recording and the rig that knows how it really was."""

    recording: Recording
    rig: VirtualRig


def recording_of(rig: VirtualRig) -> Recording:
    """Return what an undisturbed line would bring of a whole trial."""
    streams = {}
    for stream in rig.streams:
        count = int(stream.sample_count)
        time_us = np.round(stream.time_s(0, count) * 1e6).astype(np.int64) + CLOCK_OFFSET_US
        streams[stream.spec.name] = StreamData(
            spec=stream.spec,
            sample_number=np.arange(count, dtype=np.int64),
            device_time_us=time_us,
            counts=stream.counts(0, count).astype(np.int32),
            segment=np.zeros(count, dtype=np.int64),
            arrival_ns=time_us * 1000,
        )
    specs = tuple(stream.spec for stream in rig.streams)
    return Recording(
        source=None,
        uuid="00000000-0000-4000-8000-000000000001",
        started_utc="2026-01-01T00:00:00Z",
        started_ns=0,
        status="complete",
        software="test",
        identity=Identity(1, 1, 0, "virtual", rig.rig.rig.id, 1, specs),
        rig=rig.rig,
        target_json="",
        label=TrialLabel(person=rig.trainee.code),
        streams=streams,
    )


@pytest.fixture(scope="session")
def told() -> Callable[..., Told]:
    """Return a maker of recordings: side, axes, person, seed, and options of the virtual rig."""
    made: dict[str, Told] = {}

    def make(side: str = "right", axes: int = 3, person: str = "E01", **options: float) -> Told:
        key = repr((side, axes, person, sorted(options.items())))
        if key not in made:
            rig = VirtualRig(default_rig(side, axes), trainee(person), **options)  # type: ignore[arg-type]  # options by name, as a test needs them
            made[key] = Told(recording_of(rig), rig)
        return made[key]

    return make
