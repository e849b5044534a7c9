"""Starts and ends the window: Qt's application, Ctrl-C, and errors nobody caught."""

from __future__ import annotations

import contextlib
import logging
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Protocol

import pyqtgraph as pg
from PySide6.QtCore import QCoreApplication, QEvent, QLocale
from PySide6.QtWidgets import QApplication, QWidget

from acquisition.recording.model import TrialLabel
from acquisition.rig import RigDescription
from acquisition.sinks import SinkMaker
from acquisition.transports import transport_for
from analysis.said import said
from analysis.target import Target
from analysis.trial import Trial
from ui.desktop.review_window import ReviewWindow
from ui.desktop.window import TrainerWindow
from ui.desktop.words import speak
from ui.live.feed import LiveFeed
from ui.live.moment import Trainer
from ui.live.preferences import Memory, preferences_path

log = logging.getLogger(__name__)


def run_window(
    port: str,
    *,
    rig: RigDescription,
    target: Target,
    out_dir: Path,
    label: TrialLabel,
    also: SinkMaker | None = None,
    prepare: Callable[[Trainer], None] | None = None,
) -> int:
    """Show the window until it is closed; arguments as for `ui.desktop.open_live_window`."""
    feed = LiveFeed(
        transport_for(port), rig=rig, target=target, out_dir=out_dir, label=label, also=also
    )
    trainer = Trainer(feed)
    try:
        feed.open()
        if prepare is not None:
            prepare(trainer)
        application = application_of_this_process()
        window = TrainerWindow(trainer, Memory.at(preferences_path()))
        with destroyed_here(window), errors_shown_in(feed), closed_by_ctrl_c(window):
            window.show()
            code = int(application.exec())
    finally:
        trainer.close()
    if feed.failure:
        log.error("%s", feed.failure)  # the window that would have shown it is gone
    return 1 if feed.failure else code


def run_review(trials: Sequence[Trial], *, out_dir: Path) -> int:
    """Show the review until it is closed; arguments as for `ui.desktop.open_review_window`."""
    application = application_of_this_process()
    window = ReviewWindow(trials, out_dir=out_dir, memory=Memory.at(preferences_path()))
    with destroyed_here(window), closed_by_ctrl_c(window):
        window.show()
        return int(application.exec())


@contextlib.contextmanager
def destroyed_here(window: QWidget) -> Iterator[None]:
    """Destroy a window at the end, in this thread.

    Its parts refer to each other, so otherwise Python's collector would do it some time later,
    in whatever thread it happens to run: Qt then breaks down.
    """
    try:
        yield
    finally:
        window.deleteLater()
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)


def application_of_this_process() -> QApplication:
    """Return Qt's application, made once."""
    pg.setConfigOptions(antialias=True)
    running = QApplication.instance()
    if isinstance(running, QApplication):
        return running
    made = QApplication(sys.argv[:1])
    speak(QLocale(), Path(__file__).parent)
    return made


class Tells(Protocol):
    """Shows a message to the person at the screen: a feed, or what leads to one."""

    def tell(self, text: str, *, trouble: bool = False) -> None:
        """Show it; from any thread."""
        ...


@contextlib.contextmanager
def closed_by_ctrl_c(window: QWidget) -> Iterator[None]:
    """Let Ctrl-C in the terminal close the window; its timer lets Python see it in a frame."""
    interrupted = threading.Event()

    def close(*_: object) -> None:
        interrupted.set()
        window.close()

    before = signal.signal(signal.SIGINT, close)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if interrupted.is_set():
        raise KeyboardInterrupt


@contextlib.contextmanager
def errors_shown_in(place: Tells) -> Iterator[None]:
    """Let errors nobody caught appear in the window, and their traceback in the log.

    One that comes again with every frame is logged once.
    """
    logged: set[str] = set()

    def report(
        kind: type[BaseException], error: BaseException | None, trace: TracebackType | None
    ) -> None:
        text = f"{kind.__name__}: {error}"
        if text not in logged:
            logged.add(text)
            log.error("not caught", exc_info=(kind, error or kind(), trace))
        place.tell(said("something went wrong: {}", text), trouble=True)

    before = sys.excepthook, threading.excepthook
    sys.excepthook = report
    threading.excepthook = lambda args: report(args.exc_type, args.exc_value, args.exc_traceback)
    try:
        yield
    finally:
        sys.excepthook, threading.excepthook = before
