"""How fast a recording is analysed: ``make bench`` prints times and ratios of one run.

The floor is what the libraries alone take for the same recording, called directly: reading the
arrays from the file, the inertial filter (VQF, looking forward and back) over all inertial
samples, and one zero-phase filter (scipy) for each of the twelve channels. Floor and analysis
take turns in one process, and of each the quickest of several runs counts, as other programs only
ever make it slower. Times are seconds of processor, all threads together; the ratio by the wall
clock stands beside. Nothing is asserted, as they depend on the machine.

*Raw arrays* are what `read_recording` gives for the two streams: counts, and for each sample
its number, device time, segment and arrival. Peak memory is the highest resident size of a
process that does nothing else (``ru_maxrss``), less what it held once everything was imported.

The recordings come from the virtual rig, faster than real time, and are kept in the folder for
temporary files for the next run.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray
from scipy import signal
from vqf import offlineVQF

from acquisition.blocks import WIRE_DTYPES
from acquisition.clock import SystemClock
from acquisition.recording import layout
from acquisition.recording.at_once import write_at_once
from acquisition.recording.metadata import known_beforehand
from acquisition.recording.model import Recording, TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.virtual_rig import SensorModel, VirtualRig, default_rig, trainee
from acquisition.virtual_rig.virtual_rig import VirtualStream
from analysis.filters import LowPass, design
from analysis.live_chain import LiveChain
from analysis.pipeline import analyse
from analysis.target import Target
from firmware_protocol.messages import Identity

MINUTES = (5, 20, 60)
LEAST_RUNS = 3
RUNS_S = 30.0
"""Runs go on for so long: a short recording has many, of which some are hardly disturbed."""
RATE_HZ = 1000.0
BLOCK_SAMPLES = 20
LIVE_BLOCK_US = 20_000
LIVE_SECONDS = 60.0
REPETITION_S = 15.0
"""About what one repetition takes, rests included; more are made than fit."""
PIECE_BLOCKS = 512


def recording_file(minutes: int) -> Path:
    """Return a recording of so many minutes; it is made if it is not there yet."""
    path = Path(tempfile.gettempdir()) / f"perpend_bench_{minutes}_min_{RATE_HZ:g}_hz.h5"
    if not path.exists():
        write_recording(path, minutes * 60.0)
    return path


def write_recording(path: Path, seconds: float) -> None:
    """Write what an undisturbed line would bring of a six-axis rig with an IMU."""
    repetitions = int(seconds / REPETITION_S) + 1
    model = SensorModel(force_rate_hz=RATE_HZ, imu_rate_hz=RATE_HZ)
    rig = VirtualRig(default_rig("right", 6), trainee("T01"), repetitions=repetitions, model=model)
    specs = tuple(stream.spec for stream in rig.streams)
    identity = Identity(1, 1, 0, "virtual", rig.rig.rig.id, 1, specs)
    attributes = known_beforehand(identity, rig.rig, "", TrialLabel(person="T01"), SystemClock())
    attributes["status"] = layout.COMPLETE.encode()
    tables: dict[layout.TableSpec, NDArray[Any]] = {
        layout.SYNC: np.empty(0, dtype=layout.SYNC_DTYPE)
    }
    for stream in rig.streams:
        counts_table, blocks_table = layout.stream_tables(stream.spec)
        blocks = int(min(seconds, rig.duration_s) * RATE_HZ) // BLOCK_SAMPLES
        tables[counts_table] = _counts(stream, blocks)
        tables[blocks_table] = _blocks(stream, tables[counts_table])
    write_at_once(path, attributes, tables, specs)


def _counts(stream: VirtualStream, blocks: int) -> NDArray[Any]:
    dtype = WIRE_DTYPES[stream.spec.sample_type]
    size = PIECE_BLOCKS * BLOCK_SAMPLES
    total = blocks * BLOCK_SAMPLES
    pieces = [
        stream.counts(first, min(size, total - first)).astype(dtype)
        for first in range(0, total, size)
    ]
    return np.concatenate(pieces)


def _blocks(stream: VirtualStream, counts: NDArray[Any]) -> NDArray[Any]:
    """Return the rows of the blocks table; the checksums stay 0: only a torn file needs them."""
    time_us = np.rint(stream.time_s(0, len(counts)) * 1e6).astype(np.int64)
    first = np.arange(0, len(counts), BLOCK_SAMPLES)
    last = first + BLOCK_SAMPLES - 1
    rows = np.zeros(len(first), dtype=layout.BLOCK_DTYPE)
    rows["sample_number"], rows["sample_count"] = first, BLOCK_SAMPLES
    rows["device_time_us"], rows["span_us"] = time_us[first], time_us[last] - time_us[first]
    rows["arrival_ns"] = time_us[last] * 1000
    return rows


def raw_bytes(recording: Recording) -> int:
    """Return the size of a recording's arrays."""
    return sum(
        array.nbytes
        for stream in recording.streams.values()
        for array in (
            stream.counts,
            stream.sample_number,
            stream.device_time_us,
            stream.segment,
            stream.arrival_ns,
        )
    )


class Laps:
    """Seconds of processor and of the wall clock, part by part."""

    def __init__(self) -> None:
        self.parts: dict[str, float] = {}
        self._begun = self._last = time.process_time()
        self._wall = time.perf_counter()

    def lap(self, name: str) -> None:
        """End a part."""
        now = time.process_time()
        self.parts[name], self._last = now - self._last, now

    def total(self) -> dict[str, float]:
        """Return the seconds of each part, ``all`` of them, and those of the ``wall`` clock."""
        wall = time.perf_counter() - self._wall
        return {**self.parts, "all": self._last - self._begun, "wall": wall}


