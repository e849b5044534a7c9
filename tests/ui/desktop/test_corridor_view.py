"""The experts' band on the map, where the arm is, in a real window."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from pytestqt.qtbot import QtBot

from acquisition.clock import NS_PER_S, ManualClock
from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort
from acquisition.virtual_rig import default_rig
from analysis.pipeline import analyse
from analysis.reference.build import build_reference
from analysis.reference.evidence import evidence_of
from analysis.reference.model import Reference, ReferenceSettings
from analysis.target import Target
from ui.desktop.map_view import MapView
from ui.desktop.window import TrainerWindow
from ui.live.feed import LiveFeed
from ui.live.moment import Trainer


def reference_of_an_expert(folder: Path) -> Reference:
    outcome = record_trial(
        "virtual:?trainee=E01&seed=3&reps=5&top=80&speed=max",
        folder / "E01.h5",
        rig=default_rig(),
        target_json=Target().to_json(),
        label=TrialLabel(person="E01"),
    )
    evidence = evidence_of(analyse(read_recording(outcome.path)))
    return build_reference([evidence], ReferenceSettings(resamples=200))


def test_the_corridor_is_drawn_while_the_arm_moves_and_only_then(
    qtbot: QtBot, tmp_path: Path
) -> None:
    clock = ManualClock()
    port = VirtualPort.from_url(parse_url("virtual:?trainee=T01&seed=7&top=80"), clock=clock)
    feed = LiveFeed(
        port, rig=port.virtual_rig.rig, target=Target(), out_dir=tmp_path,
        label=TrialLabel(), clock=clock,
    )  # fmt: skip
    feed.open()
    trainer = Trainer(feed)
    trainer.show_reference(reference_of_an_expert(tmp_path))
    window = TrainerWindow(trainer)
    qtbot.addWidget(window)
    window.show()

    def outline_at(second: float) -> np.ndarray:
        while clock.now_ns() < second * NS_PER_S:
            clock.sleep(max(feed.step(), 0.02))
            window.refresh()
        x, y = window.panel(MapView)._corridor.getData()
        return np.array([x, y]).T if x is not None else np.zeros((0, 2))

    resting, raising = outline_at(3.0), outline_at(9.5)
    window.close()

    assert len(resting) == 0
    assert len(raising) > 8
    assert np.array_equal(raising[0], raising[-1])  # closed
    assert np.abs(raising.mean(axis=0)).max() < 3.0  # an expert's band lies about the target
