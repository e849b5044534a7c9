"""How fast a recording is analysed: ``make bench`` prints times and ratios of one run.

The floor is what the libraries alone take for the same recording, called directly: reading the
arrays from the file, the inertial filter (VQF, looking forward and back) over all inertial
samples, and one zero-phase filter (scipy) for each of the twelve channels. Times are seconds of
processor, all threads together, so that other programs hardly disturb them. Nothing is
asserted, as they depend on the machine.

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


def floor(path: Path) -> dict[str, float]:
    """Do what must be done at least; return the seconds of each part."""
    begun = time.process_time()
    with h5py.File(path) as file:
        blocks = {name: group["blocks"][()] for name, group in file["streams"].items()}
        counts = {name: group["counts"][()] for name, group in file["streams"].items()}
    assert all(len(rows) for rows in blocks.values())
    read = time.process_time()
    imu = counts["imu"] * 1e-3
    offlineVQF(np.ascontiguousarray(imu[:, 3:]), np.ascontiguousarray(imu[:, :3]), None, 1e-3)
    turned = time.process_time()
    sections = design(LowPass(cutoff_hz=10.0), fs_hz=RATE_HZ, passes=2)
    for values in counts.values():
        for column in values.T:
            signal.sosfiltfilt(sections, column.astype(np.float64))
    done = time.process_time()
    return {"read": read - begun, "inertial": turned - read, "filter": done - turned}


def whole(path: Path) -> dict[str, float]:
    """Read and analyse; return the seconds of each, and the size of the raw arrays."""
    begun = time.process_time()
    recording = read_recording(path)
    read = time.process_time()
    trial = analyse(recording)
    done = time.process_time()
    assert trial.repetitions
    return {"read": read - begun, "analyse": done - read, "raw": float(raw_bytes(recording))}


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


JOBS: dict[str, Callable[[Path], dict[str, float]]] = {"floor": floor, "whole": whole, "live": live}


def resident_kib() -> int:
    """Return the highest resident size of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def measured(job: str, minutes: int) -> dict[str, float]:
    """Run a job in a process of its own; return what it found, with its peak memory in bytes."""
    command = [sys.executable, "-P", __file__, job, str(minutes)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def main() -> int:
    """Measure and print."""
    if len(sys.argv) == 3:
        path = recording_file(int(sys.argv[2]))
        before = resident_kib()
        found = JOBS[sys.argv[1]](path)
        print(json.dumps({**found, "peak": (resident_kib() - before) * 1024.0}))
        return 0
    if len(sys.argv) == 2:
        recording_file(int(sys.argv[1]))
        return 0
    print("six axes and an IMU, both at 1 kHz; floor: read, inertial filter, filter per channel")
    print(" min   floor s (read + inertial + filter)   analyse s (read + rest)   ratio   memory")
    for minutes in MINUTES:
        subprocess.run([sys.executable, "-P", __file__, str(minutes)], check=True)
        low, all_of_it = measured("floor", minutes), measured("whole", minutes)
        low_s = low["read"] + low["inertial"] + low["filter"]
        whole_s = all_of_it["read"] + all_of_it["analyse"]
        print(
            f"{minutes:4}   {low_s:7.2f} ({low['read']:.2f} + {low['inertial']:.2f} + "
            f"{low['filter']:.2f})            {whole_s:7.2f} ({all_of_it['read']:.2f} + "
            f"{all_of_it['analyse']:.2f})      {whole_s / low_s:5.2f}   "
            f"{all_of_it['peak'] / 1e6:.0f} MB = {all_of_it['peak'] / all_of_it['raw']:.2f} "
            f"× {all_of_it['raw'] / 1e6:.0f} MB raw",
            flush=True,
        )
    share = measured("live", MINUTES[0])["share"]
    print(f"live chain: {100.0 * share:.1f} % of one core")
    return 0


if __name__ == "__main__":
    sys.exit(main())
