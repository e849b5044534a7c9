"""Is a file whole: each kind of harm is said in words, and honest gaps are told apart."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from acquisition.blocks import stream_block
from acquisition.clock import ManualClock
from acquisition.recording.layout import BLOCK_DTYPE, text_dtype
from acquisition.recording.model import Event, LinkCounts
from acquisition.recording.verify import verify_recording
from firmware_protocol.messages import StreamSpec

COUNTS, BLOCKS = "/streams/force/counts", "/streams/force/blocks"


@pytest.fixture
def trial(make_writer: Any, make_block: Any, force_spec: StreamSpec, imu_spec: StreamSpec) -> Path:
    writer = make_writer()
    for first in range(0, 400, 20):
        writer.on_block(make_block(force_spec, first))
        writer.on_block(make_block(imu_spec, first // 5, 4, arrival_ns=(first + 20) * 1_000_000))
    writer.on_event(Event(1, 2, "mark", "x"))
    writer.on_step(LinkCounts(frames=40))
    path: Path = writer.close()
    return path


def change(path: Path, how: Callable[[h5py.File], object]) -> None:
    with h5py.File(path, "r+") as file:
        how(file)


def set_blocks(file: h5py.File, field: str, row: int, value: int) -> None:
    blocks = file[BLOCKS][:]
    blocks[field][row] = value
    file[BLOCKS][:] = blocks


def flip(file: h5py.File) -> None:
    file[COUNTS][105, 1] ^= 0x10


def set_text(file: h5py.File, name: str, value: bytes) -> None:
    file.attrs.modify(
        name, np.array(value, dtype=text_dtype(file.attrs.get_id(name).dtype.itemsize))
    )


def test_a_recording_closed_properly_is_whole(trial: Path) -> None:
    result = verify_recording(trial)

    assert result.whole
    assert (result.faults, result.missing) == ((), ())
    assert result.samples == (("force", 400), ("imu", 80))
    with h5py.File(trial) as file:
        assert file.attrs["content_sha256"].decode() == result.sha256


def test_a_pause_over_which_the_numbers_go_on_is_told(
    make_writer: Any, make_raw: Any, force_spec: StreamSpec
) -> None:
    writer = make_writer()
    for first in range(0, 400, 20):
        raw = make_raw(force_spec, first)
        late_us = 3_000_000 * ((first >= 100) + (first >= 200))
        raw = dataclasses.replace(raw, device_time_us=raw.device_time_us + late_us)
        writer.on_block(
            stream_block(raw, force_spec, sample_number=first, arrival_ns=first, segment=0)
        )

    result = verify_recording(writer.close())

    assert not result.faults
    assert "stream 'force' was silent 2 times in between, for 6.0 s in all" in result.missing


@pytest.mark.parametrize(
    ("harm", "what"),
    [
        (flip, "'force': 1 of 20 blocks do not fit their checksum, the first from sample 100"),
        (flip, "something was changed afterwards"),
        (lambda file: set_blocks(file, "sample_number", 3, 50), "sample numbers go back (1 times"),
        (lambda file: set_blocks(file, "device_time_us", 3, 50), "rig's clock goes back (1 times"),
        (lambda file: set_blocks(file, "arrival_ns", 3, 2**60), "not stand in order of arrival"),
        (lambda file: set_blocks(file, "segment", 3, 5), "segments go back (1 times"),
        (lambda file: set_blocks(file, "segment", 19, 1), "segments of different streams overlap"),
        (lambda file: set_blocks(file, "device_time_us", 0, -1), "less than 0"),
        (lambda file: set_blocks(file, "sample_count", 3, 21), "its blocks tell of 401"),
        (lambda file: file["/events"].resize(0, axis=0), "content hash is"),
        (lambda file: set_text(file, "status", b"fine"), "status 'fine' is none of the schema's"),
        (lambda file: set_text(file, "status", b"recording"), "still being recorded, but has"),
        (lambda file: set_text(file, "content_sha256", b""), "there is no content hash"),
        (lambda file: set_text(file, "person", b"Jo"), "person 'Jo' is no code"),
        (lambda file: set_text(file, "uuid", b"123"), "uuid '123' is none"),
        (lambda file: set_text(file, "started_utc", b"noon"), "started_utc 'noon' is no date"),
        (lambda file: set_text(file, "rig_json", b"{}"), "missing required field"),
        (lambda file: file.create_group("notes"), "/notes is in the file, but not in the schema"),
        (lambda file: file.create_group("/streams/x"), "/streams/x is in the file"),
        (lambda file: file.attrs.create("name", b"Jo"), "attribute name is in the file"),
        (lambda file: file[COUNTS].attrs.create("name", b"Jo"), f"attributes of {COUNTS} is in"),
        (lambda file: file.__delitem__("/link"), "/link is missing"),
    ],
)  # fmt: skip
def test_each_harm_is_said_in_words(
    trial: Path, harm: Callable[[h5py.File], object], what: str
) -> None:
    change(trial, harm)

    result = verify_recording(trial)

    assert what in "; ".join(result.faults)
    assert not result.whole
    assert not any("\n" in fault for fault in result.faults)


def test_what_is_no_recording_is_one_fault(tmp_path: Path) -> None:
    (tmp_path / "x.h5").write_text("time_s,fx_n\n")

    assert verify_recording(tmp_path / "x.h5").faults == ("is not a recording (not HDF5)",)


def test_losses_are_missing_and_no_fault(
    make_writer: Any, make_block: Any, force_spec: StreamSpec
) -> None:
    writer = make_writer()
    for first in (0, 20, 67):
        writer.on_block(make_block(force_spec, first))
    writer.on_block(make_block(force_spec, 0, segment=1, arrival_ns=10**9))
    writer.on_step(LinkCounts())
    writer.on_step(LinkCounts(4, lost_samples=27, rig_overrun_samples=7, dropped_by_host_samples=3))

    result = verify_recording(writer.close("stopped: the line stayed away"))

    assert result.faults == ()
    assert result.missing == (
        "ended early (the line stayed away)",
        "the line or the rig was away once; what happened meanwhile is not recorded",
        "20 samples were lost on the line",
        "7 samples were dropped by the rig",
        "3 samples came between segments and were dropped",
    )


def test_what_came_out_of_order_is_missing_but_not_lost_on_the_line(
    make_writer: Any, make_block: Any, force_spec: StreamSpec
) -> None:
    writer = make_writer()
    for first in (0, 60):
        writer.on_block(make_block(force_spec, first))
    writer.on_step(LinkCounts())
    writer.on_step(LinkCounts(4, lost_samples=15, reordered_samples=25))

    assert verify_recording(writer.close()).missing == (
        "15 samples were lost on the line",
        "25 samples came out of order, too late, and were dropped",
    )


def test_a_jump_that_nobody_counted_is_told_with_both_numbers(
    make_writer: Any, make_block: Any, force_spec: StreamSpec
) -> None:
    writer = make_writer()
    for first in (0, 60):
        writer.on_block(make_block(force_spec, first))
    writer.on_step(LinkCounts())

    (missing,) = verify_recording(writer.close()).missing

    assert missing == "sample numbers jump over 40 samples, the accounts tell of 0 lost"


def test_what_a_killed_recorder_left_is_incomplete_and_no_fault(
    make_writer: Any, make_block: Any, force_spec: StreamSpec, clock: ManualClock
) -> None:
    writer = make_writer()
    for first in range(0, 400, 20):
        writer.on_block(make_block(force_spec, first))
        clock.advance(0.02)
    part = writer.part.with_name("copy.h5.part")
    part.write_bytes(writer.part.read_bytes())
    change(part, lambda file: file[BLOCKS].resize(len(file[BLOCKS]) + 1, axis=0))

    result = verify_recording(part)

    assert result.faults == ()
    assert "was never closed" in result.missing[0]
    assert result.missing[1:] == ("stream 'force': 1 torn blocks are left out",)
    assert BLOCK_DTYPE.itemsize == 40
