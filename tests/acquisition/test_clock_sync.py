"""The rig's clock is asked for while it streams, and the answers reach file and fit."""

from __future__ import annotations

from pathlib import Path

import pytest

from acquisition.clock import ManualClock
from acquisition.clock_fit import fit_clock
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.recording.writer import RecordingWriter
from acquisition.session import Session
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort


@pytest.mark.parametrize("ppm", [-100, 100])
def test_a_clock_that_runs_off_is_found_out_by_the_recording(tmp_path: Path, ppm: int) -> None:
    clock = ManualClock()
    port = VirtualPort.from_url(parse_url(f"virtual:?trainee=E01&ppm={ppm}"), clock=clock)
    session = Session(port, clock=clock)
    writer = RecordingWriter(
        tmp_path / "trial.h5",
        identity=session.connect(),
        rig=port.virtual_rig.rig,
        target_json="",
        label=TrialLabel(),
        clock=clock,
    )
    session.add_sink(writer)
    begun_ns = clock.now_ns()
    while clock.now_ns() - begun_ns < 30_000_000_000:
        clock.sleep(max(session.step(), 0.001))
    session.close()

    recording = read_recording(writer.close())

    fit = fit_clock(recording.syncs)
    assert len(recording.syncs) >= 29
    assert {exchange.segment for exchange in recording.syncs} == {0}
    # The rig gains ppm, so a second of its clock is shorter by as much. A step of the simulated
    # line takes up to 20 ms, which is what the answers are uncertain by.
    assert fit.drift_ppm == pytest.approx(-ppm, abs=60.0)
    assert fit.residual_s < 0.005
