"""How fast the host hears: ``make bench`` prints rates and ratios of one run.

The floor is what C code alone takes for the same bytes: splitting them at the delimiters and one
checksum over each piece. Above it stand, each with all that is before it:

- frames: unstuffing and comparing the checksum (`FrameDecoder`);
- arrays: a recording's own way from bytes to arrays (`Link`), with times and accounts: numbers,
  repetitions, losses, the rig's clock;
- file: a recording without a screen, hashes and checksums of the file format included.

How many bytes come in one read decides what it costs to begin with each. A rig heard as it
speaks gives a block or two in a read, at 200 frames a second. A host that was held up finds 4 KiB
in a serial port's buffer, 64 KiB at a TCP port. Timings depend on the machine, so nothing is
asserted.

Measured on one core with some other load, arrays: 4.4 times the floor in reads of 64 KiB, 10
times in reads of 4 KiB, 40 times with one block of each stream in a read (300 times real time; a
rig heard live takes a third of a percent of a core). Of the 4.4, unstuffing and comparing
checksums are 1.8, a call into C for each frame; the rest is sorting payloads by stream, comparing
numbers and times, and some twenty array operations for each stream and read, which is also why
small reads cost more. Three times the floor would need blocks longer than the 10 ms that keep a
live picture quick, or C code of our own.
"""

from __future__ import annotations

import sys
import tempfile
import time
import zlib
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from acquisition.blocks import StreamBlock
from acquisition.clock import ManualClock
from acquisition.link import Link
from acquisition.record import record_trial
from acquisition.transports.scripted import ScriptedTransport
from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from acquisition.virtual_rig.device import RigDevice
from firmware_protocol.ends import HostEnd
from firmware_protocol.framing import FrameDecoder
from firmware_protocol.messages import Identity

SECONDS = 60.0
READS = (351, 4096, 65_536)
"""Bytes: a block of each stream, and what two kinds of line hold for a late reader."""
REPEATS = 7
RIG = default_rig("right", 6)


def stream_of_a_rig() -> tuple[bytes, Identity]:
    """Return a minute of what a six-axis rig with an IMU sends, and who it is."""
    device, host = RigDevice(VirtualRig(RIG, trainee("E01"), repetitions=3)), HostEnd()
    host.receive(device.receive(host.identify()))
    device.receive(host.start())
    assert host.identity is not None
    times_us = np.rint(np.arange(0.0, SECONDS, 0.02) * 1e6).astype(int)
    return b"".join(map(device.poll, times_us.tolist())), host.identity


def best_of(run: Callable[[], object]) -> float:
    """Return the seconds of the fastest of some runs."""
    taken = []
    for _ in range(REPEATS):
        begun = time.perf_counter()
        run()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def floor(reads: list[bytes]) -> None:
    """Split and checksum with C code alone."""
    for read in reads:
        set(map(zlib.crc32, read.split(b"\0")))


def frames(reads: list[bytes]) -> int:
    """Take the frames apart; return how many."""
    decoder = FrameDecoder()
    return sum(len(decoder.feed(read)) for read in reads)


def arrays(reads: list[bytes], identity: Identity) -> int:
    """Decode to arrays as a session does; return the samples."""
    clock = ManualClock()
    link = Link(ScriptedTransport(identity, reads, clock=clock), clock=clock, patience_s=None)
    samples = 0
    while not link.state.ended:
        link.step()
        samples += sum(len(item) for item in link.take_news() if isinstance(item, StreamBlock))
    return samples


def file(reads: list[bytes], identity: Identity) -> None:
    """Record to a file."""
    clock = ManualClock()
    with tempfile.TemporaryDirectory() as folder:
        source = ScriptedTransport(identity, reads, clock=clock)
        record_trial(source, Path(folder) / "bench.h5", rig=RIG, clock=clock)


def main() -> int:
    """Measure and print."""
    data, identity = stream_of_a_rig()
    count, samples = frames([data]), arrays([data], identity)
    print(f"{SECONDS:g} s of 6 axes at 1 kHz in blocks of 10 and an IMU at 500 Hz in blocks of 5:")
    print(f"{len(data)} bytes, {count} frames, {samples} samples")
    for size in READS:
        reads = [data[start : start + size] for start in range(0, len(data), size)]
        floor_s = best_of(partial(floor, reads))
        print(f"\nreads of {size} bytes: floor {floor_s * 1e3:.1f} ms")
        for name, run in (
            ("frames", partial(frames, reads)),
            ("arrays", partial(arrays, reads, identity)),
            ("file", partial(file, reads, identity)),
        ):
            taken = best_of(run)
            print(
                f"  {name:7}{taken * 1e3:7.1f} ms  {taken / floor_s:5.1f} × the floor"
                f"{count / taken:10.0f} frames/s{samples / taken:10.0f} samples/s"
                f"{SECONDS / taken:7.0f} × real time"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
