"""How fast the window shows a push: ``make bench`` prints times and ratios of one run.

A virtual rig in a process of its own speaks at 1 kHz over a loopback port; the window records
while it shows, drawn by software without a screen. For every block that comes, *byte to paint*
runs from its last byte's arrival to the end of the first painting that knew of it. The delay of
the live filter (23 ms on slow signals, stated by `analysis.filters`) comes on top and is the same
everywhere. Timings depend on the machine, so nothing is asserted.

Memory: a session of ten minutes is shown, ten frames a second, on a clock of its own.

The plain frame is what the plot library takes to draw the same points (traces of the last
seconds, and the trail of the map) in bare plots of the same size, with nothing round them.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QEventLoop, QTimer
from PySide6.QtWidgets import QApplication

from acquisition.blocks import StreamBlock
from acquisition.clock import NS_PER_S, ManualClock, SystemClock
from acquisition.recording.model import TrialLabel
from acquisition.sinks import SinkBase
from acquisition.transports import Transport, transport_for
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort
from acquisition.virtual_rig import default_rig
from analysis.target import Target
from ui.desktop.application import application_of_this_process
from ui.desktop.window import FRAME_MS, TrainerWindow
from ui.live.feed import LiveFeed
from ui.live.moment import Trainer
from ui.live.traces import COLUMN_S

LIVE_S = 45.0
SETTLE_S = 5.0
MEMORY_MINUTES = 10
BEAT_MS = 2
FRAMES = 300
SIZE = (1280, 800)
PORT = "virtual:?trainee=T01&seed=7&reps=0&axes=6"
TRAIL = 120


class Arrivals(SinkBase):
    """Notes when each block came; the last listener, so that the ring has it already."""

    critical = False

    def __init__(self) -> None:
        self.arrival_ns: list[int] = []

    def on_block(self, block: StreamBlock) -> None:
        """Note one."""
        self.arrival_ns.append(block.arrival_ns)


class TimedWindow(TrainerWindow):
    """A window that notes when it has painted what it knew."""

    def __init__(self, trainer: Trainer, arrivals: Arrivals, clock: SystemClock) -> None:
        self.arrivals, self.clock = arrivals, clock
        self.painted_ns: list[int] = []
        self.latency_ms: list[float] = []
        self._known = self._told = 0
        super().__init__(trainer)

    def refresh(self) -> None:
        """Note what the coming picture knows of."""
        self._known = len(self.arrivals.arrival_ns)
        super().refresh()

    def event(self, event: QEvent) -> bool:
        """Note the end of a painting."""
        done = super().event(event)
        if event.type() == QEvent.Type.UpdateRequest:
            now = self.clock.now_ns()
            if self._known > self._told:
                self.painted_ns.append(now)
            for came in self.arrivals.arrival_ns[self._told : self._known]:
                self.latency_ms.append((now - came) / 1e6)
            self._told = self._known
        return done


def feed_of(transport: Transport, folder: Path, clock: ManualClock | None = None) -> LiveFeed:
    """Return an open feed."""
    feed = LiveFeed(
        transport, rig=default_rig("right", 6), target=Target(), out_dir=folder,
        label=TrialLabel(person="T01"), clock=clock,
    )  # fmt: skip
    feed.open()
    return feed


def resident_mib() -> float:
    """Return the memory this process holds now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def spin(seconds: float) -> None:
    """Let the window live for so long."""
    loop = QEventLoop()
    QTimer.singleShot(int(seconds * 1000), loop.quit)
    loop.exec()


