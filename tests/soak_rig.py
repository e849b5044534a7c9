"""A rig in software whose every sample tells its number, with a ledger of all it did wrong."""

from __future__ import annotations

import random
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.blocks import WIRE_DTYPES
from acquisition.clock import ManualClock
from acquisition.errors import TransportLost
from firmware_protocol.ends import RigEnd
from firmware_protocol.messages import (
    ChannelSpec,
    HostMessage,
    Identify,
    Identity,
    Outcome,
    Reply,
    SampleBlock,
    SampleType,
    Start,
    Status,
    Stop,
    StreamSpec,
)

READ_US = 100_000
STATUS_US = 1_000_000
FAULT_EVERY_US = 20 * 60 * 1_000_000
"""Something happens to the line or the rig so often, in a short run eight times."""
JUMP = 2**31 - 1
"""Samples lost at once, the most that numbers of 32 bits can tell; three go past a wrap."""
FRAME_FAULTS = (("dropped", 0.001), ("flipped", 0.0005), ("repeated", 0.0005))


def _spec(number: int, name: str, kind: SampleType, rate_hz: float, names: str) -> StreamSpec:
    rail = 2**15 if kind is SampleType.INT16 else 2**31
    channels = tuple(ChannelSpec(n, "count", 1.0, -rail, rail - 1) for n in names.split())
    return StreamSpec(number, name, kind, rate_hz, channels)


STREAMS = (
    _spec(1, "force", SampleType.INT32, 1000.0, "fx fy fz"),
    _spec(2, "imu", SampleType.INT16, 500.0, "ax ay az gx gy gz"),
)
BLOCK_SAMPLES = 25


def values(spec: StreamSpec, numbers: NDArray[np.int64]) -> NDArray[np.signedinteger]:
    """Return the counts (n, channels) that samples of these *numbers* (n,) have."""
    rows = numbers[:, None] * 7 + np.arange(len(spec.channels)) * 1009
    return (rows % 30_011).astype(WIRE_DTYPES[spec.sample_type])


@dataclass
class Ledger:
    """What the rig did: samples *sent* (also those it then harmed), frames harmed, and so on."""

    sent: int = 0
    dropped: int = 0
    flipped: int = 0
    repeated: int = 0
    jumped: int = 0
    unplugged: int = 0
    restarted: int = 0
    wraps: int = 0


class SoakRig:
    """A transport to a rig that runs for *hours* of its own time, as fast as it is read."""

    name = "soak"

    def __init__(self, rig_id: str, hours: float, clock: ManualClock, seed: int) -> None:
        self.finished = False
        self.ledger = Ledger()
        self._rig_id, self._clock, self._chance = rig_id, clock, random.Random(seed)
        self._end_us = int(hours * 3.6e9)
        self._total_us = self._device_us = self._boot = 0
        self._every_us = min(FAULT_EVERY_US, self._end_us // 8)
        self._fault_us = self._every_us
        self._faults = 0
        self._number = [0, 0]
        self._is_open = self._streaming = False

    def open(self) -> None:
        self._rig, self._answers, self._is_open, self._streaming = RigEnd(), b"", True, False

    def close(self) -> None:
        self._is_open = False

    def write(self, data: bytes) -> None:
        for message in self._rig.receive(data):
            if isinstance(message, HostMessage):
                self._answers += self._answer(message)

    def read(self) -> bytes:
        if not self._is_open:
            raise TransportLost("soak: not open")
        if self._answers:
            answers, self._answers = self._answers, b""
            return answers
        self._clock.advance(READ_US * 1e-6)
        self.finished = self._total_us >= self._end_us
        if self.finished:
            return b""
        self._total_us += READ_US
        self._device_us += READ_US
        trouble = self._trouble()
        frames = b"".join(self._frames(spec) for spec in STREAMS) if self._streaming else b""
        if self._device_us % STATUS_US == 0:
            frames += self._rig.send(Status(self._device_us, self._streaming, 0))
        if trouble == "unplug":
            self.close()
            raise TransportLost("soak: unplugged")
        return frames

    def _answer(self, message: HostMessage) -> bytes:
        if isinstance(message, Identify):
            serial = self._rig_id
            return self._rig.send(
                Identity(message.request_id, 1, 0, "soak", serial, self._boot, STREAMS)
            )
        if not isinstance(message, Start | Stop):
            return self._rig.send(Reply(message.request_id, Outcome.UNKNOWN_COMMAND))
        self._streaming = isinstance(message, Start)
        self._number = [0, 0]
        return self._rig.send(Reply(message.request_id, Outcome.DONE))

    def _trouble(self) -> str:
        """Unplug, restart, or lose nearly 2**31 samples three times, in turn."""
        if self._total_us < self._fault_us or not self._streaming:
            return ""
        kind = ("unplug", "jump", "jump", "jump", "restart")[self._faults % 5]
        self._faults += 1
        if kind == "jump":
            before = self._number[0] >> 32
            self._number[0] += JUMP
            self.ledger.sent += JUMP
            self.ledger.jumped += JUMP
            self.ledger.wraps += (self._number[0] >> 32) - before
            last = self._faults % 5 == 4
            self._fault_us += self._every_us if last else STATUS_US
            return kind
        self._fault_us = self._total_us + self._every_us
        if kind == "restart":
            self.ledger.restarted += 1
            self._boot, self._device_us, self._streaming = self._boot + 1, READ_US, False
        else:
            self.ledger.unplugged += 1
            self._streaming = False
        return kind

    def _frames(self, spec: StreamSpec) -> bytes:
        place = STREAMS.index(spec)
        count = int(spec.rate_hz * READ_US * 1e-6)
        first = self._number[place]
        self._number[place] += count
        self.ledger.sent += count
        data = values(spec, np.arange(first, first + count)).tobytes()
        row = len(data) // count
        step_us = READ_US / count
        frames = []
        for start in range(0, count, BLOCK_SAMPLES):
            block = SampleBlock(
                stream_id=spec.stream_id,
                sequence=(first + start) % 2**32,
                device_time_us=self._device_us - READ_US + round(start * step_us),
                span_us=round((BLOCK_SAMPLES - 1) * step_us),
                sample_count=BLOCK_SAMPLES,
                data=data[start * row : (start + BLOCK_SAMPLES) * row],
            )
            frames.append(self._harmed(self._rig.send(block)))
        return b"".join(frames)

    def _harmed(self, frame: bytes) -> bytes:
        # Not in the last second before something happens: what is lost at the very end of a
        # segment leaves no trace in the numbers, and the sums below are to be exact.
        quiet = self._fault_us - self._total_us < STATUS_US
        if quiet or self._end_us - self._total_us < STATUS_US:
            return frame
        roll = self._chance.random()
        for kind, share in FRAME_FAULTS:
            roll -= share
            if roll < 0:
                setattr(self.ledger, kind, getattr(self.ledger, kind) + 1)
                return self._harm(kind, frame)
        return frame

    def _harm(self, kind: str, frame: bytes) -> bytes:
        if kind == "dropped":
            return b""
        if kind == "repeated":
            return frame * 2
        harmed = bytearray(frame)
        harmed[self._chance.randrange(len(frame) - 1)] ^= 1 << self._chance.randrange(8)
        return bytes(harmed)
