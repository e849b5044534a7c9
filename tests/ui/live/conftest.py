"""A feed on a clock of its own: what is seen does not depend on the machine."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from acquisition.clock import NS_PER_S, ManualClock
from acquisition.recording.model import TrialLabel
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort
from analysis.target import Target
from ui.live.feed import LiveFeed
from ui.live.screen import Picture, TrainerModel


class Bench:
    """A trainer without a window, and the time it lives in."""

    def __init__(self, port: str, out_dir: Path) -> None:
        self.clock = ManualClock()
        transport = VirtualPort.from_url(parse_url(port), clock=self.clock)
        self.feed = LiveFeed(
            transport,
            rig=transport.virtual_rig.rig,
            target=Target(),
            out_dir=out_dir,
            label=TrialLabel(person="T01"),
            clock=self.clock,
        )
        self.model = TrainerModel(self.feed)
        self.feed.open()

    def go_on(self, seconds: float) -> Picture:
        """Let time pass with a look every 40 ms, and return the last."""
        end_ns = self.clock.now_ns() + int(seconds * NS_PER_S)
        look_ns = 0
        while self.clock.now_ns() < end_ns and not self.feed.state().health.state.ended:
            self.clock.sleep(max(self.feed.step(), 0.002))
            if self.clock.now_ns() >= look_ns:
                self.model.refresh()
                look_ns = self.clock.now_ns() + 40_000_000
        return self.model.refresh()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Callable[[str], Bench]]:
    """Return a maker of benches; they are closed afterwards."""
    made: list[Bench] = []

    def make(port: str) -> Bench:
        made.append(Bench(port, tmp_path))
        return made[-1]

    yield make
    for one in made:
        one.feed.close()
