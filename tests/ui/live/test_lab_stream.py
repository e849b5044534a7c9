"""What other programs of a lab get: the resolved push, stamped when it happened."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from acquisition.blocks import StreamBlock, stream_block
from acquisition.clock import SystemClock
from acquisition.clock_fit import SyncExchange
from acquisition.recording.model import LinkCounts
from acquisition.session import Session
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort
from analysis.live_chain import LiveChain
from analysis.target import Target
from firmware_protocol.messages import SampleBlock
from ui.live.lab_stream import CHANNELS, LabStream, values_of

BOOT_NS = 50_000_000_000
BLOCK = 20


class Kept:
    """An outlet that keeps what it gets."""

    def __init__(self) -> None:
        self.fs_hz = 0.0
        self.values: list[Any] = []
        self.host_ns: list[Any] = []
        self.closed = False

    def opened(self, fs_hz: float) -> Kept:
        self.fs_hz = fs_hz
        return self

    def push(self, values: Any, host_ns: Any) -> None:
        self.values.append(values)
        self.host_ns.append(host_ns)

    def close(self) -> None:
        self.closed = True


class Rig:
    """The virtual rig's samples as blocks that come late by what is wanted."""

    def __init__(self) -> None:
        port = VirtualPort.from_url(parse_url("virtual:?trainee=T03&seed=7"))
        self.virtual = port.virtual_rig
        self.identity = Session(port, clock=SystemClock()).connect()
        port.close()
        self.specs = {spec.name: spec for spec in self.identity.streams}

    def block(self, name: str, first: int, late_s: float, segment: int = 0) -> StreamBlock:
        spec = self.specs[name]
        counts = {"force": self.virtual.force_counts, "imu": self.virtual.imu_counts}[name]
        step_us = 1e6 / spec.rate_hz
        begin_us, span_us = round(first * step_us), round((BLOCK - 1) * step_us)
        kind = "<i2" if spec.sample_type == 1 else "<i4"
        data = counts(first, BLOCK).astype(kind).tobytes()
        raw = SampleBlock(spec.stream_id, first, begin_us, span_us, BLOCK, data)
        came = BOOT_NS + (begin_us + span_us) * 1000 + round(late_s * 1e9)
        return stream_block(raw, spec, sample_number=first, arrival_ns=came, segment=segment)

    def feed(self, sink: LabStream, seconds: float, *, syncs: bool, segment: int = 0) -> None:
        chance = np.random.default_rng(3)
        for first in range(0, round(seconds * 1000), BLOCK):
            for name in ("force", "imu"):
                if first * self.specs[name].rate_hz % (BLOCK * 1000) == 0:
                    place = round(first * self.specs[name].rate_hz / 1000)
                    late_s = 0.010 + chance.exponential(0.030)
                    sink.on_block(self.block(name, place, late_s, segment))
            if syncs and first % 1000 == 0:
                now_us, now_ns = first * 1000, BOOT_NS + first * 1_000_000
                one = (now_ns - 800_000, now_us, now_us, now_ns + 800_000)
                sink.on_sync(SyncExchange(*one, segment=segment))
            sink.on_step(LinkCounts())


@pytest.fixture(scope="module")
def rig() -> Rig:
    return Rig()


@pytest.fixture
def kept() -> Kept:
    return Kept()


@pytest.fixture
def sink(rig: Rig, kept: Kept) -> LabStream:
    return LabStream(rig.virtual.rig, rig.identity, Target(), kept.opened)


def test_stamps_tell_when_it_happened_not_when_it_came(
    rig: Rig, sink: LabStream, kept: Kept
) -> None:
    rig.feed(sink, 8.0, syncs=True)

    stamps = np.concatenate(kept.host_ns)
    device_s = (stamps - BOOT_NS) * 1e-9
    assert kept.fs_hz == 1000.0
    assert np.diff(device_s) == pytest.approx(1e-3, abs=1e-6)
    assert device_s[0] == pytest.approx(0.0, abs=1e-6)  # kept until the clock was known
    assert len(stamps) > 7500


def test_values_are_those_of_the_live_chain(rig: Rig, sink: LabStream, kept: Kept) -> None:
    rig.feed(sink, 8.0, syncs=True)
    values = np.concatenate(kept.values)
    chain = LiveChain(rig.virtual.rig, rig.identity, Target())
    for first in range(0, 8000, BLOCK):
        for name in ("force", "imu"):
            if first * rig.specs[name].rate_hz % (BLOCK * 1000) == 0:
                one = rig.block(name, round(first * rig.specs[name].rate_hz / 1000), 0.0)
                chain.feed(name, one.device_time_us, one.counts)
    series = chain.take()
    assert series is not None

    assert values.shape[1] == len(CHANNELS)
    np.testing.assert_allclose(values, values_of(series)[: len(values)], rtol=1e-9, atol=1e-9)
    valid = values[:, 6] == 1
    assert valid.sum() > 500
    assert np.isfinite(values[valid]).all()
    assert np.isnan(values[~valid][:, :3]).all()
    truth = rig.virtual.truth(series.time_s[valid.nonzero()[0][-200:]])
    told_n = values[valid][-200:, 4]
    assert told_n == pytest.approx(np.linalg.norm(truth.force_n, axis=1), abs=0.5)


def test_without_answers_about_the_clock_arrival_has_to_do(
    rig: Rig, sink: LabStream, kept: Kept
) -> None:
    rig.feed(sink, 6.0, syncs=False)

    late_s = (np.concatenate(kept.host_ns)[-1] - BOOT_NS) * 1e-9 - 6.0
    assert kept.values
    assert -0.05 < late_s < 0.02  # the filter's delay back, the least delay of a block forth


def test_behind_a_lost_line_it_begins_anew_and_never_goes_back(
    rig: Rig, sink: LabStream, kept: Kept
) -> None:
    rig.feed(sink, 4.0, syncs=True)
    before = sum(map(len, kept.values))

    rig.feed(sink, 4.0, syncs=True, segment=1)

    assert sum(map(len, kept.values)) > before + 3000
    assert (np.diff(np.concatenate(kept.host_ns)) >= 0).all()


def test_the_outlet_goes_with_the_session(sink: LabStream, kept: Kept) -> None:
    sink.close("complete")

    assert kept.closed
