"""Pictures of the window, made without a screen and always the same.

The feed runs on a clock of its own, so that what is seen at second 12 is what happened at
second 12, however fast or busy the machine is.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from acquisition.clock import NS_PER_S, ManualClock
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort
from analysis.pipeline import analyse
from analysis.target import Target
from ui.desktop.application import application_of_this_process, destroyed_here
from ui.desktop.review_window import ReviewWindow
from ui.desktop.window import FRAME_MS, TrainerWindow
from ui.live.feed import LiveFeed
from ui.live.moment import Trainer
from ui.live.practice.run import practice_for

KEYS_S = 1.0
"""Keys are pressed so long before the picture is taken."""


def grab(
    path: Path,
    port: str,
    *,
    seconds: float,
    target: Target | None = None,
    size: tuple[int, int],
    keys: str = "",
    plan: str = "",
) -> None:
    """Write the picture; arguments as for `ui.desktop.grab_window`."""
    application = application_of_this_process()
    clock = ManualClock()
    transport = VirtualPort.from_url(parse_url(port), clock=clock)
    with tempfile.TemporaryDirectory() as folder:
        feed = LiveFeed(
            transport,
            rig=transport.virtual_rig.rig,
            target=target or Target(),
            out_dir=Path(folder),
            label=TrialLabel(),
            clock=clock,
        )
        feed.open()
        trainer = Trainer(feed)
        if plan:
            trainer.practice = practice_for(plan, feed)
        window = TrainerWindow(trainer)
        with destroyed_here(window):
            window.resize(*size)
            window.show()
            _run(window, feed, clock, seconds - KEYS_S)
            for key in keys:
                QTest.keyClick(window, Qt.Key(ord(key)))
            _run(window, feed, clock, KEYS_S)
            application.processEvents()
            window.grab().save(str(path))
            window.close()


def grab_review(
    path: Path, recordings: Sequence[Path], *, at_s: float, size: tuple[int, int]
) -> None:
    """Write a picture; arguments as for `ui.desktop.grab_review_window`."""
    application = application_of_this_process()
    trials = [analyse(read_recording(one)) for one in recordings]
    window = ReviewWindow(trials, out_dir=path.parent)
    with destroyed_here(window):
        window.resize(*size)
        window.show()
        window.jump(at_s)
        window.refresh()
        application.processEvents()
        window.grab().save(str(path))
        window.close()


def _run(window: TrainerWindow, feed: LiveFeed, clock: ManualClock, seconds: float) -> None:
    end_ns = clock.now_ns() + int(seconds * NS_PER_S)
    due_ns = clock.now_ns()
    while clock.now_ns() < end_ns and not feed.state().health.state.ended:
        clock.sleep(max(feed.step(), 0.002))
        if clock.now_ns() >= due_ns:
            window.refresh()
            due_ns = clock.now_ns() + FRAME_MS * 1_000_000
    window.refresh()
