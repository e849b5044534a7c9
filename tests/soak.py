"""Records hours of a faulty rig, faster than real time, and accounts for every sample.

    python -m tests.soak [--hours 8]

Prints the figures; exit code 1 if a sample is unaccounted for, one differs from what was sent,
or memory grew.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from acquisition.clock import ManualClock
from acquisition.live_buffer import LiveBuffer
from acquisition.recording import layout
from acquisition.recording.checked import CheckedFile
from acquisition.recording.model import LinkCounts, TrialLabel
from acquisition.recording.verify import verify_recording
from acquisition.recording.writer import RecordingWriter
from acquisition.session import Session
from acquisition.virtual_rig import default_rig
from tests.soak_rig import STREAMS, SoakRig, values

MEMORY_GROWTH_MIB = 1.0
"""In the second half. In the first HDF5 fills its cache of indices, which has a limit."""
BLOCKS_AT_ONCE = 20_000


def memory_mib() -> float:
    """Return what this process holds in memory now (Linux)."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20


def record(hours: float, out: Path) -> tuple[SoakRig, LinkCounts, Session, list[float]]:
    """Record and return what the rig did, what the session counted, and memory over time."""
    clock, rig = ManualClock(), default_rig()
    source = SoakRig(rig.rig.id, hours, clock, seed=1)
    session = Session(source, clock=clock, patience_s=30.0)
    writer = RecordingWriter(
        out, identity=session.connect(), rig=rig, target_json="", label=TrialLabel(), clock=clock
    )
    session.add_sink(writer)
    session.add_sink(LiveBuffer())
    memory: list[float] = []
    every_s = hours * 3600.0 / 48
    while not session.state.ended:
        clock.sleep(session.step())
        if clock.now_ns() * 1e-9 > every_s * (len(memory) + 1):
            memory.append(memory_mib())
    return source, session.counts, session, memory


def recorded_as_sent(path: Path) -> tuple[int, int]:
    """Return how many samples are in the file, and how many of them are not what was sent."""
    total = wrong = 0
    with CheckedFile(path) as file:
        for spec in STREAMS:
            counts_table, blocks_table = layout.stream_tables(spec)
            blocks = file.rows(blocks_table)
            for start in range(0, len(blocks), BLOCKS_AT_ONCE):
                some = blocks[start : start + BLOCKS_AT_ONCE]
                sizes = some["sample_count"].astype(np.int64)
                within = np.arange(sizes.sum()) - np.repeat(np.cumsum(sizes) - sizes, sizes)
                numbers = np.repeat(some["sample_number"], sizes) + within
                first = int(blocks["sample_count"][:start].sum(dtype=np.int64))
                rows = file.rows(counts_table, first, first + len(numbers))
                wrong += int((rows != values(spec, numbers)).any(axis=1).sum())
                total += len(rows)
    return total, wrong


def main() -> int:
    """Do it and print the figures."""
    parser = argparse.ArgumentParser(description="Soak test of the recorder.")
    parser.add_argument("--hours", type=float, default=8.0, help="of the rig's time")
    hours = parser.parse_args().hours
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "soak.h5"
        began = time.perf_counter()
        source, counts, session, memory = record(hours, out)
        took_s = time.perf_counter() - began
        recorded, wrong = recorded_as_sent(out)
        size_mib = out.stat().st_size / 2**20
        faults = verify_recording(out).faults
    ledger = source.ledger
    dropped = counts.dropped_by_host_samples + counts.reordered_samples
    missing = ledger.sent - recorded - counts.lost_samples - dropped
    early, half = memory[0], memory[len(memory) // 2]
    growth = memory[-1] - half
    print(f"{hours:g} h of the rig's time in {took_s:.0f} s ({hours * 3600 / took_s:.0f} x)")
    print(f"ended as {session.status!r}, {counts.frames} frames, file of {size_mib:.0f} MiB")
    print(f"the rig: {ledger}")
    print(f"the host: {counts}")
    print(f"samples: sent {ledger.sent}, recorded {recorded}, not as sent {wrong}")
    print(f"unaccounted: {missing}; repeated {counts.repeated_samples // 25} frames")
    print(f"memory: {early:.1f} MiB at first, {half:.1f} half-way, {memory[-1]:.1f} at the end")
    steps = len(memory) / hours  # looks in an hour
    by_hour = [memory[round(steps * hour) - 1] for hour in range(1, int(hours) + 1)]
    print("memory by the hour, MiB:", *(f"{mib:.1f}" for mib in by_hour))
    print(f"verify: {'; '.join(faults) or 'no fault'}")
    sound = not missing and not wrong and not faults and growth < MEMORY_GROWTH_MIB
    sound = sound and session.status == "complete"
    sound = sound and counts.repeated_samples == 25 * ledger.repeated
    print("sound" if sound else "NOT SOUND")
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main())
