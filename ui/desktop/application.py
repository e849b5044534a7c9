"""Starts and ends the window: Qt's application, Ctrl-C, and errors nobody caught."""

from __future__ import annotations

import logging
import signal
import sys
import threading
from pathlib import Path
from types import TracebackType

import pyqtgraph as pg
from PySide6.QtWidgets import QApplication

from acquisition.recording.model import TrialLabel
from acquisition.rig import RigDescription
from acquisition.transports import transport_for
from analysis.target import Target
from ui.desktop.window import TrainerWindow
from ui.live.feed import LiveFeed
from ui.live.screen import TrainerModel

log = logging.getLogger(__name__)


def run_window(
    port: str, *, rig: RigDescription, target: Target, out_dir: Path, label: TrialLabel
) -> int:
    """Show the window until it is closed; arguments as for `ui.desktop.open_live_window`."""
    feed = LiveFeed(transport_for(port), rig=rig, target=target, out_dir=out_dir, label=label)
    try:
        feed.open()
        application = application_of_this_process()
        window = TrainerWindow(TrainerModel(feed))
        report_uncaught_in(feed)
        # The window's timer lets Python see the signal within a frame.
        signal.signal(signal.SIGINT, lambda *_: window.close())
        window.show()
        return int(application.exec())
    finally:
        feed.close()


def application_of_this_process() -> QApplication:
    """Return Qt's application, made once."""
    pg.setConfigOptions(antialias=True)
    running = QApplication.instance()
    return running if isinstance(running, QApplication) else QApplication(sys.argv[:1])


def report_uncaught_in(feed: LiveFeed) -> None:
    """Let errors nobody caught appear in the window and in the log, with their traceback."""

    def report(
        kind: type[BaseException], error: BaseException | None, trace: TracebackType | None
    ) -> None:
        log.error("not caught", exc_info=(kind, error or kind(), trace))
        feed.tell(f"something went wrong: {error}")

    sys.excepthook = report
    threading.excepthook = lambda args: report(args.exc_type, args.exc_value, args.exc_traceback)
