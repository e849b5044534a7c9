"""What is done with one recording of many: a plain function, the same in every process."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from analysis.study.cache import ResultCache

FORMAT = 1
"""Counts up when the shape of a result changes, so that older ones are not taken for it."""
SOURCES = ("firmware_protocol", "acquisition", "analysis")
LIBRARIES = ("h5py", "numpy", "scipy", "vqf")


@dataclass(frozen=True, slots=True)
class Job:
    """What to do with each recording.

    Attributes:
        target_json: The target to measure against; empty: each recording's own.
        cache: Folder of the results, where a worker looks first; empty: measure in any case.
    """

    target_json: str = ""
    cache: str = ""


@dataclass(frozen=True, slots=True)
class FileResult:
    """What came of one recording.

    Attributes:
        path: The file, as it was named.
        key: What the result is kept under: hash of content, parameters and software. Empty if
            the recording could not be read.
        text: The result as one line of JSON; empty if there is none.
        problem: Why there is none, one line.
        cached: The result was there already.
        software: `fingerprint` of where it was made.
    """

    path: str
    key: str = ""
    text: str = ""
    problem: str = ""
    cached: bool = False
    software: str = ""


@cache
def fingerprint() -> str:
    """Return a hash of all that numbers rest on: our sources, and versions of the libraries."""
    from importlib.metadata import version

    digest = hashlib.sha256(repr([(name, version(name)) for name in LIBRARIES]).encode())
    root = Path(__file__).resolve().parents[2]
    for path in sorted(path for folder in SOURCES for path in (root / folder).rglob("*.py")):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0")
        digest.update(path.read_bytes() + b"\0")
    return digest.hexdigest()


def measure_files(paths: Sequence[str], job: Job) -> list[FileResult]:
    """Return what comes of several recordings: one task for a worker."""
    return [measure_file(path, job) for path in paths]


def measure_file(path: str, job: Job) -> FileResult:
    """Return the measures of one recording, or why there are none; never raises for a bad file."""
    from acquisition.errors import AcquisitionError
    from acquisition.recording.reader import unchanged_sha256
    from analysis.errors import AnalysisError

    key = ""
    try:
        key = result_key(unchanged_sha256(path), job.target_json)
        known = ResultCache(Path(job.cache)).get(key) if job.cache else None
        text = known if known is not None else _measured(path, job)
    except (AcquisitionError, AnalysisError, OSError) as error:
        return _failed(path, key, f"{error}".removeprefix(f"{path}: "))
    except Exception as error:  # noqa: BLE001 - one bad file must not end the study of a thousand
        return _failed(path, key, f"a fault of this program, please report it: {error!r}")
    return FileResult(path, key, text, cached=known is not None, software=fingerprint())


def result_key(content: str, target_json: str) -> str:
    """Return what a result is kept under.

    Args:
        content: Hash of the recording's content.
        target_json: As in `Job`.
    """
    from analysis.settings import AnalysisSettings

    parts = [FORMAT, content, target_json, AnalysisSettings().to_dict(), fingerprint()]
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def _measured(path: str, job: Job) -> str:
    from acquisition.recording.reader import read_recording
    from analysis.pipeline import analyse
    from analysis.target import target_from_json
    from analysis.tidy.result import as_line, plain_result

    recording = read_recording(path)
    target = target_from_json(job.target_json, where="target") if job.target_json else None
    return as_line(plain_result(recording, analyse(recording, target)))


def _failed(path: str, key: str, problem: str) -> FileResult:
    one_line = " ".join(problem.splitlines())
    return FileResult(path, key, problem=one_line, software=fingerprint())
