"""A session with a scripted line and a clock that goes only when told to."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from acquisition.clock import ManualClock
from acquisition.errors import AcquisitionError, PortError, RigError, TransportLost
from acquisition.link import RETRY_WAITS_S
from acquisition.recording.model import LinkCounts
from acquisition.session import LinkState, Session
from acquisition.transports.scripted import Line, ScriptedTransport
from firmware_protocol.codec import encode
from firmware_protocol.ends import RigEnd
from firmware_protocol.framing import encode_frame
from firmware_protocol.messages import (
    Fault,
    FaultCode,
    Identify,
    Identity,
    SampleBlock,
    Start,
    Status,
    Stop,
    StreamSpec,
)

MakeSession = Callable[..., Session]
MAX_STEPS = 5000


@pytest.fixture
def raw(make_raw: Any, force_spec: StreamSpec) -> Callable[..., SampleBlock]:
    def make(first: int, count: int = 20) -> SampleBlock:
        block: SampleBlock = make_raw(force_spec, first, count)
        return block

    return make


@pytest.fixture
def make_session(identity: Identity, clock: ManualClock, collector: Any) -> MakeSession:
    def make(*script: Line, who: Identity | None = identity, **options: Any) -> Session:
        patience_s = options.pop("patience_s", None)
        transport = ScriptedTransport(who, script, clock=clock, **options)
        session = Session(transport, clock=clock, patience_s=patience_s)
        session.add_sink(collector)
        return session

    return make


def run(session: Session, clock: ManualClock) -> None:
    """Step to the end; the clock goes on by what each step asks to wait."""
    for _ in range(MAX_STEPS):
        if session.state.ended:
            return
        clock.advance(session.step())
    pytest.fail(f"still {session.state} after {MAX_STEPS} steps")


def frame(block: SampleBlock) -> bytes:
    return RigEnd().send(block)


def test_blocks_reach_the_sinks_and_the_end_of_the_source_ends_the_session(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any, identity: Identity
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


def test_a_frame_in_two_halves_a_loss_and_refused_returns(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    """The whole story of an unplugged cable, with the waits summed by the clock."""
    whole = frame(raw(0))
    refused = [PortError("not there")] * 3
    session = make_session(
        whole[:9], whole[9:], TransportLost("unplugged"), raw(0), raw(20), opens=[None, *refused]
    )

    run(session, clock)

    assert collector.numbers == [(0, 0), (1, 0), (1, 20)]
    assert collector.kinds == ["lost", "resumed"]
    lost, resumed = collector.events
    assert lost.text == "unplugged"
    waited_s = (resumed.arrival_ns - lost.arrival_ns) / 1e9
    assert waited_s == pytest.approx(sum(RETRY_WAITS_S[:4]), abs=1e-6)
    assert collector.counts == LinkCounts(frames=9)  # twice 3 answers, 3 blocks


def test_waits_between_attempts_are_bounded(
    make_session: MakeSession, clock: ManualClock, raw: Any
) -> None:
    session = make_session(
        raw(0), TransportLost("gone"), raw(0), opens=[None, *[PortError("not there")] * 30]
    )
    waits = []

    while not session.state.ended:
        waits.append(session.step())
        clock.advance(waits[-1])

    assert max(waits) == RETRY_WAITS_S[-1]
    assert waits.count(RETRY_WAITS_S[-1]) > 20


def test_a_line_that_stays_away_ends_the_session_when_patience_is_over(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(
        raw(0),
        TransportLost("gone"),
        opens=[None, *[PortError("not there")] * 100],
        patience_s=30.0,
        endless=True,
    )

    with pytest.raises(TransportLost, match=r"not back within 30 s \(not there\)"):
        run(session, clock)

    assert session.state is LinkState.CLOSED
    assert collector.closed == ["stopped: scripted:: not back within 30 s (not there)"]


def test_a_port_that_cannot_be_opened_at_first_ends_the_session(make_session: MakeSession) -> None:
    session = make_session(opens=[PortError("serial:X: no permission")])

    with pytest.raises(PortError, match="no permission"):
        session.step()

    assert session.state is LinkState.CLOSED


def test_silence_is_named(make_session: MakeSession, clock: ManualClock) -> None:
    session = make_session(who=None, endless=True)

    with pytest.raises(RigError, match="heard nothing"):
        run(session, clock)

    assert clock.now_ns() == pytest.approx(5.5e9, rel=0.02)  # time for a board to boot


def test_noise_is_told_from_silence(make_session: MakeSession, clock: ManualClock) -> None:
    session = make_session(*[b"\xff\x13"] * 50, who=None, endless=True)

    with pytest.raises(RigError, match="heard 100 bytes but no answer"):
        run(session, clock)


def test_a_question_lost_on_the_line_is_asked_again(
    identity: Identity, clock: ManualClock, raw: Any
) -> None:
    class LosesTheFirstQuestion(ScriptedTransport):
        def write(self, data: bytes) -> None:
            if self.heard or clock.now_ns() > 0:
                super().write(data)

    transport = LosesTheFirstQuestion(identity, [raw(0)], clock=clock)
    session = Session(transport, clock=clock)

    found = session.connect()

    assert found.rig_serial == "RIG-01"
    assert [type(message) for message in transport.heard] == [Identify, Stop, Start]


def test_connecting_stops_before_the_first_sample(
    make_session: MakeSession, clock: ManualClock, make_collector: Any, raw: Any
) -> None:
    session = make_session(raw(0))

    session.connect()
    late = make_collector()
    session.add_sink(late)
    run(session, clock)

    assert late.numbers == [(0, 0)]


def test_an_unknown_major_version_is_refused_with_both_numbers(
    make_session: MakeSession, clock: ManualClock, identity: Identity
) -> None:
    session = make_session(who=replace(identity, protocol_major=9, protocol_minor=2))

    with pytest.raises(RigError, match=r"protocol 9\.2, this program 1\.0"):
        run(session, clock)


def test_a_newer_minor_version_is_accepted(
    make_session: MakeSession, clock: ManualClock, identity: Identity, collector: Any, raw: Any
) -> None:
    run(make_session(raw(0), who=replace(identity, protocol_minor=200)), clock)

    assert collector.numbers == [(0, 0)]


def test_a_stream_table_that_makes_no_sense_is_refused(
    make_session: MakeSession, clock: ManualClock, identity: Identity
) -> None:
    twice = (identity.streams[0], replace(identity.streams[0], stream_id=3))

    with pytest.raises(RigError, match="two streams have the same name"):
        run(make_session(who=replace(identity, streams=twice)), clock)


def test_lost_and_repeated_samples_are_counted(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(raw(40), raw(60), raw(60), raw(100, 5), raw(105, 1))

    run(session, clock)

    assert collector.numbers == [(0, 40), (0, 60), (0, 100), (0, 105)]
    assert collector.counts.lost_samples == 40 + 20
    assert collector.counts.repeated_samples == 20


def test_damage_on_the_line_costs_its_frame_and_nothing_else(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    damaged = bytearray(frame(raw(20)))
    damaged[7] ^= 0x40
    session = make_session(raw(0), bytes(damaged), raw(40))

    run(session, clock)

    assert collector.numbers == [(0, 0), (0, 40)]
    assert collector.counts.bad_frames == 1
    assert collector.counts.lost_samples == 20


def test_whole_frames_that_make_no_sense_are_counted_not_recorded(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
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


def test_another_rig_is_refused_until_the_right_one_is_back(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any, identity: Identity
) -> None:
    session = make_session(raw(0), TransportLost("unplugged"), raw(0), endless=True)
    while not collector.blocks:
        clock.advance(session.step())
    transport: Any = session._link._transport
    transport._identity = replace(identity, rig_serial="RIG-02")
    while "refused" not in collector.kinds:
        clock.advance(session.step())
    assert session.state is LinkState.LOST
    assert "'RIG-02' instead of 'RIG-01'" in session.health().message

    transport._identity = identity
    while len(collector.blocks) < 2:
        clock.advance(session.step())

    assert collector.numbers == [(0, 0), (1, 0)]
    assert collector.kinds == ["lost", "refused", "resumed"]


@pytest.mark.parametrize("sign", ["identity", "status", "block's clock", "status' clock"])
def test_a_rig_that_restarts_on_an_open_line_opens_a_new_segment(
    make_session: MakeSession,
    clock: ManualClock,
    collector: Any,
    raw: Any,
    identity: Identity,
    sign: str,
) -> None:
    anew = replace(identity, boot_count=8)
    signs: dict[str, list[Line]] = {
        "identity": [anew, frame_of(anew)],
        "status": [anew, Status(5, False, 0)],
        "block's clock": [anew, replace(raw(1020), device_time_us=9)],
        "status' clock": [Status(900_000, True, 0), anew, Status(7, True, 0)],
    }
    session = make_session(raw(1000), *signs[sign], raw(0), raw(20))

    run(session, clock)

    assert collector.numbers == [(0, 1000), (1, 0), (1, 20)]
    assert collector.kinds == ["lost", "resumed"]
    assert "it has restarted: zero it again" in collector.events[1].text


def test_a_rig_that_stops_by_itself_ends_the_session_well(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(raw(0), Status(5, False, 0), raw(20), endless=True)

    run(session, clock)

    assert session.state is LinkState.FINISHED
    assert collector.kinds == ["ended"]
    assert collector.closed == ["complete"]


def test_a_rig_that_says_nothing_after_stopping_is_lost_not_refused(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(raw(0), endless=True)
    while not collector.blocks:
        clock.advance(session.step())
    transport: Any = session._link._transport
    transport._script.append(Status(5, False, 0))
    transport._identity = None

    while not collector.kinds:
        clock.advance(session.step())

    assert session.state is LinkState.LOST
    assert collector.kinds == ["lost"]
    assert "heard nothing" in collector.events[0].text


def frame_of(identity: Identity) -> bytes:
    return encode_frame(encode(identity))


def test_a_line_gone_silent_is_taken_for_dead(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(raw(0), *[0.5] * 7, raw(0))

    run(session, clock)

    assert collector.kinds == ["lost", "resumed"]
    assert "nothing heard for 3 s" in collector.events[0].text
    assert collector.numbers == [(0, 0), (1, 0)]


def test_status_once_a_second_keeps_a_line_alive(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    alive = [line for second in range(8) for line in (1.0, Status(second, True, 0))]

    run(make_session(raw(0), *alive, raw(20)), clock)

    assert collector.kinds == []


def test_samples_the_rig_dropped_are_counted_from_its_status(
    make_session: MakeSession, clock: ManualClock, collector: Any
) -> None:
    run(make_session(Status(1, True, 100), Status(2, True, 130), Status(3, True, 131)), clock)

    assert collector.counts.rig_overrun_samples == 31


def test_faults_of_the_rig_reach_the_sinks(
    make_session: MakeSession, clock: ManualClock, collector: Any
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
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session, broken = make_session(raw(0), raw(20)), Broken(critical=True)
    session.add_sink(broken)

    with pytest.raises(AcquisitionError, match="disk full"):
        run(session, clock)

    assert session.state is LinkState.CLOSED
    assert collector.closed == ["stopped: disk full"]
    assert broken.closed == "stopped: disk full"


def test_a_sink_may_leave_and_is_told_the_accounts_first(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
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
