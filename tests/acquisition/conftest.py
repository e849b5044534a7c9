"""A rig, what it says of itself, and blocks of it: known values for every test of acquisition."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquisition.blocks import WIRE_DTYPES, StreamBlock, stream_block
from acquisition.clock import ManualClock, SystemClock
from acquisition.recording.model import Event, LinkCounts, TrialLabel
from acquisition.recording.writer import RecordingWriter
from acquisition.rig import (
    CellDescription,
    HeadDescription,
    ImuDescription,
    ImuScales,
    RigDescription,
    RigIdentity,
    ShellDescription,
)
from acquisition.session import Session
from acquisition.sinks import SinkBase
from acquisition.transports.scripted import Line, ScriptedTransport
from acquisition.virtual_rig.device import RigDevice
from firmware_protocol.messages import (
    ChannelSpec,
    Fault,
    Identity,
    SampleBlock,
    SampleType,
    StreamSpec,
)

UNIT = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
MakeRaw = Callable[..., SampleBlock]
MakeBlock = Callable[..., StreamBlock]
MakeWriter = Callable[..., RecordingWriter]
Served = Callable[..., AbstractContextManager[str]]
LONGEST_S = 20.0
MAX_STEPS = 5000


def spec(stream_id: int, name: str, kind: SampleType, rate_hz: float, names: str) -> StreamSpec:
    bits = 15 if kind is SampleType.INT16 else 31
    channels = tuple(
        ChannelSpec(channel, "count", 1.0, -(2**bits), 2**bits - 1) for channel in names.split()
    )
    return StreamSpec(stream_id, name, kind, rate_hz, channels)


@pytest.fixture
def force_spec() -> StreamSpec:
    return spec(1, "force", SampleType.INT32, 1000.0, "fx fy fz")


@pytest.fixture
def imu_spec() -> StreamSpec:
    return spec(2, "imu", SampleType.INT16, 200.0, "ax ay az gx gy gz")


@pytest.fixture
def identity(force_spec: StreamSpec, imu_spec: StreamSpec) -> Identity:
    return Identity(1, 1, 0, "fw 0.3", "RIG-01", 7, (force_spec, imu_spec))


@pytest.fixture
def rig() -> RigDescription:
    return RigDescription(
        rig=RigIdentity(id="RIG-01", side="right"),
        cell=CellDescription(axes=3, to_humerus=UNIT, calibration_matrix=UNIT),
        imu=ImuDescription(
            to_humerus=UNIT,
            lever_m=(0.0, -0.1, 0.0),
            scales=ImuScales(accel_m_s2=0.001, gyro_rad_s=0.001),
        ),
        shell=ShellDescription(mass_kg=0.32, com_m=(0.0, -0.02, 0.01)),
        head=HeadDescription(centre_m=(0.0, 0.0, 0.0), radius_m=0.025),
    )


@pytest.fixture
def clock() -> ManualClock:
    return ManualClock()


def values(stream: StreamSpec, first: int, count: int) -> bytes:
    """Counts that tell which sample they are: number × 10 + channel, wrapped to 15 bits."""
    rows = np.arange(first, first + count)[:, None] * 10 + np.arange(len(stream.channels))
    return (rows % 2**15).astype(WIRE_DTYPES[stream.sample_type]).tobytes()


@pytest.fixture
def make_raw() -> MakeRaw:
    """A block as the wire brings it."""

    def make(stream: StreamSpec, first: int, count: int = 20) -> SampleBlock:
        step_us = 1e6 / stream.rate_hz
        return SampleBlock(
            stream_id=stream.stream_id,
            sequence=first % 2**32,
            device_time_us=round(first * step_us),
            span_us=round((count - 1) * step_us),
            sample_count=count,
            data=values(stream, first, count),
        )

    return make


@pytest.fixture
def make_block(make_raw: MakeRaw) -> MakeBlock:
    def make(
        stream: StreamSpec,
        first: int,
        count: int = 20,
        *,
        segment: int = 0,
        arrival_ns: int | None = None,
    ) -> StreamBlock:
        raw = make_raw(stream, first, count)
        came = round((first + count) * 1e9 / stream.rate_hz) if arrival_ns is None else arrival_ns
        return stream_block(raw, stream, sample_number=first, arrival_ns=came, segment=segment)

    return make


@pytest.fixture
def make_writer(
    tmp_path: Path, identity: Identity, rig: RigDescription, clock: ManualClock
) -> Iterator[MakeWriter]:
    made: list[RecordingWriter] = []

    def make(name: str = "trial.h5", **changes: object) -> RecordingWriter:
        arguments: dict[str, object] = {
            "identity": identity,
            "rig": rig,
            "target_json": '{"cone_deg": 10.0}',
            "label": TrialLabel("T07", "with_feedback", "first try"),
            "clock": clock,
            "free_bytes": lambda _: 1 << 40,
        }
        writer = RecordingWriter(tmp_path / name, **(arguments | changes))  # type: ignore[arg-type] # the tests' own mixture
        made.append(writer)
        return writer

    yield make
    for writer in made:
        writer.close("stopped: end of the test")


class Collector(SinkBase):
    """A sink that keeps all it hears."""

    def __init__(self, *, critical: bool = False) -> None:
        self.critical = critical
        self.blocks: list[StreamBlock] = []
        self.events: list[Event] = []
        self.faults: list[Fault] = []
        self.counts = LinkCounts()
        self.closed: list[str] = []

    def on_block(self, block: StreamBlock) -> None:
        self.blocks.append(block)

    def on_event(self, event: Event) -> None:
        self.events.append(event)

    def on_fault(self, fault: Fault) -> None:
        self.faults.append(fault)

    def on_step(self, counts: LinkCounts) -> None:
        self.counts = counts

    def close(self, status: str) -> None:
        self.closed.append(status)

    @property
    def kinds(self) -> list[str]:
        return [event.kind for event in self.events]

    @property
    def numbers(self) -> list[tuple[int, int]]:
        return [(block.segment, block.sample_number) for block in self.blocks]


@pytest.fixture
def collector() -> Collector:
    return Collector()


@pytest.fixture
def make_collector() -> Callable[..., Collector]:
    return Collector


@pytest.fixture
def raw(make_raw: MakeRaw, force_spec: StreamSpec) -> MakeRaw:
    """A block of the force stream."""
    return partial(make_raw, force_spec)


@pytest.fixture
def make_session(
    identity: Identity, clock: ManualClock, collector: Collector
) -> Callable[..., Session]:
    """A session on a scripted line."""

    def make(*script: Line, who: Identity | None = identity, **options: Any) -> Session:
        patience_s = options.pop("patience_s", None)
        transport = ScriptedTransport(who, script, clock=clock, **options)
        session = Session(transport, clock=clock, patience_s=patience_s)
        session.add_sink(collector)
        return session

    return make


@pytest.fixture(scope="session")
def run() -> Callable[[Session, ManualClock], None]:
    """Step to the end; the clock goes on by what each step asks to wait."""

    def run_to_the_end(session: Session, clock: ManualClock) -> None:
        for _ in range(MAX_STEPS):
            if session.state.ended:
                return
            clock.advance(session.step())
        pytest.fail(f"still {session.state} after {MAX_STEPS} steps")

    return run_to_the_end


@contextmanager
def _served(
    serve: Callable[..., None], device: Callable[[], RigDevice], **options: object
) -> Iterator[str]:
    stop, listening = threading.Event(), threading.Event()
    address: list[str] = []

    def report(url: str) -> None:
        address.append(url)
        listening.set()

    thread = threading.Thread(
        target=serve,
        args=(device,),
        kwargs={"clock": SystemClock(), "stop": stop, "on_address": report, **options},
    )
    thread.start()
    try:
        assert listening.wait(LONGEST_S)
        yield address[0]
    finally:
        stop.set()
        thread.join(LONGEST_S)
    assert not thread.is_alive()


@pytest.fixture(scope="session")
def served() -> Served:
    """A rig at the far end of a real line, by its URL; leaving pulls it out."""
    return _served
