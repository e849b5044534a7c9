"""A feed on a clock of its own: what is seen does not depend on the machine."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquisition.clock import NS_PER_S, ManualClock
from acquisition.health import Health, LinkState
from acquisition.recording.model import LinkCounts, TrialLabel
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort
from analysis.resolve import push_angles
from analysis.series import ResolvedSeries
from analysis.target import Target
from ui.live.elevation import ElevationLook, ElevationModel
from ui.live.feed import FeedState, LiveFeed
from ui.live.force_band import ForceBandLook, ForceBandModel
from ui.live.line_health import HealthLook, HealthModel
from ui.live.moment import Moment, Trainer, moment_of
from ui.live.superior import SuperiorLook, SuperiorModel
from ui.live.target_map import TargetMap, TargetMapModel
from ui.live.traces import TracesLook, TracesModel
from ui.live.verdict import VerdictLook, VerdictModel

FS_HZ = 1000.0


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
        """Let time pass with a look every 80 ms, and return the last."""
        end_ns = self.clock.now_ns() + int(seconds * NS_PER_S)
        look_ns = 0
        while self.clock.now_ns() < end_ns and not self.feed.state().health.state.ended:
            self.clock.sleep(max(self.feed.step(), 0.002))
            if self.clock.now_ns() >= look_ns:
                self.look()
                look_ns = self.clock.now_ns() + 80_000_000
        return self.look()


def series_of(
    force_n: Sequence[float],
    *,
    seconds: float = 0.2,
    start_s: float = 0.0,
    elevation_deg: float = 60.0,
    speed_deg_s: float = 10.0,
    u_deg: tuple[float, float] = (0.8, 0.6),
    contact: bool = True,
    directed: bool = True,
) -> ResolvedSeries:
    """Return a push that stays the same; *u_deg* of azimuth and superior angle."""
    n = round(seconds * FS_HZ)
    force = np.tile(np.asarray(force_n, dtype=np.float64), (n, 1))
    target = Target().direction
    angles = push_angles(force, target)
    no = np.zeros(n, dtype=np.bool_)
    return ResolvedSeries(
        fs_hz=FS_HZ,
        time_s=start_s + np.arange(n) / FS_HZ,
        force_n=force,
        glide_n=angles.glide_n,
        azimuth_rad=angles.azimuth_rad,
        superior_angle_rad=angles.superior_angle_rad,
        off_axis_rad=angles.off_axis_rad,
        azimuth_u_rad=np.full(n, np.deg2rad(u_deg[0])),
        superior_angle_u_rad=np.full(n, np.deg2rad(u_deg[1])),
        off_axis_u_rad=np.full(n, np.deg2rad(u_deg[1])),
        elevation_rad=np.full(n, np.deg2rad(elevation_deg)),
        plane_rad=np.zeros(n),
        elevation_speed_rad_s=np.full(n, np.deg2rad(speed_deg_s)),
        missing=no,
        saturated=no,
        contact=no | contact,
        directed=no | directed,
    )


def feed_state(**changes: Any) -> FeedState:
    """Return a feed that is well: streaming, fresh, zeroed."""
    health = Health(LinkState.STREAMING, "rig", 0.01, LinkCounts(), {"force": 1000.0}, 0, "")
    state = FeedState(health=health, age_s=0.01, zeroed=True, heading_age_s=3.0)
    return replace(state, **changes)


@pytest.fixture
def moment() -> Callable[..., Moment]:
    """Return a maker of moments in which a push stays the same."""

    def make(
        force_n: Sequence[float],
        target: Target | None = None,
        feed: FeedState | None = None,
        **changes: Any,
    ) -> Moment:
        series = series_of(force_n, **changes)
        return moment_of(target or Target(), series, (series,), feed or feed_state())

    return make  # fmt: skip


@pytest.fixture
def well() -> Callable[..., FeedState]:
    """Return a maker of feeds that are well but for what is changed."""
    return feed_state


@pytest.fixture
def steady() -> Callable[..., ResolvedSeries]:
    """Return a maker of pushes that stay the same."""
    return series_of


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
