"""Pictures of the window, made without a screen and always the same.

The feed runs on a clock of its own, so that what is seen at second 12 is what happened at
second 12, however fast or busy the machine is.
"""

from __future__ import annotations

from pathlib import Path

from acquisition.clock import NS_PER_S, ManualClock
from acquisition.recording.model import TrialLabel
from acquisition.rig import RigDescription
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort
from analysis.target import Target
from ui.desktop.application import application_of_this_process
from ui.desktop.window import TrainerWindow
from ui.live.feed import LiveFeed
from ui.live.moment import Trainer

FRAME_NS = 33_000_000


def grab_window(
    path: Path,
    port: str,
    *,
    seconds: float,
    target: Target | None = None,
    size: tuple[int, int] = (1280, 800),
) -> None:
    """Write a PNG of the window as it looks after some seconds of a virtual rig.

    Args:
        path: Where to; replaced if it exists.
        port: URL of a virtual rig.
        seconds: Of the rig's time.
        target: To show against; None takes the default.
        size: Of the window, pixels.
    """
    application = application_of_this_process()
    clock = ManualClock()
    transport = VirtualPort.from_url(parse_url(port), clock=clock)
    rig: RigDescription = transport.virtual_rig.rig
    feed = LiveFeed(
        transport,
        rig=rig,
        target=target or Target(),
        out_dir=path.parent,
        label=TrialLabel(),
        clock=clock,
    )
    feed.open()
    window = TrainerWindow(Trainer(feed))
    window.resize(*size)
    window.show()
    due_ns = clock.now_ns()
    end_ns = clock.now_ns() + int(seconds * NS_PER_S)
    while clock.now_ns() < end_ns and not feed.state().health.state.ended:
        clock.sleep(max(feed.step(), 0.002))
        if clock.now_ns() >= due_ns:
            window.refresh()
            due_ns = clock.now_ns() + FRAME_NS
    window.refresh()
    application.processEvents()
    window.grab().save(str(path))
    window.close()
