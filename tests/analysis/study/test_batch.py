"""Many files on the cores of this machine: all the same however it is cut, nothing fatal."""

from __future__ import annotations

import importlib
import signal
from collections.abc import Sequence
from pathlib import Path

import pytest

from analysis.study import batch
from analysis.study.batch import CRASHED, chunks_of, run_local
from analysis.study.cache import ResultCache
from analysis.study.job import FileResult, Job, fingerprint, measure_file
from analysis.target import Target

CRASHING = """
import os, signal
from analysis.study import job

def measure_files(paths, what):
    return [measure_file(path, what) for path in paths]

def measure_file(path, what):
    if path.endswith("broken.h5"):
        os.kill(os.getpid(), signal.SIGKILL)
    return job.measure_file(path, what)
"""
"""A library that crashes on a hostile file, as a module that spawned processes can find."""


def by_path(results: Sequence[FileResult]) -> dict[str, FileResult]:
    found = {one.path: one for one in results}
    assert len(found) == len(results), "a file was answered twice"
    return found


def test_chunks_hold_every_file_once_in_order() -> None:
    files = [str(number) for number in range(11)]

    chunks = chunks_of(files, 4)

    assert [len(chunk) for chunk in chunks] == [4, 4, 3]
    assert [path for chunk in chunks for path in chunk] == files


def test_two_processes_give_what_one_gives_bit_for_bit(class_files: list[str]) -> None:
    alone = by_path(list(run_local(class_files, Job(), 1)))
    together = by_path(list(run_local(class_files, Job(), 2)))

    assert together == alone
    assert sum(not one.problem for one in alone.values()) == len(class_files) - 1


def test_a_bad_file_is_told_in_one_line_and_the_others_go_on(class_folder: Path) -> None:
    bad = measure_file(str(class_folder / "broken.h5"), Job())

    assert bad.text == ""
    assert "not a recording" in bad.problem
    assert "\n" not in bad.problem


def test_a_fault_of_ours_is_told_as_one_and_ends_nothing(
    class_files: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fault(*_: object) -> None:
        raise ZeroDivisionError("two\nlines")

    monkeypatch.setattr("analysis.pipeline.analyse", fault)

    result = measure_file(class_files[0], Job())

    assert "fault of this program" in result.problem
    assert "ZeroDivisionError" in result.problem
    assert "\n" not in result.problem


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
def test_a_file_that_kills_its_worker_is_found_and_takes_nothing_along(
    class_files: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "crashing_stand_in.py").write_text(CRASHING, encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    crashing = importlib.import_module("crashing_stand_in")
    monkeypatch.setattr(batch, "measure_files", crashing.measure_files)
    monkeypatch.setattr(batch, "measure_file", crashing.measure_file)

    found = by_path(list(run_local(class_files, Job(), 2)))

    assert found.keys() == set(class_files)
    assert [Path(path).name for path, one in found.items() if one.problem] == ["broken.h5"]
    assert found[class_files[0][:-9] + "broken.h5"].problem == CRASHED


def test_what_is_kept_is_not_measured_again(
    class_files: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job, cache = Job(cache=str(tmp_path)), ResultCache(tmp_path)
    first = measure_file(class_files[0], job)
    cache.put(first.key, first.text)
    monkeypatch.setattr("analysis.pipeline.analyse", None)  # measuring would fail

    again = measure_file(class_files[0], job)

    assert again.cached
    assert not first.cached
    assert (again.key, again.text) == (first.key, first.text)


def test_another_target_content_or_software_is_another_key(
    class_files: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = measure_file(class_files[0], Job()).key
    target = measure_file(class_files[0], Job(Target(glide_azimuth_deg=40.0).to_json())).key
    content = measure_file(class_files[1], Job()).key
    monkeypatch.setattr("analysis.study.job.fingerprint", lambda: "another")
    software = measure_file(class_files[0], Job()).key

    assert len({plain, target, content, software}) == 4


def test_the_fingerprint_is_the_same_in_another_process(class_files: list[str]) -> None:
    results = run_local(class_files[:3] * 2, Job(), 2)

    assert {one.software for one in results} == {fingerprint()}


def test_a_damaged_entry_of_the_cache_is_none(tmp_path: Path) -> None:
    cache, key = ResultCache(tmp_path), "ab" * 32
    cache.put(key, "text")
    (file,) = tmp_path.rglob("*.json")

    whole = cache.get(key)
    file.write_text(file.read_text("utf-8")[:-3], encoding="utf-8")

    assert whole == "text"
    assert cache.get(key) is None
    assert cache.get("cd" * 32) is None
    with pytest.raises(ValueError, match="no key"):
        cache.get("../../etc/passwd")
