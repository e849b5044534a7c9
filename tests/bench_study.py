"""How fast many recordings are studied: ``make bench`` prints rates and ratios of one run.

The floor is the analysis alone: `read_recording` and `analyse` in a loop in this process. A study
does it in processes of its own, keeps every result by its content, and writes the tables. The
thousand short recordings come from the virtual rig, an invented class; they are kept in the folder
for temporary files for the next run. Peak memory is that of this process, which gathers; a worker
holds one recording at a time. Nothing is asserted, as timings depend on the machine: where others
are at work on it, the processors' time says what the clock on the wall does not. Two processes that
take little more of it than one are nearly twice as fast where two cores are free.
"""

from __future__ import annotations

import resource
import shutil
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from acquisition.recording.reader import read_recording
from acquisition.virtual_rig.cohort import record_sitting, sittings
from analysis.pipeline import analyse
from analysis.study.batch import run_local
from analysis.study.cache import ResultCache
from analysis.study.cohort import gather, write_tables
from analysis.study.job import Job
from analysis.study.sample import Gathering
from analysis.target import Target

PEOPLE, DAYS, TRIALS = 50, 4, 6
MANY, FEW = 1000, 100
TOP_DEG = 60.0


def recordings() -> list[Path]:
    """Return a thousand recordings; they are made if they are not there yet."""
    folder = Path(tempfile.gettempdir()) / f"perpend_bench_class_{MANY}"
    folder.mkdir(exist_ok=True)
    found = sorted(folder.glob("*.h5"))
    if len(found) < MANY:
        print(f"recording a class of {PEOPLE}, once …", flush=True)
        for one in sittings(PEOPLE, days=DAYS, trials=TRIALS, repetitions=1):
            if not (folder / one.file_name).exists():
                record_sitting(folder, one, top_deg=TOP_DEG, target_json=Target().to_json())
        found = sorted(folder.glob("*.h5"))
    return found[:MANY]


def bare(files: Sequence[Path]) -> float:
    """Return the seconds of the bare analysis calls."""
    begun = time.perf_counter()
    for path in files:
        analyse(read_recording(path))
    return time.perf_counter() - begun


def study(files: Sequence[Path], jobs: int) -> tuple[float, float]:
    """Return the seconds of a study of *files*, tables included: passed, and of the processors."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        cache = ResultCache(out / "cache")
        job = Job("", str(cache.folder))
        begun, used = time.perf_counter(), processors_s()
        cohort = gather(run_local([str(path) for path in files], job, jobs), files[0].parent, cache)
        write_tables(cohort, out, ("csv", "parquet"), Gathering())
        assert len(cohort.places) == len(files)
        return time.perf_counter() - begun, processors_s() - used


def processors_s() -> float:
    """Return the processors' seconds that this process and its workers that ended have used."""
    whose = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(one.ru_utime + one.ru_stime for one in map(resource.getrusage, whose))


def peak_mib() -> float:
    """Return the most memory that this process has held."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    every = recordings()
    some = every[:FEW]
    bare(some[:5])
    floor = bare(some)
    (one, one_used), (two, two_used) = (study(some, jobs) for jobs in (1, 2))
    print(f"study of {FEW} recordings, each of one repetition")
    print(f"  bare analysis calls  {FEW / floor:6.1f} /s")
    print(f"  one process          {FEW / one:6.1f} /s   {one / floor:.2f} × the bare calls' time")
    print(f"  two processes        {FEW / two:6.1f} /s   {one / two:.2f} × as fast as one")
    print(f"  processors' time     two processes take {two_used / one_used:.2f} × that of one")
    before = peak_mib()
    many, _ = study(every, 2)
    print(f"study of {len(every)} recordings, two processes: {len(every) / many:.1f} /s")
    print(f"  peak memory here     {peak_mib():.0f} MiB, after the first {FEW}: {before:.0f} MiB")
    free = shutil.disk_usage(tempfile.gettempdir()).free / 2**30
    print(f"  the recordings stay in the folder for temporary files ({free:.0f} GiB free)")