def floor(path: Path) -> dict[str, float]:
    """Do what must be done at least; return the seconds of each part."""
    laps = Laps()
    with h5py.File(path) as file:
        blocks = {name: group["blocks"][()] for name, group in file["streams"].items()}
        counts = {name: group["counts"][()] for name, group in file["streams"].items()}
    assert all(len(rows) for rows in blocks.values())
    laps.lap("read")
    imu = counts["imu"] * 1e-3
    offlineVQF(np.ascontiguousarray(imu[:, 3:]), np.ascontiguousarray(imu[:, :3]), None, 1e-3)
    laps.lap("inertial")
    sections = design(LowPass(cutoff_hz=10.0), fs_hz=RATE_HZ, passes=2)
    for values in counts.values():
        for column in values.T:
            signal.sosfiltfilt(sections, column.astype(np.float64))
    laps.lap("filter")
    return laps.total()


def whole(path: Path) -> dict[str, float]:
    """Read and analyse; return the seconds of each."""
    laps = Laps()
    recording = read_recording(path)
    laps.lap("read")
    trial = analyse(recording)
    laps.lap("rest")
    assert trial.repetitions
    return laps.total()


def times(path: Path) -> dict[str, float]:
    """Let floor and analysis take turns; return the parts of the quickest run of each."""
    runs: list[tuple[dict[str, float], dict[str, float]]] = []
    begun = time.perf_counter()
    while len(runs) < LEAST_RUNS or time.perf_counter() - begun < RUNS_S:
        runs.append((floor(path), whole(path)))
    found: dict[str, float] = {}
    for name, each in zip(("floor", "whole"), zip(*runs, strict=True), strict=True):
        best = min(each, key=lambda run: run["all"])
        best["wall"] = min(run["wall"] for run in each)
        found |= {f"{name} {part}": seconds for part, seconds in best.items()}
    return found


def memory(path: Path) -> dict[str, float]:
    """Read and analyse; return the peak of memory and the size of the raw arrays, bytes."""
    before = resident_kib()
    recording = read_recording(path)
    analyse(recording)
    return {"peak": (resident_kib() - before) * 1024.0, "raw": float(raw_bytes(recording))}


def live(path: Path) -> dict[str, float]:
    """Feed a minute to the live chain as it would come; return CPU seconds per second."""
    recording = read_recording(path)
    chain = LiveChain(recording.rig, recording.identity, Target())
    first_us = min(int(stream.device_time_us[0]) for stream in recording.streams.values())
    cuts = range(first_us, first_us + int(LIVE_SECONDS * 1e6), LIVE_BLOCK_US)
    feeds = []
    for begin in cuts:
        for name, stream in recording.streams.items():
            low, high = np.searchsorted(stream.device_time_us, [begin, begin + LIVE_BLOCK_US])
            feeds.append((name, stream.device_time_us[low:high], stream.counts[low:high]))
    begun = time.process_time()
    for index, (name, time_us, counts) in enumerate(feeds):
        chain.feed(name, time_us, counts)
        if index % len(recording.streams):
            chain.take()
    return {"share": (time.process_time() - begun) / LIVE_SECONDS}


JOBS: dict[str, Callable[[Path], dict[str, float]]] = {
    "times": times,
    "memory": memory,
    "live": live,
}


def resident_kib() -> int:
    """Return the highest resident size of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def measured(job: str, minutes: int) -> dict[str, float]:
    """Run a job in a process of its own; return what it found."""
    command = [sys.executable, "-P", __file__, job, str(minutes)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def row(minutes: int) -> str:
    """Measure one length; return its line of the table."""
    t, space = measured("times", minutes), measured("memory", minutes)
    return (
        f"{minutes:4}   {t['floor all']:6.2f} ({t['floor read']:.2f} + {t['floor inertial']:.2f} + "
        f"{t['floor filter']:.2f})          {t['whole all']:6.2f} ({t['whole read']:.2f} + "
        f"{t['whole rest']:.2f})     {t['whole all'] / t['floor all']:5.2f} "
        f"({t['whole wall'] / t['floor wall']:.2f})  {t['whole all'] / minutes:6.3f}   "
        f"{space['peak'] / 1e6:.0f} MB = {space['peak'] / space['raw']:.2f} "
        f"× {space['raw'] / 1e6:.0f} MB raw"
    )


def main() -> int:
    """Measure and print."""
    if len(sys.argv) == 3:
        print(json.dumps(JOBS[sys.argv[1]](recording_file(int(sys.argv[2])))))
        return 0
    if len(sys.argv) == 2:
        recording_file(int(sys.argv[1]))
        return 0
    print("six axes and an IMU, both at 1 kHz; floor: read, inertial filter, filter per channel")
    print(
        " min   floor s (read + inertial + filter)   analyse s (read + rest)   "
        "ratio (wall)   s/min   memory"
    )
    for minutes in MINUTES:
        subprocess.run([sys.executable, "-P", __file__, str(minutes)], check=True)
        print(row(minutes), flush=True)
    share = measured("live", MINUTES[0])["share"]
    print(f"live chain: {100.0 * share:.1f} % of one core")
    return 0


if __name__ == "__main__":
    sys.exit(main())
