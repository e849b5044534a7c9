"""The line to a rig as a state machine: asking, refusing, losing it and coming back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from acquisition.clock import ManualClock
from acquisition.errors import PortError, RigError, TransportLost
from acquisition.link import RETRY_WAITS_S
from acquisition.recording.model import LinkCounts
from acquisition.session import LinkState, Session
from acquisition.transports.scripted import Line, ScriptedTransport
from firmware_protocol.codec import encode
from firmware_protocol.ends import RigEnd
from firmware_protocol.framing import encode_frame
from firmware_protocol.messages import (
    Identify,
    Identity,
    SampleBlock,
    Start,
    Status,
    Stop,
)

MakeSession = Callable[..., Session]
Run = Callable[[Session, ManualClock], None]


def frame(block: SampleBlock) -> bytes:
    return RigEnd().send(block)


def test_a_frame_in_two_halves_a_loss_and_refused_returns(
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
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
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
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


def test_silence_is_named(run: Run, make_session: MakeSession, clock: ManualClock) -> None:
    session = make_session(who=None, endless=True)

    with pytest.raises(RigError, match="heard nothing"):
        run(session, clock)

    assert clock.now_ns() == pytest.approx(5.5e9, rel=0.02)  # time for a board to boot


def test_noise_is_told_from_silence(
    run: Run, make_session: MakeSession, clock: ManualClock
) -> None:
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


def test_an_unknown_major_version_is_refused_with_both_numbers(
    run: Run, make_session: MakeSession, clock: ManualClock, identity: Identity
) -> None:
    session = make_session(who=replace(identity, protocol_major=9, protocol_minor=2))

    with pytest.raises(RigError, match=r"protocol 9\.2, this program 1\.0"):
        run(session, clock)


def test_a_newer_minor_version_is_accepted(
    run: Run,
    make_session: MakeSession,
    clock: ManualClock,
    identity: Identity,
    collector: Any,
    raw: Any,
) -> None:
    run(make_session(raw(0), who=replace(identity, protocol_minor=200)), clock)

    assert collector.numbers == [(0, 0)]


def test_a_stream_table_that_makes_no_sense_is_refused(
    run: Run, make_session: MakeSession, clock: ManualClock, identity: Identity
) -> None:
    twice = (identity.streams[0], replace(identity.streams[0], stream_id=3))

    with pytest.raises(RigError, match="two streams have the same name"):
        run(make_session(who=replace(identity, streams=twice)), clock)


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
    run: Run,
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


@pytest.mark.parametrize("change", [{"protocol_major": 2}, {"rig_serial": "RIG-02"}])
@pytest.mark.parametrize("lines", [0, 1], ids=["ready", "streaming"])
def test_a_stranger_who_names_itself_unasked_takes_over_nothing(
    make_session: MakeSession,
    clock: ManualClock,
    collector: Any,
    raw: Any,
    identity: Identity,
    change: dict[str, Any],
    lines: int,
) -> None:
    """It is asked for itself; who answers then is the rig of before, or is refused."""
    session = make_session(*[raw(0)] * lines, endless=True)
    session.connect()
    while len(collector.blocks) < lines:
        clock.advance(session.step())
    transport: Any = session._link._transport
    transport._answers = frame_of(replace(identity, **change)) + transport._answers
    transport._script.append(raw(0))

    while len(collector.blocks) < lines + 1:
        clock.advance(session.step())
    session.close()

    assert collector.numbers[-1] == (lines, 0)
    assert collector.kinds == ["lost", "resumed"] * lines
    assert collector.closed == ["complete"]
    assert isinstance(transport.heard[-1], Stop)


def test_what_was_cut_off_on_its_way_to_the_rig_does_not_spoil_stop(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(raw(0), endless=True)
    session.step()  # opens and asks
    transport: Any = session._link._transport
    transport.write(b"\x09\x03")

    while not collector.blocks:
        clock.advance(session.step())

    assert [type(message) for message in transport.heard[:3]] == [Identify, Stop, Start]


def test_a_stranger_in_the_same_read_as_the_answer_stops_nobody(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any, identity: Identity
) -> None:
    session = make_session(raw(0), endless=True)
    session.step()  # opens and asks
    transport: Any = session._link._transport
    transport._answers += frame_of(replace(identity, protocol_major=2))

    while not collector.blocks:
        clock.advance(session.step())
    session.close()

    assert collector.numbers == [(0, 0)]
    assert collector.closed == ["complete"]


def test_a_stranger_that_stays_is_refused_and_every_sink_is_closed(
    make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any, identity: Identity
) -> None:
    session = make_session(raw(0), endless=True)
    while not collector.blocks:
        clock.advance(session.step())
    transport: Any = session._link._transport
    transport._identity = replace(identity, protocol_major=2)
    transport._answers = frame_of(transport._identity)

    while "refused" not in collector.kinds:
        clock.advance(session.step())
    session.close("stopped: enough")

    assert collector.kinds == ["lost", "refused"]
    assert collector.closed == ["stopped: enough"]


def test_a_rig_that_stops_by_itself_ends_the_session_well(
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
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
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    session = make_session(raw(0), *[0.5] * 7, raw(0))

    run(session, clock)

    assert collector.kinds == ["lost", "resumed"]
    assert "nothing heard for 3 s" in collector.events[0].text
    assert collector.numbers == [(0, 0), (1, 0)]


def test_status_once_a_second_keeps_a_line_alive(
    run: Run, make_session: MakeSession, clock: ManualClock, collector: Any, raw: Any
) -> None:
    alive = [line for second in range(8) for line in (1.0, Status(second, True, 0))]

    run(make_session(raw(0), *alive, raw(20)), clock)

    assert collector.kinds == []


def test_a_stream_that_falls_silent_while_others_go_on_is_told_and_so_is_its_return(
    make_session: MakeSession,
    clock: ManualClock,
    collector: Any,
    make_raw: Any,
    identity: Identity,
) -> None:
    """Its converter has died: no number jumps, as nothing more of it comes."""
    force, imu = identity.streams
    together = [make_raw(spec, 0, 20) for spec in (force, imu)]
    alone = [make_raw(imu, first, 20) for first in range(20, 320, 20)]
    back = replace(make_raw(force, 20, 20), device_time_us=1_600_000)
    session = make_session(*together, *alone, back, alone[-1], endless=True)

    while len(collector.blocks) < 2 + len(alone):
        clock.advance(session.step())
    told = collector.kinds[:], session.health().message
    while len(collector.blocks) < 3 + len(alone):
        clock.advance(session.step())

    assert told == (["silent"], "nothing comes of force: look at its cable")
    assert "'force'" in collector.events[0].text
    assert 1_000_000 < collector.events[0].device_time_us < 1_400_000
    assert collector.kinds == ["silent", "heard"]
    assert session.health().message == ""


def test_a_rig_of_which_no_stream_brings_anything_is_told(
    make_session: MakeSession, clock: ManualClock, collector: Any
) -> None:
    statuses = [Status(second * 1_000_000, True, 0) for second in range(1, 6)]
    session = make_session(*statuses, endless=True)

    while len(collector.events) < 2:
        clock.advance(session.step())

    assert collector.kinds == ["silent", "silent"]
