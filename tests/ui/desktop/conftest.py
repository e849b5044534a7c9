"""A window without a screen, and nothing left behind."""

from __future__ import annotations

import os

os.environ["QT_QPA_PLATFORM"] = "offscreen"  # before Qt is imported anywhere

import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from acquisition.errors import PortError
from acquisition.recording.model import TrialLabel
from acquisition.transports import Transport
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort
from analysis.target import Target
from ui.desktop import look
from ui.desktop.window import TrainerWindow
from ui.live.feed import LiveFeed
from ui.live.moment import Trainer
from ui.live.preferences import Memory


@pytest.fixture(autouse=True)
def _nothing_left_running() -> Iterator[None]:
    """Fail a test that leaves a thread behind: it would hang the program at its end."""
    before = set(threading.enumerate())
    yield
    left = [thread.name for thread in set(threading.enumerate()) - before if thread.is_alive()]
    assert left == []


@pytest.fixture(autouse=True)
def _usual_look() -> Iterator[None]:
    """Put colours and size of text back: they belong to the process, not to a window."""
    yield
    look.use(dark=False)


class StaysAway(VirtualPort):
    """A virtual rig whose cable, once pulled, is not plugged in again: what is shown then stays."""

    opened = False

    def open(self) -> None:
        if self.opened:
            raise PortError("the cable is pulled")
        self.opened = True
        super().open()


@pytest.fixture
def pulled() -> Callable[[str], VirtualPort]:
    """Return a maker of ports that stay away once their cable is pulled."""
    return lambda port: StaysAway.from_url(parse_url(port))


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path) -> Iterator[Callable[..., TrainerWindow]]:
    """Return a maker of windows on virtual rigs; closed afterwards."""
    made: list[TrainerWindow] = []

    def make(
        port: str, transport: Transport | None = None, memory: Memory | None = None
    ) -> TrainerWindow:
        virtual = VirtualPort.from_url(parse_url(port))
        feed = LiveFeed(
            transport or virtual,
            rig=virtual.virtual_rig.rig,
            target=Target(),
            out_dir=tmp_path,
            label=TrialLabel(person="T01"),
        )
        feed.open()
        one = TrainerWindow(Trainer(feed), memory)
        qtbot.addWidget(one)
        one.show()
        made.append(one)
        return one

    yield make
    for one in made:
        one.close()
