"""The experts' band on the map, where the arm is, in a real window."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PySide6.QtGui import QImage
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
from ui.desktop.force_gauge import ForceGauge
from ui.desktop.gauge import BAR_HEIGHT, BAR_TOP, BRACKET
from ui.desktop.map_view import MapView
from ui.desktop.speed_gauge import SpeedGauge
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


def dark_dots(gauge: ForceGauge) -> int:
    """Return how many dark pixels lie on the two lines just above and below the bar."""
    image = gauge.grab().toImage().convertToFormat(QImage.Format.Format_Grayscale8)
    rows = [round(BAR_TOP - BRACKET), round(BAR_TOP + BAR_HEIGHT + BRACKET)]
    return sum(
        image.pixelColor(x, row + shift).value() < 150
        for row in rows for shift in (-1, 0) for x in range(image.width())
    )  # fmt: skip


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

    gauges = window.panel(ForceGauge), window.panel(SpeedGauge)
    resting, bare = outline_at(3.0), [gauge.experts for gauge in gauges]
    raising = outline_at(9.5)
    shown = [gauge.experts or (0.0, 0.0) for gauge in gauges]
    dotted = dark_dots(gauges[0])
    gauges[0].show_experts(None)
    without = dark_dots(gauges[0])
    window.close()

    assert len(resting) == 0
    assert len(raising) > 8
    assert np.array_equal(raising[0], raising[-1])  # closed
    assert np.abs(raising.mean(axis=0)).max() < 3.0  # an expert's band lies about the target
    assert bare == [None, None]
    assert 20.0 < shown[0][0] < 40.0 < shown[0][1] < 60.0  # the expert keeps to the target's band
    assert 5.0 < shown[1][0] < shown[1][1] < 40.0
    assert dotted > without + 10
