"""Start, end, Ctrl-C, and errors that nobody caught."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from shiboken6 import isValid

from acquisition.errors import DescriptionError, PortError
from acquisition.recording.model import TrialLabel
from acquisition.virtual_rig import default_rig
from analysis.target import Target
from ui.desktop import open_live_window
from ui.desktop.application import closed_by_ctrl_c, errors_shown_in
from ui.desktop.status_lines import TroubleLine
from ui.desktop.window import TrainerWindow

Maker = Callable[..., TrainerWindow]
WAIT_MS = 20_000
QUICK = "virtual:?trainee=T01&seed=7&speed=4"


def test_asking_for_the_window_does_not_load_qt_yet() -> None:
    code = "import sys, ui.desktop; print(any(m.startswith('PySide6') for m in sys.modules))"

    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )

    assert done.stdout.strip() == "False"


def test_ctrl_c_closes_the_window_and_ends_the_process_as_interrupted(tmp_path: Path) -> None:
    """In a process of its own, with a signal that really comes."""
    code = (
        "import sys, threading\n"
        "from PySide6.QtCore import QTimer\n"
        "from ui.desktop.application import application_of_this_process\n"
        "app = application_of_this_process()\n"
        "QTimer.singleShot(300, lambda: print('up', flush=True))\n"
        "from ui.cli.main import main\n"
        f"code = main(['live', '--port', {QUICK!r}, '--out', {str(tmp_path)!r}])\n"
        "print('left', threading.active_count(), flush=True)\n"
        "sys.exit(code)\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen", "XDG_CONFIG_HOME": str(tmp_path)},
    )  # fmt: skip
    with process:
        assert process.stdout is not None
        assert process.stdout.readline().strip() == "up"
        process.send_signal(signal.SIGINT)
        rest = process.stdout.read()

    assert process.returncode == 130
    assert rest.split() == ["left", "1"]


@pytest.mark.parametrize(
    ("port", "side", "error", "words"),
    [
        ("serial:/dev/no-such-port", "right", PortError, "no-such-port"),
        (QUICK, "left", DescriptionError, "L01"),
    ],
)
def test_a_port_that_cannot_be_used_is_told_before_a_window_opens(
    qtbot: QtBot, tmp_path: Path, port: str, side: str, error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        open_live_window(
            port, rig=default_rig(side), target=Target(), out_dir=tmp_path, label=TrialLabel()
        )


def test_an_error_in_a_widget_shows_and_the_recording_goes_on(
    window: Maker, qtbot: QtBot, caplog: pytest.LogCaptureFixture
) -> None:
    one = window(QUICK)

    with errors_shown_in(one.trainer.feed):
        for _ in range(3):
            sys.excepthook(ValueError, ValueError("a widget broke"), None)
        qtbot.waitUntil(lambda: "a widget broke" in one.panel(TroubleLine).text(), timeout=WAIT_MS)

    assert [record.getMessage() for record in caplog.records] == ["not caught"]
    assert "streaming" in one.trainer.feed.state().health.state.value


def test_an_error_in_a_thread_shows(window: Maker, qtbot: QtBot) -> None:
    one = window(QUICK)

    with errors_shown_in(one.trainer.feed):
        thread = threading.Thread(target=int, args=("no number",))
        thread.start()
        thread.join(10.0)
        qtbot.waitUntil(lambda: "ValueError" in one.panel(TroubleLine).text(), timeout=WAIT_MS)


def test_hooks_and_signals_are_put_back(window: Maker) -> None:
    one = window(QUICK)
    before = sys.excepthook, threading.excepthook, signal.getsignal(signal.SIGINT)

    with errors_shown_in(one.trainer.feed), closed_by_ctrl_c(one):
        assert signal.getsignal(signal.SIGINT) is not before[2]

    assert (sys.excepthook, threading.excepthook, signal.getsignal(signal.SIGINT)) == before


def test_a_closed_window_is_destroyed_at_once_in_the_thread_that_made_it(
    qtbot: QtBot, tmp_path: Path
) -> None:
    """Left to Python's collector, which runs in any thread, it would break Qt down."""
    kept: list[TrainerWindow] = []

    def leave() -> None:
        for window in QApplication.topLevelWidgets():
            if isinstance(window, TrainerWindow) and window.isVisible():
                kept.append(window)
                window.close()

    timer = QTimer()
    timer.timeout.connect(leave)
    timer.start(200)

    open_live_window(
        QUICK, rig=default_rig("right"), target=Target(), out_dir=tmp_path, label=TrialLabel()
    )

    timer.stop()
    assert kept
    assert not any(isValid(window) for window in kept)
