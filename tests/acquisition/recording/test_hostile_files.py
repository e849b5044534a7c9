"""Files that are no recordings, or would rather be something else: one clear line each."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from acquisition.errors import RecordingError
from acquisition.recording import layout
from acquisition.recording.layout import text_dtype
from acquisition.recording.reader import content_sha256, read_recording, read_wire
from firmware_protocol.messages import StreamSpec

READERS = [read_recording, content_sha256, read_wire]
COUNTS, BLOCKS = "/streams/force/counts", "/streams/force/blocks"


@pytest.fixture
def trial(make_writer: Any, make_block: Any, force_spec: StreamSpec) -> Path:
    writer = make_writer()
    for first in range(0, 400, 20):
        writer.on_block(make_block(force_spec, first))
    path: Path = writer.close()
    return path


def refusal(path: Path, read: Callable[[Path], object] = read_recording) -> str:
    with pytest.raises(RecordingError) as raised:
        read(path)
    text = str(raised.value)
    assert text.startswith(str(path))
    assert "\n" not in text
    return text


def other_hdf5(path: Path) -> None:
    with h5py.File(path, "w") as file:
        file["temperatures"] = [20.0, 21.5]


def other_schema(path: Path) -> None:
    with h5py.File(path, "w") as file:
        file.attrs.create("schema", b"weather", dtype=text_dtype(7))
        file.attrs["schema_version"] = np.int64(1)


@pytest.mark.parametrize("read", READERS)
@pytest.mark.parametrize(
    ("make", "what"),
    [
        (lambda path: path.unlink(missing_ok=True), "no such file"),
        (lambda path: path.mkdir(), "is not a file"),
        (lambda path: path.write_bytes(b""), "is empty (0 bytes)"),
        (lambda path: path.write_bytes(b"time_s,fx_n\n0,1\n"), "is not a recording (not HDF5)"),
        (lambda path: path.write_bytes(b"\x89HDF\r\n\x1a\n" + b"\xff" * 900), "is damaged"),
        (lambda path: path.write_bytes(b"\x89HDF\r\n\x1a\n"), "is damaged"),
        (other_hdf5, "is HDF5, but not a recording of this program"),
        (other_schema, "is HDF5, but not a recording of this program"),
    ],
    ids=["none", "folder", "empty", "text", "noise", "signature", "hdf5", "schema"],
)
def test_what_is_no_recording_is_said(
    tmp_path: Path, make: Callable[[Path], object], what: str, read: Callable[[Path], object]
) -> None:
    path = tmp_path / "x.h5"
    make(path)

    assert what in refusal(path, read)


def test_a_recording_of_a_newer_schema_is_said_with_both_numbers(trial: Path) -> None:
    with h5py.File(trial, "r+") as file:
        file.attrs.modify("schema_version", np.int64(2))

    assert "has schema version 2, this program reads 1" in refusal(trial)


def test_a_file_being_recorded_is_said(make_writer: Any) -> None:
    writer = make_writer()

    text = refusal_in_another_process(writer.part)

    assert "is being recorded right now" in text


def refusal_in_another_process(path: Path) -> str:
    import subprocess
    import sys

    code = f"from acquisition.recording.reader import read_recording\nread_recording({str(path)!r})"
    done = subprocess.run(  # noqa: S603, RUF100 - our own interpreter and text
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    return done.stderr


@pytest.mark.parametrize("keep", [0.2, 0.5, 0.9, 0.999])
def test_a_truncated_file_is_said_to_be_damaged(trial: Path, keep: float) -> None:
    data = trial.read_bytes()
    trial.write_bytes(data[: int(len(data) * keep)])

    assert "is damaged" in refusal(trial)


def replace_table(file: h5py.File, path: str, **how: Any) -> None:
    del file[path]
    file.create_dataset(path, **how)


def chunked(rows: int, columns: int, dtype: str) -> dict[str, Any]:
    return {
        "shape": (rows, columns),
        "maxshape": (None, columns),
        "chunks": (8192, columns),
        "dtype": dtype,
    }


def link_to(file: h5py.File, path: str, target: Any) -> None:
    del file[path]
    file[path] = target


def set_text(file: h5py.File, name: str, text: bytes) -> None:
    del file.attrs[name]
    file.attrs.create(name, text, dtype=text_dtype(max(1, len(text))))


def change_identity(file: h5py.File, change: Callable[[Any], None]) -> None:
    identity = json.loads(file.attrs["identity_json"])
    change(identity)
    set_text(file, "identity_json", json.dumps(identity).encode())


HOSTILE: dict[str, tuple[Callable[[h5py.File], object], str]] = {
    "absurd shape": (
        lambda file: file[COUNTS].resize(10**13, axis=0),
        "claims to hold 120000000",
    ),
    "absurd blocks": (lambda file: file[BLOCKS].resize(10**12, axis=0), "claims to hold"),
    "other type": (
        lambda file: replace_table(file, COUNTS, **chunked(400, 3, "<f8")),
        "other columns",
    ),
    "other byte order": (
        lambda file: replace_table(file, COUNTS, **chunked(400, 3, ">i4")),
        "other columns",
    ),
    "other width": (
        lambda file: replace_table(file, COUNTS, **chunked(400, 5, "<i4")),
        "other columns",
    ),
    "no axis": (lambda file: replace_table(file, COUNTS, data=1), "other columns"),
    "objects": (
        lambda file: replace_table(file, "/events", data=["a"], dtype=h5py.string_dtype()),
        "other columns",
    ),
    "compressed": (
        lambda file: replace_table(file, COUNTS, **chunked(10**9, 3, "<i4"), compression=9),
        "stored in another way",
    ),
    "not chunked": (
        lambda file: replace_table(file, COUNTS, data=np.zeros((400, 3), "<i4")),
        "stored in another way",
    ),
    "elsewhere": (
        lambda file: replace_table(
            file, COUNTS, shape=(400, 3), dtype="<i4", external=[("/etc/passwd", 0, 4800)]
        ),
        "stored in another way",
    ),
    "external link": (
        lambda file: link_to(file, COUNTS, h5py.ExternalLink("/etc/passwd", "/x")),
        "link to somewhere else",
    ),
    "external group": (
        lambda file: link_to(file, "/streams", h5py.ExternalLink("other.h5", "/streams")),
        "link to somewhere else",
    ),
    "soft link": (
        lambda file: link_to(file, COUNTS, h5py.SoftLink(BLOCKS)),
        "link to somewhere else",
    ),
    "table missing": (lambda file: file.__delitem__(BLOCKS), "blocks is missing"),
    "group for a table": (
        lambda file: (file.__delitem__(COUNTS), file.create_group(COUNTS)),
        "no table",
    ),
    "table for a group": (
        lambda file: (file.__delitem__("/streams"), file.create_dataset("/streams", data=1)),
        "is missing",
    ),
    "attribute missing": (lambda file: file.attrs.__delitem__("rig_json"), "rig_json is missing"),
    "attribute of other type": (
        lambda file: file.attrs.__setitem__("note", 7.5),
        "note is not a text",
    ),
    "attribute of any length": (
        lambda file: file.attrs.__setitem__("note", "variable length"),
        "note is not a text",
    ),
    "attribute of many": (
        lambda file: file.attrs.__setitem__("started_ns", [1, 2]),
        "started_ns is not one integer",
    ),
    "schema of many": (
        lambda file: file.attrs.__setitem__("schema", ["perpend-recording"] * 2),
        "schema is not a text",
    ),
    "identity is no JSON": (lambda file: set_text(file, "identity_json", b"{"), "is damaged"),
    "identity nested deep": (
        lambda file: set_text(file, "identity_json", b"[" * 50_000),
        "is damaged",
    ),
    "rig nested deep": (
        lambda file: set_text(file, "rig_json", b"[" * 50_000),
        "rig description is no good",
    ),
    "rig is another thing": (lambda file: set_text(file, "rig_json", b"{}"), "no good"),
    "streams twice": (
        lambda file: change_identity(file, lambda i: i["streams"].append(i["streams"][0])),
        "same number",
    ),
    "no streams": (
        lambda file: change_identity(file, lambda i: i.update(streams=[])),
        "no streams",
    ),
    "stream of no type": (
        lambda file: change_identity(file, lambda i: i["streams"][0].update(sample_type=9)),
        "is damaged",
    ),
    "more samples than blocks": (
        lambda file: file[COUNTS].resize(420, axis=0),
        "has 420 samples, its blocks tell of 400",
    ),
    "blocks of more samples": (
        lambda file: file[BLOCKS].__setitem__(3, _block(sample_count=2**32 - 1)),
        "its blocks tell of",
    ),
    "fault nobody knows": (
        lambda file: (
            file["/faults"].resize(1, axis=0),
            file["/faults"].__setitem__(0, (1, 999, 0, b"")),
        ),
        "999 is not a valid FaultCode",
    ),
}


def _block(**values: int) -> Any:
    row = np.zeros((), dtype=layout.BLOCK_DTYPE)
    for name, value in values.items():
        row[name] = value
    return row


@pytest.mark.parametrize(("harm", "what"), HOSTILE.values(), ids=HOSTILE.keys())
def test_a_hostile_file_is_refused_in_one_line(
    trial: Path, harm: Callable[[h5py.File], object], what: str
) -> None:
    with h5py.File(trial, "r+") as file:
        harm(file)

    assert what in refusal(trial)


@pytest.mark.parametrize("name", ["absurd shape", "compressed", "external link", "elsewhere"])
def test_a_file_pretending_to_be_cut_off_gets_no_more(trial: Path, name: str) -> None:
    harm, what = HOSTILE[name]
    with h5py.File(trial, "r+") as file:
        harm(file)
        file.attrs.modify("status", np.array(b"recording", dtype=text_dtype(200)))

    assert what in refusal(trial)


def test_blocks_that_lie_in_a_cut_off_file_are_left_out(trial: Path) -> None:
    with h5py.File(trial, "r+") as file:
        file.attrs.modify("status", np.array(b"recording", dtype=text_dtype(200)))
        file[BLOCKS][19] = _block(sample_count=2**32 - 1, sample_number=380)
        file[BLOCKS].resize(30, axis=0)

    assert len(read_recording(trial).streams["force"].counts) == 380


def test_text_of_a_file_comes_back_as_it_is_and_nothing_else(trial: Path) -> None:
    with h5py.File(trial, "r+") as file:
        set_text(file, "note", b"<script>alert(1)</script>\xff\xfe")

    assert read_recording(trial).label.note == "<script>alert(1)</script>\ufffd\ufffd"


@pytest.mark.parametrize("seed", range(40))
def test_random_damage_is_refused_or_harmless_or_changes_the_hash(trial: Path, seed: int) -> None:
    before = read_recording(trial)
    random = np.random.default_rng(seed)
    data = bytearray(trial.read_bytes())
    for at in random.integers(8, len(data), size=20):
        data[at] = random.integers(256)
    trial.write_bytes(bytes(data))

    try:
        after, now = read_recording(trial), content_sha256(trial)
    except RecordingError:
        return

    if now == written_hash(trial):
        force, same = before.streams["force"], after.streams["force"]
        assert np.array_equal(force.counts, same.counts)
        assert np.array_equal(force.device_time_us, same.device_time_us)
        assert before.label == after.label
        assert before.rig == after.rig


def written_hash(path: Path) -> str:
    with h5py.File(path, "r") as file:
        return str(file.attrs["content_sha256"].decode("utf-8", "replace"))
