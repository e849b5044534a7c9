"""How fast the host hears: ``make bench`` prints rates and ratios of one run.

The floor is what C code alone takes for the same bytes: splitting them at the delimiters and one
checksum over each piece. Above it stand, each with all that is before it:

- opened: frames unstuffed and their checksums compared (`FrameDecoder`); no sample is looked at;
- arrays: a recording's own way from bytes to arrays (`Link`), with times and accounts: numbers,
  repetitions, losses, the rig's clock;
- recorded: a recording without a screen, hashes and checksums of the file format included.

How many bytes come in one read decides what it costs to begin with each, so it is told for
several; `READS` says where they come from. Times are seconds of processor, all threads
together, so that other programs hardly disturb them; the four take turns, and of each the
quickest run counts. They depend on the machine, so nothing is asserted.
"""

from __future__ import annotations

import sys
import tempfile
import time
import zlib
from collections.abc import Callable, Mapping
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
READS = {
    92: "a rig heard live: what 921 600 baud bring in 1 ms",
    351: "a rig heard live every 10 ms: a block of each stream",
    4096: "a host that was held up: a serial port's buffer",
    65_536: "the same at a TCP port, or a raw log played back",
}
"""Bytes in a read, and when."""
LIVE_BYTES = 351
"""Up to here the recorder's clock goes as the rig's, and it flushes four times a second."""
ROUNDS = 9
RIG = default_rig("right", 6)


def stream_of_a_rig() -> tuple[bytes, Identity]:
    """Return a minute of what a six-axis rig with an IMU sends, and who it is."""
    device, host = RigDevice(VirtualRig(RIG, trainee("E01"), repetitions=3)), HostEnd()
    host.receive(device.receive(host.identify()))
    device.receive(host.start())
    assert host.identity is not None
    times_us = np.rint(np.arange(0.0, SECONDS, 0.02) * 1e6).astype(int)
    return b"".join(map(device.poll, times_us.tolist())), host.identity


def floor(reads: list[bytes]) -> None:
    """Split and checksum with C code alone."""
    for read in reads:
        set(map(zlib.crc32, read.split(b"\0")))


def opened(reads: list[bytes]) -> int:
    """Take the frames apart; return how many."""
    decoder = FrameDecoder()
    return sum(len(decoder.feed_sealed(read)) for read in reads)


def arrays(reads: list[bytes], identity: Identity) -> int:
    """Decode to arrays as a session does; return the samples."""
    clock = ManualClock()
    link = Link(ScriptedTransport(identity, reads, clock=clock), clock=clock, patience_s=None)
    samples = 0
    while not link.state.ended:
        link.step()
        for item in link.take_news():
            if isinstance(item, StreamBlock):
                samples += len(item.counts)
                assert len(item.device_time_us) == len(item.counts)
    return samples


class PacedTransport(ScriptedTransport):
    """Lets time go by while it is read from, as much as the rig needs to say it."""

    def __init__(self, identity: Identity, reads: list[bytes], *, clock: ManualClock) -> None:
        super().__init__(identity, reads, clock=clock)
        self._manual_clock = clock
        self._read_s = SECONDS / len(reads)

    def read(self) -> bytes:
        """Return the next read."""
        self._manual_clock.advance(self._read_s)
        return super().read()


def recorded(reads: list[bytes], identity: Identity, folder: Path) -> None:
    """Record to a file."""
    clock = ManualClock()
    kind = PacedTransport if len(reads[0]) <= LIVE_BYTES else ScriptedTransport
    source = kind(identity, reads, clock=clock)
    outcome = record_trial(source, folder / "bench.h5", rig=RIG, clock=clock)
    outcome.path.unlink()


def seconds_of(jobs: Mapping[str, Callable[[], object]]) -> dict[str, float]:
    """Let some jobs take turns; return the seconds of the quickest run of each."""
    best = dict.fromkeys(jobs, float("inf"))
    for _ in range(ROUNDS):
        for name, job in jobs.items():
            begun = time.process_time()
            job()
            best[name] = min(best[name], time.process_time() - begun)
    return best


def main() -> int:
    """Measure and print."""
    data, identity = stream_of_a_rig()
    frames, samples = opened([data]), arrays([data], identity)
    done = {
        "floor": (len(data) / 1e6, "MB/s split and checksummed"),
        "opened": (frames, "frames/s opened"),
        "arrays": (samples, "samples/s decoded to arrays"),
        "recorded": (samples, "samples/s recorded"),
    }
    print(f"{SECONDS:g} s of 6 axes at 1 kHz in blocks of 10 and an IMU at 500 Hz in blocks of 5:")
    print(f"{len(data)} bytes, {frames} frames, {samples} samples; quickest of {ROUNDS} runs")
    with tempfile.TemporaryDirectory() as folder:
        for size, when in READS.items():
            reads = [data[start : start + size] for start in range(0, len(data), size)]
            taken = seconds_of(
                {
                    "floor": partial(floor, reads),
                    "opened": partial(opened, reads),
                    "arrays": partial(arrays, reads, identity),
                    "recorded": partial(recorded, reads, identity, Path(folder)),
                }
            )
            print(f"\nreads of {size} bytes ({when})")
            for name, (amount, unit) in done.items():
                seconds = taken[name]
                print(
                    f"  {name:9}{seconds * 1e3:7.1f} ms {seconds / taken['floor']:6.2f} × the floor"
                    f"{SECONDS / seconds:8.0f} × real time {amount / seconds:10.0f} {unit}"
                )
    return 0


if __name__ == "__main__":
    sys.exit(main())
