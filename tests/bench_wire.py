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

*The* ratio is that of arrays in reads of 64 KiB. How fast a host can hear matters where it has
fallen behind or plays back, and there whole buffers come in a read; a serial port's hold 4 KiB,
which stands beside it. A rig heard live gives one small read after the other however fast the
host is; what counts there is the share of a core, and that is not 1/300 as the rows say, in which
one read follows hard upon the other. The last line has it, with waiting, reading, and a processor
that did something else in between.

Measured on one core of a busy machine, arrays: 3.1 to 3.5 times the floor in reads of 64 KiB (2.8
to 3.0 of 256 KiB), 8 in reads of 4 KiB, 35 in reads of 351 bytes; recorded live, 5 % of a core. Of
the 3.1, opened frames are 1.7, a call into C for each frame; the rest is sorting payloads by
stream (0.3), laying them into a table of one size (0.2), comparing numbers and times, and some
twenty array operations for each stream and read, which is also why small reads cost more.
"""

from __future__ import annotations

import re
import subprocess
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
from acquisition.transports.serial_port import SerialPort
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
LIVE_S = 15.0
SETTLE_S = 3.0
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


class WatchedPort(SerialPort):
    """Keeps, for every read, when it ended, the processor's seconds until then, and its size."""

    def __init__(self, device: str) -> None:
        super().__init__(device)
        self.log: list[tuple[float, float, int]] = []

    def read(self) -> bytes:
        """Return what has come."""
        data = super().read()
        self.log.append((time.monotonic(), time.process_time(), len(data)))
        return data


def live(folder: Path) -> str:
    """Record a rig that speaks from another process in its own time; return what it took."""
    code = "import sys; from ui.cli.main import main; sys.exit(main(sys.argv[1:]))"
    command = [sys.executable, "-c", code, "simulate", "--pty", "--axes", "6"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as rig:
        assert rig.stdout is not None
        found = re.search(r"serial:(\S+)", rig.stdout.readline())
        assert found is not None
        port = WatchedPort(found[1])
        try:
            record_trial(port, folder / "live.h5", rig=RIG, seconds=LIVE_S)
        finally:
            rig.terminate()
    log = np.array(port.log)
    log = log[log[:, 0] > log[0, 0] + SETTLE_S]
    wall_s, used_s, _ = log[-1] - log[0]
    sizes = log[log[:, 2] > 0, 2]
    return (
        f"{len(sizes) / wall_s:.0f} reads a second of {np.median(sizes):.0f} bytes, "
        f"{100 * used_s / wall_s:.1f} % of one core"
    )


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
        print(f"\nrecorded from a pseudo-terminal for {LIVE_S:g} s: {live(Path(folder))}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