def live(folder: Path) -> None:
    """Show and record a rig that speaks from another process."""
    code = "import sys; from ui.cli.main import main; sys.exit(main(sys.argv[1:]))"
    command = [sys.executable, "-c", code, "simulate", "--tcp", "0", "--axes", "6"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as rig:
        assert rig.stdout is not None
        found = re.search(r"tcp://\S+", rig.stdout.readline())
        assert found is not None
        try:
            watch(feed_of(transport_for(found[0]), folder))
        finally:
            rig.terminate()


def watch(feed: LiveFeed) -> None:
    """Print how a window on *feed* does."""
    clock, arrivals, beats = SystemClock(), Arrivals(), list[int]()
    feed._session.add_sink(arrivals)
    window = TimedWindow(Trainer(feed), arrivals, clock)
    window.resize(*SIZE)
    window.show()
    window.toggle_recording()
    spin(SETTLE_S)
    window.latency_ms.clear()
    window.painted_ns.clear()
    beat = QTimer()
    beat.timeout.connect(lambda: beats.append(clock.now_ns()))
    beat.start(BEAT_MS)
    begun, used = clock.now_ns(), time.process_time()
    spin(LIVE_S)
    wall = (clock.now_ns() - begun) / NS_PER_S
    used = time.process_time() - used
    beat.stop()
    gaps_ms = np.diff(beats) / 1e6
    median, high, most = np.percentile(window.latency_ms, [50, 99, 100])
    frames = len(window.painted_ns) / wall
    print(f"window at 1 kHz while recording, {wall:.0f} s, {SIZE[0]} × {SIZE[1]}")
    print(f"  byte to paint   median {median:.0f} ms, 99 % {high:.0f} ms, most {most:.0f} ms")
    print(f"  frames          {frames:.1f} /s (one due every {FRAME_MS} ms)")
    longest, most_gaps = gaps_ms.max(), np.percentile(gaps_ms, 99)
    print(f"  event loop      largest gap {longest:.0f} ms, 99 % {most_gaps:.0f} ms")
    print(f"  processor       {100 * used / wall:.0f} % of one core, all threads")
    window.toggle_recording()
    spin(1.0)
    window.close()


def memory(application: QApplication, folder: Path) -> None:
    """Show a long session on a clock of its own and print what it holds."""
    clock = ManualClock()
    feed = feed_of(VirtualPort.from_url(parse_url(PORT), clock=clock), folder, clock)
    window = TrainerWindow(Trainer(feed))
    window.resize(*SIZE)
    window.show()
    held = []
    for _ in range(MEMORY_MINUTES):
        show_a_minute(application, window, clock, every_ms=4 * FRAME_MS)
        held.append(resident_mib())
    told = " ".join(f"{mib:.0f}" for mib in held)
    print(f"memory after each of {MEMORY_MINUTES} minutes: {told} MiB")
    window.close()


def show_a_minute(
    application: QApplication,
    window: TrainerWindow,
    clock: ManualClock,
    *,
    every_ms: int = FRAME_MS,
) -> None:
    """Draw the frames of a minute of the rig's time."""
    due_ns, end_ns = clock.now_ns(), clock.now_ns() + 60 * NS_PER_S
    while clock.now_ns() < end_ns:
        clock.sleep(max(window.trainer.feed.step(), 0.002))
        if clock.now_ns() >= due_ns:
            window.refresh()
            application.processEvents()
            due_ns = clock.now_ns() + every_ms * 1_000_000


def frame_cost(application: QApplication, folder: Path) -> None:
    """Print what a frame of ours takes beside bare plots of the same points."""
    clock = ManualClock()
    feed = feed_of(VirtualPort.from_url(parse_url(PORT), clock=clock), folder, clock)
    window = TrainerWindow(Trainer(feed))
    window.resize(*SIZE)
    window.show()
    show_a_minute(application, window, clock)
    ours = 0.0
    for _ in range(FRAMES):
        clock.sleep(FRAME_MS / 1000)
        feed.step()
        begun = time.process_time()
        window.refresh()
        application.processEvents()
        ours += time.process_time() - begun
    window.close()
    bare = bare_frame(application)
    ours /= FRAMES
    print(
        f"frame  ours {1000 * ours:.1f} ms (analysis of its samples included), "
        f"bare plots {1000 * bare:.1f} ms, ratio {ours / bare:.1f}"
    )


def bare_frame(application: QApplication) -> float:
    """Return the processor seconds of a frame of bare plots with our points."""
    widget = pg.GraphicsLayoutWidget()
    widget.resize(*SIZE)
    curves = [widget.addPlot(row=row, col=1).plot() for row in range(3)]
    trail = widget.addPlot(row=0, col=0, rowspan=3).plot()
    widget.show()
    time_s = np.repeat(COLUMN_S, 2)
    chance = np.random.default_rng(1)
    values = chance.normal(size=(4, len(time_s) + FRAMES))
    begun = time.process_time()
    for frame in range(FRAMES):
        for curve, one in zip(curves, values[:3], strict=True):
            curve.setData(time_s, one[frame : frame + len(time_s)], connect="finite")
        trail.setData(values[3, frame : frame + TRAIL], values[2, frame : frame + TRAIL])
        application.processEvents()
    used = time.process_time() - begun
    widget.close()
    return used / FRAMES


if __name__ == "__main__":
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    app = application_of_this_process()
    with tempfile.TemporaryDirectory() as where:
        live(Path(where))
        frame_cost(app, Path(where))
        memory(app, Path(where))
