"""How the rig's clock ran is kept with a recording, segment by segment, with its residual."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from acquisition.clock_fit import SyncExchange, fit_clock
from acquisition.recording import layout
from acquisition.recording.reader import read_recording
from acquisition.recording.salvage import salvage
from acquisition.recording.verify import verify_recording
from acquisition.recording.writer import RecordingWriter
from firmware_protocol.messages import StreamSpec

DRIFTS_PPM = {0: 40.0, 2: -70.0}


def asked(segment: int, drift_ppm: float) -> list[SyncExchange]:
    """Ask once a second for half a minute; the ways there and back take 0.3 to 1.3 ms each."""
    dice = np.random.default_rng(segment)
    made = []
    for second in range(30):
        there, back = 0.0003 + dice.uniform(0.0, 0.001, 2)
        asked_ns = (100 * segment + second + 1) * 10**9
        device_us = round((second + there) * 1e6 * (1.0 + drift_ppm * 1e-6)) + 1_000_000
        answered_ns = asked_ns + round((there + back) * 1e9)
        made.append(SyncExchange(asked_ns, device_us, device_us, answered_ns, segment))
    return made


@pytest.fixture
def written(make_writer: Any, make_block: Any, force_spec: StreamSpec) -> Any:
    """A writer that has heard two segments with answers and one with a single one between."""
    writer = make_writer()
    for segment in range(3):
        writer.on_block(make_block(force_spec, 0, segment=segment, arrival_ns=segment + 1))
        for one in asked(segment, DRIFTS_PPM.get(segment, 0.0))[: 1 if segment == 1 else None]:
            writer.on_sync(one)
    return writer


def rows(path: Path) -> Any:
    with h5py.File(path) as file:
        return file["clock"][:]


def test_each_segment_s_line_stands_in_the_closed_file(written: Any) -> None:
    path = written.close()

    stored = rows(path)
    assert stored["segment"].tolist() == [0, 2]
    assert stored["answers"].tolist() == [30, 30]
    for row, (segment, drift_ppm) in zip(stored, DRIFTS_PPM.items(), strict=True):
        fit = fit_clock(asked(segment, drift_ppm))
        assert row["residual_s"] == fit.residual_s
        assert 0.0 < row["residual_s"] < 0.5e-3
        assert (1.0 / row["rate"] - 1.0) * 1e6 == pytest.approx(drift_ppm, abs=20.0)


def test_it_is_read_as_it_was_stored(written: Any) -> None:
    recording = read_recording(written.close())

    assert [one.segment for one in recording.clocks] == [0, 2]
    for one in recording.clocks:
        exchanges = [sync for sync in recording.syncs if sync.segment == one.segment]
        assert one.answers == len(exchanges) == 30
        assert one.fit == fit_clock(exchanges)
    assert not recording.changed
    assert verify_recording(recording.source or "").faults == ()


def test_a_changed_residual_is_found_out(written: Any) -> None:
    path = written.close()
    with h5py.File(path, "r+") as file:
        row = file["clock"][0]
        row["residual_s"] /= 10.0
        file["clock"][0] = row

    assert read_recording(path).changed


def test_a_file_from_before_is_whole_and_its_lines_are_worked_out(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    every = layout.all_tables
    with monkeypatch.context() as then:
        then.setattr(
            layout, "all_tables", lambda streams: [t for t in every(streams) if t != layout.CLOCK]
        )
        then.setattr(RecordingWriter, "_append_clocks", lambda _: None)
        older = request.getfixturevalue("written").close()

    recording = read_recording(older)

    with h5py.File(older) as file:
        assert "clock" not in file
    assert not recording.changed
    assert verify_recording(older).faults == ()
    assert [one.segment for one in recording.clocks] == [0, 2]


def test_one_taken_out_is_missed(written: Any) -> None:
    path = written.close()
    with h5py.File(path, "r+") as file:
        del file["clock"]

    assert read_recording(path).changed


def test_of_a_killed_recorder_they_are_worked_out_and_a_rescue_stores_them(
    written: Any, tmp_path: Path, clock: Any
) -> None:
    clock.advance(1.0)
    written.on_sync(asked(2, 0.0)[-1])  # flushes
    part = tmp_path / "killed.h5.part"
    shutil.copy(written.part, part)

    rescued = salvage(part, tmp_path / "rescued.h5").path

    assert [one.segment for one in read_recording(part).clocks] == [0, 2]
    assert rows(rescued)["segment"].tolist() == [0, 2]
    assert verify_recording(rescued).faults == ()
