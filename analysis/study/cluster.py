"""Many recordings on a Dask cluster: the same function as on one machine, the same results."""

from __future__ import annotations

import socket
from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlsplit

from analysis.errors import StudyError
from analysis.study.batch import CRASHED, TASKS_AHEAD, Chunk, chunks_of
from analysis.study.job import FileResult, Job, measure_files

CONNECT_S = 15.0
"""A scheduler and a first worker answer within this, or are not there."""
KNOCK_S = 3.0
"""Who listens at the address, and speaks as a scheduler does, has begun within this."""
NOBODY = "no scheduler answers there; start one with: dask scheduler"
SCHEMES = ("tcp", "tls")


def run_cluster(files: Sequence[str], job: Job, address: str) -> Iterator[FileResult]:
    """Yield what comes of each recording, as it comes.

    A worker that goes takes nothing along: the scheduler gives what it had in hand to another.
    Workers may come and go meanwhile; with none left it waits for one.

    Args:
        files: The recordings, by paths that every worker can read.
        job: What to do.
        address: Of the scheduler, ``tcp://host:port``.

    Raises:
        StudyError: Dask is not installed, the address is none, nothing answers, or the cluster
            went away.
    """
    with _client(address) as client:
        from distributed import KilledWorker, as_completed

        waiting, pending = deque(chunks_of(files)), as_completed(loop=client.loop)
        chunks: dict[Any, Chunk] = {}

        def feed() -> None:
            workers = max(1, sum(client.nthreads().values()))
            while waiting and len(chunks) < TASKS_AHEAD * workers:
                chunk = waiting.popleft()
                future = client.submit(measure_files, chunk, job, pure=False)
                chunks[future] = chunk
                pending.add(future)

        feed()
        for future in pending:
            chunk = chunks.pop(future)
            try:
                results = future.result()
            except KilledWorker:
                # Worker after worker died of it: find the one that does that.
                results = [FileResult(chunk[0], problem=CRASHED)] if len(chunk) == 1 else []
                waiting.extend(() if len(chunk) == 1 else ((path,) for path in chunk))
            future.release()
            feed()
            yield from results


def _knock(address: str) -> None:
    """Find out at once whether a scheduler is there: Dask's own client asks on for a long time.

    A scheduler is the first to speak on a new connection, except where it is encrypted.

    Raises:
        StudyError: The address is none, or nobody or somebody else is there.
    """
    try:
        url = urlsplit(address)
        scheme, host, port = url.scheme, url.hostname, url.port
    except ValueError:
        scheme, host, port = "", None, None
    if scheme not in SCHEMES or not host or not port:
        raise StudyError(
            f"{address}: is no address of a scheduler; one looks like tcp://192.0.2.10:8786"
        )
    try:
        with socket.create_connection((host, port), timeout=KNOCK_S) as line:
            if scheme == "tcp" and not line.recv(1):
                raise ConnectionAbortedError
    except OSError as cause:
        raise StudyError(f"{address}: {NOBODY}") from cause


@contextmanager
def _client(address: str) -> Iterator[Any]:
    try:
        from distributed import Client
    except ImportError as cause:
        raise StudyError(
            "--cluster needs dask and distributed: install perpend with its extra [cluster]"
        ) from cause
    from concurrent.futures import CancelledError

    _knock(address)
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as cause:
        raise StudyError(f"{address}: {NOBODY}") from cause
    try:
        client.wait_for_workers(1, timeout=CONNECT_S)
        yield client
    except TimeoutError as cause:
        raise StudyError(
            f"{address}: the scheduler has no worker; start one with: dask worker {address}"
        ) from cause
    except CancelledError as cause:
        raise StudyError(
            f"{address}: the cluster went away; run again, what was measured is kept"
        ) from cause
    finally:
        client.close()
