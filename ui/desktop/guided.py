"""Starts and ends the window that leads from plugging in to the review."""

from __future__ import annotations

from ui.desktop.application import (
    application_of_this_process,
    closed_by_ctrl_c,
    destroyed_here,
    errors_shown_in,
)
from ui.desktop.guide import GuideWindow
from ui.live.flow import Flow
from ui.live.preferences import Memory, preferences_path


def run_guided(flow: Flow) -> int:
    """Lead through a session until the window is closed.

    Args:
        flow: At its first stage; closed here.

    Returns:
        The exit code.
    """
    application = application_of_this_process()
    window = GuideWindow(flow, Memory.at(preferences_path()))
    with destroyed_here(window):
        try:
            with errors_shown_in(flow), closed_by_ctrl_c(window):
                window.show()
                return int(application.exec())
        finally:
            window.close()
            flow.close()
