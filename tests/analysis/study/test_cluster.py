"""A real scheduler and real workers on the loopback; one is killed in the middle of its work."""

from __future__ import annotations

import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from analysis.errors import StudyError
from analysis.study.batch import run_local
from analysis.study.cache import ResultCache
from analysis.study.cluster import run_cluster
from analysis.study.cohort import gather
from analysis.study.job import Job

distributed = pytest.importorskip("distributed", reason="needs the extra [cluster]")

SCHEDULER = """
import asyncio
from distributed import Scheduler

async def serve():
    async with Scheduler(host="127.0.0.1", port=0, dashboard=False) as scheduler:
        print(scheduler.address, flush=True)
        await scheduler.finished()

asyncio.run(serve())
"""
WORKER = """
import asyncio, sys
from distributed import Worker

async def serve():
    async with Worker(sys.argv[1], nthreads=1, name=sys.argv[2], host="127.0.0.1",
                      dashboard=False, local_directory=sys.argv[3]) as worker:
        print(worker.address, flush=True)
        await worker.finished()

if __name__ == "__main__":
    asyncio.run(serve())
"""


@contextmanager
def child(text: str, *words: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Run a text in a process of its own; give it and its first line."""
    process = subprocess.Popen(  # noqa: S603, RUF100 - our own interpreter and text
        [sys.executable, "-P", "-c", text, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    with process:
        try:
            assert process.stdout is not None
            yield process, process.stdout.readline().strip()
        finally:
            process.kill()


@contextmanager
def cluster(folder: Path, workers: int) -> Iterator[tuple[str, dict[str, subprocess.Popen[str]]]]:
    """Give the address of a scheduler, and its workers by their addresses."""
    with ExitStack() as stack:
        _, address = stack.enter_context(child(SCHEDULER))
        found = {}
        for number in range(workers):
            words = (address, f"w{number}", str(folder / f"w{number}"))
            process, where = stack.enter_context(child(WORKER, *words))
            found[where] = process
        yield address, found


def test_a_killed_worker_changes_no_bit_of_the_results(
    class_files: list[str], tmp_path: Path
) -> None:
    files = class_files * 2
    expected = sorted(repr(one) for one in run_local(files, Job(), 1))

    with (
        cluster(tmp_path, 2) as (address, workers),
        distributed.Client(address, set_as_default=False) as client,
    ):
        results = run_cluster(files, Job(), address)
        found = [next(results)]
        at_work = {worker: tasks for worker, tasks in client.processing().items() if tasks}
        assert at_work.keys() == workers.keys()
        next(iter(workers.values())).kill()
        found += results
        left = client.scheduler_info()["workers"].keys()

    assert sorted(repr(one) for one in found) == expected
    assert left == {list(workers)[1]}


def test_a_result_made_by_a_worker_is_kept_and_found_again(
    class_files: list[str], tmp_path: Path
) -> None:
    cache = ResultCache(tmp_path / "cache")
    job, root = Job(cache=str(cache.folder)), Path(class_files[0]).parent
    with cluster(tmp_path, 1) as (address, _):
        first = gather(run_cluster(class_files, job, address), root, cache)
        again = gather(run_cluster(class_files, job, address), root, cache)

    assert first.cached <= 1  # the copy, if the recording it is a copy of was kept in time
    assert again.cached == len(class_files) - 1
    assert list(again.results()) == list(first.results())


def test_nobody_at_the_address_is_told_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("analysis.study.cluster.CONNECT_S", 0.5)

    with pytest.raises(StudyError, match="no scheduler answers there; start one"):
        list(run_cluster(["a.h5"], Job(), "tcp://127.0.0.1:1"))


def test_a_scheduler_without_workers_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analysis.study.cluster.CONNECT_S", 1.0)

    with (
        cluster(tmp_path, 0) as (address, _),
        pytest.raises(StudyError, match=r"has no worker; start one with: dask worker tcp://"),
    ):
        list(run_cluster(["a.h5"], Job(), address))


@pytest.mark.parametrize(
    "address", ["foo", "http//nowhere", "http://127.0.0.1:80", "tcp://127.0.0.1", "tcp://a:b"]
)
def test_an_address_that_is_none_is_told_by_its_form(address: str) -> None:
    with pytest.raises(StudyError, match="is no address of a scheduler; one looks like tcp://"):
        list(run_cluster(["a.h5"], Job(), address))


def test_somebody_who_does_not_speak_as_a_scheduler_is_none(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A listener that waits to be spoken to, as a web server does."""
    monkeypatch.setattr("analysis.study.cluster.KNOCK_S", 0.2)
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]

        with pytest.raises(StudyError, match="no scheduler answers there"):
            list(run_cluster(["a.h5"], Job(), f"tcp://127.0.0.1:{port}"))


def test_a_scheduler_that_goes_is_told_and_what_arrived_is_had(
    class_files: list[str], tmp_path: Path
) -> None:
    with child(SCHEDULER) as (scheduler, address), child(WORKER, address, "w", str(tmp_path)):
        results = run_cluster(class_files * 2, Job(), address)
        first = next(results)
        scheduler.kill()

        with pytest.raises(StudyError, match="the cluster went away; run again"):
            list(results)

    assert first.text
