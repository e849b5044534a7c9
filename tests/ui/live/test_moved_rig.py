"""A rig that is bumped in front of the trainee: a plain sentence, and another when it is level."""

from __future__ import annotations

from pathlib import Path

import msgspec
import numpy as np
import pytest
from numpy.typing import NDArray

from acquisition.clock import ManualClock
from acquisition.recording.model import TrialLabel
from acquisition.transports.virtual import VirtualPort
from acquisition.virtual_rig import SensorModel, VirtualRig, default_rig, trainee
from acquisition.virtual_rig.virtual_rig import VirtualStream
from analysis.live_chain import LiveStatus
from analysis.target import Target
from firmware_protocol.messages import IMU_STREAM
from ui.live.feed import LiveFeed
from ui.live.leaning import LEVELLED, leaning

LEAN_RAD = np.deg2rad(6.0)
BUMP_S = 0.2
MODEL = SensorModel(force_rate_hz=100.0, imu_rate_hz=100.0)


class BumpedStream(VirtualStream):
    """A stream of one rig until a time, and of one that leans from then on."""

    def __init__(
        self,
        still: VirtualStream,
        leant: VirtualStream,
        at_s: float,
        turn: NDArray[np.float64] | None,
    ) -> None:
        self.spec = still.spec
        self._both = (still, leant)
        self._at_s, self._turn = at_s, turn

    @property
    def sample_count(self) -> float:
        return self._both[0].sample_count

    def time_s(self, first: int, count: int) -> NDArray[np.float64]:
        return self._both[0].time_s(first, count)

    def moment_s(self, number: int) -> float:
        return self._both[0].moment_s(number)

    def counts(self, first: int, count: int) -> NDArray[np.int32]:
        time_s = self.time_s(first, count)[:, np.newaxis]
        still, leant = (one.counts(first, count) for one in self._both)
        found = np.where(time_s < self._at_s, still, leant)
        if self._turn is not None:
            during = (time_s >= self._at_s) & (time_s < self._at_s + BUMP_S)
            found[:, 3:] += np.where(during, self._turn, 0.0).astype(np.int32)
        return found.astype(np.int32)

    def forget(self) -> None:
        for one in self._both:
            one.forget()


class BumpedRig(VirtualRig):
    """A rig that leans by 6° about X, for good, while the arm rests behind the first lift."""

    def __init__(self) -> None:
        super().__init__(default_rig("right"), trainee("E01"), seed=4, model=MODEL, top_deg=60.0)
        up = (0.0, float(np.cos(LEAN_RAD)), float(np.sin(LEAN_RAD)))
        home = msgspec.structs.replace(self.rig.home, vertical_in_base=up)
        leant = VirtualRig(
            msgspec.structs.replace(self.rig, home=home),
            self.trainee,
            seed=4,
            model=MODEL,
            top_deg=60.0,
        )
        rate = np.array([-LEAN_RAD / BUMP_S, 0.0, 0.0]) @ np.array(self.rig.imu.to_humerus)
        turn = np.rint(rate / self.rig.imu.scales.gyro_rad_s)
        at_s = self.truth(np.array([0.0, 1e3])).repetitions[1].slot_start_s + 0.8
        self._bumped = tuple(
            BumpedStream(one, other, at_s, turn if one.spec.name == IMU_STREAM else None)
            for one, other in zip(super().streams, leant.streams, strict=True)
        )

    @property
    def streams(self) -> tuple[VirtualStream, ...]:
        return self._bumped


def test_a_moved_rig_is_said_until_it_is_level_again(tmp_path: Path) -> None:
    clock, rig = ManualClock(), BumpedRig()
    feed = LiveFeed(
        VirtualPort("virtual:", rig, clock=clock),
        rig=rig.rig,
        target=Target(),
        out_dir=tmp_path,
        label=TrialLabel(person="T01"),
        clock=clock,
    )
    feed.open()
    told: list[tuple[bool, str]] = []
    while not feed.state().health.state.ended and not any(text == LEVELLED for _, text in told):
        clock.sleep(max(feed.step(), 0.05))
        feed.refresh()
        state = feed.state()
        if state.message and (not told or told[-1][1] != state.message):
            told.append((state.trouble, state.message))
    feed.close()

    assert told[0][0]
    assert told[0][1].startswith("the arm rests 6° from home: bring it home")
    assert "rest at home twice" in told[0][1]
    assert told[-1] == (False, LEVELLED)


@pytest.mark.parametrize(("leaned_deg", "said"), [(0.0, ""), (4.4, "the arm rests 4° from home")])
def test_nothing_is_said_of_an_arm_at_home(leaned_deg: float, said: str) -> None:
    text = leaning(LiveStatus(leaned_rad=float(np.deg2rad(leaned_deg))))

    assert text.split(":")[0] == said
