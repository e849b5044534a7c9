"""How fast the host hears: ``make bench`` prints rates and ratios of one run.

The floor is what C code alone takes for the same bytes: splitting them at the delimiters and one
checksum over each piece. Timings depend on the machine, so nothing is asserted.
"""

from __future__ import annotations

import sys
import time
import zlib
from collections.abc import Callable

import numpy as np

from acquisition.blocks import WIRE_DTYPES, stream_block
from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from acquisition.virtual_rig.device import RigDevice
from firmware_protocol.ends import HostEnd
from firmware_protocol.messages import SampleBlock

SECONDS = 60.0
READ_BYTES = 4096
REPEATS = 5


def stream_of_a_rig() -> tuple[bytes, HostEnd]:
    """Return a minute of what a six-axis rig with an IMU sends, and a host that knows it."""
    rig = VirtualRig(default_rig("right", 6), trainee("E01"), repetitions=3)
    device, host = RigDevice(rig), HostEnd()
    host.receive(device.receive(host.identify()))
    device.receive(host.start())
    return b"".join(device.poll(round(t * 1e6)) for t in np.arange(0.0, SECONDS, 0.02)), host


def best_of(run: Callable[[], object]) -> float:
    """Return the seconds of the fastest of some runs."""
    taken = []
    for _ in range(REPEATS):
        begun = time.perf_counter()
        run()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def floor(data: bytes) -> int:
    """Split and checksum with C code alone."""
    total = 0
    for start in range(0, len(data), READ_BYTES):
        for piece in data[start : start + READ_BYTES].split(b"\0"):
            total ^= zlib.crc32(piece)
    return total


def heard(data: bytes, known: HostEnd) -> tuple[int, int]:
    """Decode to arrays as a session does; return frames and samples."""
    host, frames, samples = HostEnd(), 0, 0
    assert known.identity is not None
    specs = {spec.stream_id: spec for spec in known.identity.streams}
    for start in range(0, len(data), READ_BYTES):
        for item in host.receive(data[start : start + READ_BYTES]):
            frames += 1
            if isinstance(item, SampleBlock):
                spec = specs[item.stream_id]
                block = stream_block(item, spec, sample_number=0, arrival_ns=0, segment=0)
                samples += len(block)
    return frames, samples


def messages_only(data: bytes) -> int:
    """Decode to messages, without arrays."""
    host = HostEnd()
    return sum(
        len(host.receive(data[start : start + READ_BYTES]))
        for start in range(0, len(data), READ_BYTES)
    )


def main() -> int:
    """Measure and print."""
    data, host = stream_of_a_rig()
    frames, samples = heard(data, host)
    floor_s = best_of(lambda: floor(data))
    messages_s = best_of(lambda: messages_only(data))
    arrays_s = best_of(lambda: heard(data, host))
    print(f"{SECONDS:g} s of 6 axes at 1 kHz and an IMU at 500 Hz: {len(data)} bytes,")
    print(f"{frames} frames, {samples} samples, {sorted(WIRE_DTYPES)[0].name.lower()} and wider")
    print(f"floor     {floor_s * 1e3:8.1f} ms")
    for name, taken in (("messages", messages_s), ("arrays", arrays_s)):
        print(
            f"{name:9} {taken * 1e3:8.1f} ms  {taken / floor_s:5.1f} × the floor  "
            f"{frames / taken:9.0f} frames/s  {samples / taken:10.0f} samples/s  "
            f"{SECONDS / taken:6.0f} × real time"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
