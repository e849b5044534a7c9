"""A feed on a clock of its own: what is seen does not depend on the machine."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from acquisition.clock import NS_PER_S, ManualClock
from acquisition.recording.model import TrialLabel
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort
from analysis.target import Target
from ui.live.elevation import ElevationLook, ElevationModel
from ui.live.feed import LiveFeed
from ui.live.force_band import ForceBandLook, ForceBandModel
from ui.live.line_health import HealthLook, HealthModel
from ui.live.moment import Moment, Trainer
from ui.live.superior import SuperiorLook, SuperiorModel
from ui.live.target_map import TargetMap, TargetMapModel
from ui.live.traces import TracesLook, TracesModel
from ui.live.verdict import VerdictLook, VerdictModel


@dataclass(frozen=True)
class Looks:
    """What all screens show at one moment."""

    moment: Moment
    map: TargetMap
    force: ForceBandLook
    superior: SuperiorLook
    elevation: ElevationLook
    traces: TracesLook
    verdict: VerdictLook
    health: HealthLook


class Bench:
    """A trainer without a window, and the time it lives in."""

    def __init__(self, port: str, out_dir: Path, target: Target) -> None:
        self.clock = ManualClock()
        transport = VirtualPort.from_url(parse_url(port), clock=self.clock)
        self.feed = LiveFeed(
            transport,
            rig=transport.virtual_rig.rig,
            target=target,
            out_dir=out_dir,
            label=TrialLabel(person="T01"),
            clock=self.clock,
        )
        self.trainer = Trainer(self.feed)
        self.models = (
            TargetMapModel(),
            ForceBandModel(),
            SuperiorModel(),
            ElevationModel(),
            TracesModel(),
            VerdictModel(),
            HealthModel(),
        )
        self.feed.open()

    def look(self) -> Looks:
        """Look now."""
        moment = self.trainer.refresh()
        return Looks(moment, *(model.look(moment) for model in self.models))  # type: ignore[arg-type] # in order

    def go_on(self, seconds: float) -> Looks:
        """Let time pass with a look every 40 ms, and return the last."""
        end_ns = self.clock.now_ns() + int(seconds * NS_PER_S)
        look_ns = 0
        while self.clock.now_ns() < end_ns and not self.feed.state().health.state.ended:
            self.clock.sleep(max(self.feed.step(), 0.002))
            if self.clock.now_ns() >= look_ns:
                self.look()
                look_ns = self.clock.now_ns() + 40_000_000
        return self.look()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Callable[..., Bench]]:
    """Return a maker of benches; they are closed afterwards."""
    made: list[Bench] = []

    def make(port: str, target: Target | None = None) -> Bench:
        made.append(Bench(port, tmp_path, target or Target()))
        return made[-1]

    yield make
    for one in made:
        one.feed.close()
