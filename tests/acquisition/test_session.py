"""A session with a scripted line: what reaches the sinks, what is counted, how it ends."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from acquisition.clock import ManualClock
from acquisition.errors import AcquisitionError
from acquisition.session import LinkState, Session
from firmware_protocol.ends import RigEnd
from firmware_protocol.framing import encode_frame
from firmware_protocol.messages import (
    Fault,
    FaultCode,
    Identity,
    SampleBlock,
    Status,
    Stop,
)

MakeSession = Callable[..., Session]
Run = Callable[[Session, ManualClock], None]


def frame(block: SampleBlock) -> bytes:
    return RigEnd().send(block)


def test_blocks_reach_the_sinks_and_the_end_of_the_source_ends_the_session(
    run: Run,
    make_session: MakeSession,
    clock: ManualClock,
    collector: Any,
    raw: Any,
    identity: Identity,
) -> None:
    session = make_session(raw(0), raw(20))

    run(session, clock)

    assert session.state is LinkState.FINISHED
    assert session.identity is not None
    assert session.identity.rig_serial == identity.rig_serial
    assert collector.numbers == [(0, 0), (0, 20)]
    assert [*collector.blocks[1].wire_blocks()] == [raw(20)]
    assert collector.closed == ["complete"]
    assert collector.counts.lost_samples == 0


def test_connecting_stops_before_the_first_sample(
    run: Run, make_session: MakeSession, clock: ManualClock, make_collector: Any, raw: Any
) -> None:
    session = make_session(raw(0))

    session.connect()
    late = make_collector()
    session.add_sink(late)
    run(session, clock)

    assert late.numbers == [(0, 0)]


def test_lost_and_repeated_samples_are_counted(
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(raw(40), raw(60), raw(60), raw(100, 5), raw(105, 1))

    run(session, clock)

    assert collector.numbers == [(0, 40), (0, 60), (0, 100), (0, 105)]
    assert collector.counts.lost_samples == 40 + 20
    assert collector.counts.repeated_samples == 20


def test_damage_on_the_line_costs_its_frame_and_nothing_else(
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    damaged = bytearray(frame(raw(20)))
    damaged[7] ^= 0x40
    session = make_session(raw(0), bytes(damaged), raw(40))

    run(session, clock)

    assert collector.numbers == [(0, 0), (0, 40)]
    assert collector.counts.bad_frames == 1
    assert collector.counts.lost_samples == 20


def test_whole_frames_that_make_no_sense_are_counted_not_recorded(
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    good = raw(0)
    session = make_session(
        encode_frame(b"\xee nobody knows this"),
        replace(good, stream_id=77),
        replace(good, data=good.data[:-20]),  # 20 samples of a channel too few
        replace(good, device_time_us=2**64 - 1),
        good,
    )

    run(session, clock)

    assert collector.numbers == [(0, 0)]
    assert collector.counts.unknown_messages == 4


def test_samples_the_rig_dropped_are_counted_from_its_status(
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any
) -> None:
    run(make_session(Status(1, True, 100), Status(2, True, 130), Status(3, True, 131)), clock)

    assert collector.counts.rig_overrun_samples == 31


def test_faults_of_the_rig_reach_the_sinks(
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any
) -> None:
    fault = Fault(77, FaultCode.BRIDGE_OPEN, 1, "fx")

    run(make_session(fault), clock)

    assert collector.faults == [fault]


def test_marks_carry_the_rig_s_time(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(raw(0), raw(20), endless=True)
    while len(collector.blocks) < 2:
        clock.advance(session.step())

    event = session.mark("zero", "hand off")
    session.step()

    assert collector.events == [event]
    assert event.device_time_us == 39_000


@pytest.mark.parametrize("kind", ["", "Zero", "two words", "x" * 25])
def test_a_mark_needs_a_plain_word(make_session: MakeSession, kind: str) -> None:
    with pytest.raises(ValueError, match="lower-case word"):
        make_session().mark(kind, "")


@pytest.mark.parametrize("text", ["x" * 1001, "a\0b"])
def test_a_mark_too_long_for_a_recording_is_refused(make_session: MakeSession, text: str) -> None:
    with pytest.raises(ValueError, match="1000 bytes"):
        make_session().mark("note", text)


class Broken:
    """A sink that cannot take a block."""

    def __init__(self, *, critical: bool) -> None:
        self.critical = critical
        self.closed = ""

    def on_block(self, _block: object) -> None:
        raise AcquisitionError("disk full")

    def on_event(self, event: object) -> None: ...

    def on_fault(self, fault: object) -> None: ...

    def on_sync(self, exchange: object) -> None: ...

    def on_step(self, counts: object) -> None: ...

    def close(self, status: str) -> None:
        self.closed = status


def test_an_ordinary_sink_that_fails_is_taken_off_and_reported(
    run: Run,
    make_session: MakeSession,
    clock: ManualClock,
    collector: Any,
    raw: Any,
    caplog: pytest.LogCaptureFixture,
) -> None:
    session, broken = make_session(raw(0), raw(20)), Broken(critical=False)
    session.add_sink(broken)

    with caplog.at_level(logging.WARNING):
        run(session, clock)

    assert collector.numbers == [(0, 0), (0, 20)]
    assert collector.kinds == ["sink_failed"]
    assert "disk full" in collector.events[0].text
    assert broken.closed == "stopped: disk full"


def test_a_critical_sink_that_fails_ends_the_session_loudly(
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session, broken = make_session(raw(0), raw(20)), Broken(critical=True)
    session.add_sink(broken)

    with pytest.raises(AcquisitionError, match="disk full"):
        run(session, clock)

    assert session.state is LinkState.CLOSED
    assert collector.closed == ["stopped: disk full"]
    assert broken.closed == "stopped: disk full"


def test_a_sink_may_leave_and_is_told_the_accounts_first(
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(raw(0), raw(60), raw(80))
    while not collector.blocks:
        clock.advance(session.step())
    session.step()
    mark = session.mark("mark", "now")

    session.remove_sink(collector)
    run(session, clock)

    assert collector.numbers == [(0, 0), (0, 60)]
    assert collector.events == [mark]
    assert collector.counts.lost_samples == 40
    assert collector.closed == []


def test_asking_for_the_end_ends_it_well(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(raw(0), endless=True)
    while not collector.blocks:
        clock.advance(session.step())

    session.finish()
    session.step()

    assert session.state is LinkState.FINISHED
    assert collector.closed == ["complete"]
    assert isinstance(session._link._transport.heard[-1], Stop)  # type: ignore[attr-defined] # the script's


def test_closing_twice_closes_sinks_once(make_session: MakeSession, collector: Any) -> None:
    session = make_session()

    session.close("stopped: no more time")
    session.close()

    assert collector.closed == ["stopped: no more time"]


def test_health_tells_age_rate_and_state(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(*(raw(first) for first in range(0, 2020, 20)), endless=True)
    assert session.health().state is LinkState.CONNECTING
    while len(collector.blocks) < 101:
        clock.advance(session.step())
    clock.advance(0.25)

    health = session.health()

    assert health.state is LinkState.STREAMING
    assert health.rates_hz == {"force": pytest.approx(1000.0)}
    assert health.last_block_age_s == pytest.approx(0.25)
    assert health.port_name == "scripted:"
    assert health.message == ""
    assert health.segment == 0
