"""A recording in memory: what the wire said, and what was known beforehand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from operator import add, attrgetter, sub
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from acquisition.clock_fit import SegmentClock, SyncExchange
from acquisition.rig import RigDescription
from firmware_protocol.messages import Fault, Identity, StreamSpec

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class StreamData:
    """One stream, sample by sample, in the order the wire brought it.

    Attributes:
        spec: The stream as the rig described it.
        sample_number: Shape (n,), counted by the rig since start, unwrapped to 64 bit. A jump
            is a loss.
        device_time_us: Shape (n,), the rig's clock.
        counts: Shape (n, channels), raw.
        segment: Shape (n,), counts up when the rig or the line came back anew; sample numbers
            and device times are only comparable inside one segment.
        arrival_ns: Shape (n,), host monotonic clock when the block of this sample arrived.
    """

    spec: StreamSpec
    sample_number: Ints
    device_time_us: Ints
    counts: NDArray[np.int32]
    segment: Ints
    arrival_ns: Ints


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened, said by a person or the program.

    Attributes:
        arrival_ns: Host monotonic clock.
        device_time_us: The rig's clock as last heard, 0 if not heard yet.
        kind: ``zero``, ``mark``, ``lost``, ``resumed``, ``note`` or another lower-case word.
        text: For people.
    """

    arrival_ns: int
    device_time_us: int
    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class LinkCounts:
    """What arrived, and what did not. Every lost sample is counted somewhere here.

    Attributes:
        frames: Whole ones.
        bad_frames: Thrown away: damaged on the line.
        lost_samples: Jumps of the numbering that nothing has filled since. What the rig had to
            drop is among them, once a later block has come.
        repeated_samples: Came twice; used once.
        unknown_messages: Whole frames that made no sense.
        rig_overrun_samples: The rig says it had to drop them; it goes on numbering.
        dropped_by_host_samples: Came between two segments.
        reordered_samples: Came out of order, after later ones; not lost on the line, but
            dropped, so that they are missing in the recording all the same.
    """

    frames: int = 0
    bad_frames: int = 0
    lost_samples: int = 0
    repeated_samples: int = 0
    unknown_messages: int = 0
    rig_overrun_samples: int = 0
    dropped_by_host_samples: int = 0
    reordered_samples: int = 0

    @property
    def missing_samples(self) -> int:
        """Samples missing, wherever they were lost, each counted once."""
        jumped = max(self.lost_samples, self.rig_overrun_samples)
        return jumped + self.dropped_by_host_samples + self.reordered_samples

    @property
    def lost_on_line_samples(self) -> int:
        """Samples that the rig sent, as far as it says, and that never came."""
        return max(0, self.lost_samples - self.rig_overrun_samples)

    def plus(self, other: LinkCounts) -> LinkCounts:
        """Return both together."""
        return LinkCounts(*map(add, _figures(self), _figures(other)))

    def since(self, before: LinkCounts) -> LinkCounts:
        """Return what came on top of *before*.

        What came late is no more lost: of a gap before, that takes nothing from what came after.
        """
        more = LinkCounts(*map(sub, _figures(self), _figures(before)))
        if more.lost_samples >= 0:
            return more
        late = more.reordered_samples + more.lost_samples
        return replace(more, lost_samples=0, reordered_samples=late)


# Not `dataclasses.astuple`: it copies deeply, and this is asked after every read.
_figures = attrgetter(*LinkCounts.__slots__)


@dataclass(frozen=True, slots=True)
class TrialLabel:
    """Who and what a recording is. Codes, never names.

    Attributes:
        person: Code such as ``T07`` or ``E02``, or empty.
        condition: ``with_feedback``, ``without_feedback``, ``retention``, … or empty.
        note: Free text.
        trial: Number of the trial, counted for each person; 0 is not numbered.
    """

    person: str = ""
    condition: str = ""
    note: str = ""
    trial: int = 0


@dataclass(frozen=True, slots=True)
class Recording:
    """A whole recording.

    Attributes:
        source: File it came from, None if it never was in one.
        uuid: Made when recording began.
        started_utc: ISO 8601, wall clock, for people only.
        started_ns: Host monotonic clock at the same moment.
        status: ``complete``, ``recording`` (was cut off) or ``stopped: <reason>``.
        software: Name and version of the recorder.
        identity: What the rig said of itself.
        rig: The rig description used.
        target_json: The target asked for, as JSON, empty if none.
        label: Who and what.
        streams: By name.
        events: In order.
        faults: What the rig reported, in order.
        counts: Loss accounting at the end.
        syncs: Questions for the rig's clock with their answers, in order.
        clocks: How the rig's clock ran against the host's, by segment.
        sha256: Hash of its content as it is now, empty if it never was in a file.
        changed: That is not the hash which was written when it was closed.
    """

    source: Path | None
    uuid: str
    started_utc: str
    started_ns: int
    status: str
    software: str
    identity: Identity
    rig: RigDescription
    target_json: str
    label: TrialLabel
    streams: Mapping[str, StreamData]
    events: tuple[Event, ...] = ()
    faults: tuple[Fault, ...] = ()
    counts: LinkCounts = field(default_factory=LinkCounts)
    syncs: tuple[SyncExchange, ...] = ()
    clocks: tuple[SegmentClock, ...] = ()
    sha256: str = ""
    changed: bool = False
