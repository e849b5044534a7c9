"""Many recordings on the cores of this machine."""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context

from analysis.study.job import FileResult, Job, measure_file, measure_files

Chunk = tuple[str, ...]

FILES_PER_TASK = 4
"""Few enough for an even end and a lively progress bar, enough to make the way there cheap."""
TASKS_AHEAD = 2
"""For each worker: one at work, one waiting, so that nobody idles and nothing piles up."""
CRASHED = "reading it ends the whole process; the file is damaged in a way we cannot catch"


def chunks_of(files: Sequence[str], size: int = FILES_PER_TASK) -> list[Chunk]:
    """Return *files* in order, cut into tasks."""
    return [tuple(files[start : start + size]) for start in range(0, len(files), size)]


def run_local(files: Sequence[str], job: Job, jobs: int) -> Iterator[FileResult]:
    """Yield what comes of each recording, as it comes.

    A worker that is killed, by a file or from outside, takes nothing along: what it had in hand
    is done again, file by file.

    Args:
        files: The recordings.
        job: What to do.
        jobs: Processes; 1 stays in this one.
    """
    if jobs == 1 or len(files) == 1:
        yield from (measure_file(path, job) for path in files)
        return
    waiting = deque(chunks_of(files))
    while waiting:
        with _pool(min(jobs, len(waiting))) as pool:
            in_hand = yield from _worked_off(pool, waiting, job, jobs)
        yield from _one_by_one(in_hand, job)


def _worked_off(
    pool: ProcessPoolExecutor, waiting: deque[Chunk], job: Job, jobs: int
) -> Generator[FileResult, None, list[str]]:
    """Yield results until nothing waits or the pool breaks; return what was in hand then."""
    running: dict[Future[list[FileResult]], Chunk] = {}
    try:
        while waiting or running:
            while waiting and len(running) < TASKS_AHEAD * jobs:
                future = pool.submit(measure_files, waiting[0], job)
                running[future] = waiting.popleft()
            done, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                results = future.result()
                del running[future]
                yield from results
    except BrokenProcessPool:
        pool.shutdown(cancel_futures=True)
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        raise
    return [path for chunk in running.values() for path in chunk]


def _one_by_one(files: Sequence[str], job: Job) -> Iterator[FileResult]:
    """Yield what comes of files that were in hand when a worker died; one of them may kill."""
    waiting = deque(files)
    while waiting:
        with _pool(1) as pool:
            try:
                while waiting:
                    result = pool.submit(measure_file, waiting[0], job).result()
                    waiting.popleft()
                    yield result
            except BrokenProcessPool:
                yield FileResult(waiting.popleft(), problem=CRASHED)


def _pool(workers: int) -> ProcessPoolExecutor:
    # Spawned, not forked: a fork would take locks of our threads along.
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin)


def _begin() -> None:
    """Begin a worker: one thread each, and Ctrl-C is the parent's business."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    signal.signal(signal.SIGINT, signal.SIG_IGN)
