"""A rig in software: an arm, a hand and sensors that read what real ones would.

Its time axis is its own device clock in seconds from the start of the streams. The same rig
description, trainee, seed and options give the same counts, in whatever pieces they are asked
for; on another kind of processor the last bit of a sine may differ, and with it a count by
one, about once in 10⁹ samples.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from acquisition.errors import PortError
from acquisition.rig import RigDescription
from acquisition.virtual_rig.chance import MAX_SEED
from acquisition.virtual_rig.hand import Hand
from acquisition.virtual_rig.script import Script
from acquisition.virtual_rig.sensors import Imu, LoadCell, SensorModel
from acquisition.virtual_rig.stabiliser_cell import StabiliserCell
from acquisition.virtual_rig.stabilising_hand import StabilisingHand
from acquisition.virtual_rig.trainees import Trainee
from acquisition.virtual_rig.truth import Truth, truth_of
from acquisition.virtual_rig.world import World, WorldState
from firmware_protocol.messages import StreamSpec

Floats = NDArray[np.float64]
Counts = NDArray[np.int32]

CHUNK_SAMPLES = 1024
_CHUNKS_KEPT = 4
STOP_REACTION_S = 0.35
"""A person who was told that a call may come. Our choice."""


class VirtualStream:
    """One stream's samples by number.

    Counts are made in chunks that begin at fixed sample numbers and are cut from these, so the
    pieces asked for cannot change them, not even in a last bit.

    Args:
        spec: Its row of the stream table.
        world: What there is to sense.
        read: Turns the state of the world into counts, told the first sample number.
        rate_hz: True rate by the device clock; the nominal one stands in *spec*.
        delay_s: Time of sample 0.
    """

    def __init__(
        self,
        spec: StreamSpec,
        world: World,
        read: Callable[[WorldState, int], Counts],
        *,
        rate_hz: float,
        delay_s: float,
    ) -> None:
        self.spec = spec
        self._world = world
        self._read = read
        self._rate_hz = rate_hz
        self._delay_s = delay_s
        self._chunks: OrderedDict[int, Counts] = OrderedDict()

    @cached_property
    def sample_count(self) -> float:
        """How many samples the trial has; infinite if it never ends."""
        duration_s = self._world.script.duration_s
        if math.isinf(duration_s):
            return math.inf
        return max(0, math.ceil((duration_s - self._delay_s) * self._rate_hz))

    def at_rate(self, rate_hz: float) -> VirtualStream:
        """Return the same sensor sampled at another nominal rate, by the same oscillator."""
        return VirtualStream(
            replace(self.spec, rate_hz=rate_hz),
            self._world,
            self._read,
            rate_hz=self._rate_hz / self.spec.rate_hz * rate_hz,
            delay_s=self._delay_s,
        )

    def time_s(self, first: int, count: int) -> Floats:
        """Return when samples *first* and on are taken, shape (count,)."""
        return self._delay_s + np.arange(first, first + count) / self._rate_hz

    def moment_s(self, number: int) -> float:
        """Return when one sample is taken, as `time_s` has it."""
        return self._delay_s + number / self._rate_hz

    def counts(self, first: int, count: int) -> Counts:
        """Return raw counts, shape (count, channels); beyond the end the arm hangs still."""
        stop = first + count
        if first < 0 or count < 0:
            raise ValueError(f"samples {first} to {stop} cannot be")
        chunks = range(first // CHUNK_SAMPLES, -(-stop // CHUNK_SAMPLES))
        pieces = [
            self._chunk(number)[
                max(0, first - number * CHUNK_SAMPLES) : stop - number * CHUNK_SAMPLES
            ]
            for number in chunks
        ]
        return np.concatenate(pieces or [np.empty((0, len(self.spec.channels)), np.int32)])

    def forget(self) -> None:
        """Make the counts anew when they are asked for next: the world has changed."""
        self._chunks.clear()

    def _chunk(self, number: int) -> Counts:
        if number not in self._chunks:
            first = number * CHUNK_SAMPLES
            world = self._world.at(self.time_s(first, CHUNK_SAMPLES))
            self._chunks[number] = self._read(world, first)
            while len(self._chunks) > _CHUNKS_KEPT:
                self._chunks.popitem(last=False)
        return self._chunks[number]


class VirtualRig:
    """A rig and the person at it.

    Args:
        rig: The rig, as built.
        trainee: The person.
        seed: Makes noise, offsets, tremble and the differences between repetitions.
        repetitions: How many; None never ends.
        plane_deg: Plane of elevation: 0 frontal, + forward, right shoulder.
        top_deg: Elevation aimed at.
        axial_deg: Axial rotation gained at 90° of elevation, + internal. Some, because an arm
            hardly rises without.
        model: How good the sensors are.
        stop_reaction_s: From the call to stop until the hand begins to ease off.

    Raises:
        PortError: A number is out of range.
    """

    def __init__(
        self,
        rig: RigDescription,
        trainee: Trainee,
        *,
        seed: int = 0,
        repetitions: int | None = 3,
        plane_deg: float = 30.0,
        top_deg: float = 150.0,
        axial_deg: float = -15.0,
        model: SensorModel = SensorModel(),  # noqa: B008 - frozen
        stop_reaction_s: float = STOP_REACTION_S,
    ) -> None:
        _within("stop_reaction", stop_reaction_s, 0.0, 10.0)
        _within("seed", seed, 0, MAX_SEED)
        _within("repetitions", repetitions or 0, 0, 100_000)
        _within("plane", plane_deg, -30.0, 150.0)
        _within("top", top_deg, 10.0, 170.0)
        _within("axial", axial_deg, -90.0, 90.0)
        self.rig = rig
        self.trainee = trainee
        self.seed = seed
        self.plane_deg = plane_deg
        self._stop_reaction_s = stop_reaction_s
        script = Script(trainee, seed=seed, repetitions=repetitions, top_deg=top_deg)
        self._world = World(
            script,
            Hand(seed, trainee.code),
            StabilisingHand(trainee.stabiliser, seed, trainee.code),
            plane_rad=math.radians(plane_deg),
            axial_ratio=axial_deg / 90.0,
        )
        cell = LoadCell(rig, model, seed=seed, who=trainee.code)
        imu = Imu(rig, model, seed=seed, who=trainee.code)
        self._force = VirtualStream(
            cell.spec, self._world, cell.counts, rate_hz=model.force_rate_hz, delay_s=0.0
        )
        self._imu = VirtualStream(
            imu.spec,
            self._world,
            imu.counts,
            rate_hz=model.imu_rate_hz * (1.0 + model.imu_rate_error),
            delay_s=model.imu_delay_s,
        )
        self._second: tuple[VirtualStream, ...] = ()
        if rig.stabiliser is not None:
            second = StabiliserCell(rig, rig.stabiliser, model, seed=seed, who=trainee.code)
            self._second = (
                VirtualStream(
                    second.spec,
                    self._world,
                    second.counts,
                    rate_hz=model.stabiliser_rate_hz,
                    delay_s=0.0,
                ),
            )

    @property
    def streams(self) -> tuple[VirtualStream, ...]:
        """What it streams, in the order of the stream table."""
        return (self._force, self._imu, *self._second)

    @property
    def duration_s(self) -> float:
        """Length of the trial; infinite if it never ends."""
        return self._world.script.duration_s

    def call_stop(self, at_s: float) -> None:
        """Let the person hear at a time that the movement has become uncomfortable.

        Args:
            at_s: From the start of the streams, not before what was asked for last.
        """
        self._world.ease_off(at_s + self._stop_reaction_s)
        self._forget()

    def begin_again(self) -> None:
        """Forget what was called: the script begins anew."""
        self._world.forget_easing()
        self._forget()

    def _forget(self) -> None:
        for stream in self.streams:
            stream.forget()

    def truth(self, time_s: Floats) -> Truth:
        """Return what is really so at *time_s* (n,), seconds from the start of the streams."""
        return truth_of(self._world.at(np.asarray(time_s, dtype=np.float64)), self._world.script)

    def force_time_s(self, first: int, count: int) -> Floats:
        """Return when load-cell samples are taken, shape (count,)."""
        return self._force.time_s(first, count)

    def imu_time_s(self, first: int, count: int) -> Floats:
        """Return when IMU samples are taken, shape (count,)."""
        return self._imu.time_s(first, count)

    def force_counts(self, first: int, count: int) -> Counts:
        """Return raw counts of the load cell, shape (count, axes)."""
        return self._force.counts(first, count)

    def imu_counts(self, first: int, count: int) -> Counts:
        """Return raw counts of the IMU, shape (count, 6)."""
        return self._imu.counts(first, count)


def _within(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise PortError(f"virtual rig: {name} = {value:g} must lie between {low:g} and {high:g}")
