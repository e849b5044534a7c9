"""The rig's end in C, heard by the host's end in Python: commands, blocks, time, faults."""

from __future__ import annotations

import struct
from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firmware_protocol import messages as m
from firmware_protocol.codec import Malformed, encode
from firmware_protocol.ends import HostEnd
from firmware_protocol.framing import FrameFault, encode_frame
from firmware_protocol.messages import FaultCode, Message, Outcome

Ask = Callable[[str], str]
FORCE, IMU = 0, 1
MAX_TICK = 2**32


class Rig:
    """A rig in C whose clock, sensors and line the test holds; times are since power-up."""

    def __init__(self, ask: Ask, tick: int = 0) -> None:
        self._ask = ask
        self._end = HostEnd()
        self._tick = tick
        ask("room 4294967295")
        ask("test")
        ask("store 900")
        ask("flash 0")
        ask("dead 2")
        assert ask(f"power {tick}") == "up."
        self.line(b"")

    def line(self, data: bytes) -> list[Message]:
        """Give bytes and poll; return what was said, none of it damaged."""
        said = self._end.receive(bytes.fromhex(self._ask(f"host {data.hex()}").rstrip(".")))
        assert not [item for item in said if isinstance(item, FrameFault | Malformed)]
        return [item for item in said if not isinstance(item, FrameFault | Malformed)]

    def tell(self, *messages: Message) -> list[Message]:
        return self.line(b"".join(encode_frame(encode(message)) for message in messages))

    def at(self, us: int) -> list[Message]:
        self._ask(f"tick {(self._tick + us) % MAX_TICK}")
        return self.line(b"")

    def sample(
        self, us: int, stream: int = FORCE, *, counts: int = 0, dropped: int = 0, opened: int = 0
    ) -> None:
        values = " ".join([str(counts)] * (3 if stream == FORCE else 6))
        tick = (self._tick + us) % MAX_TICK
        self._ask(f"sample {stream} {tick} {dropped} {opened} {values}")

    def room(self, size: int) -> None:
        self._ask(f"room {size}")

    def order(self, text: str) -> str:
        return self._ask(text).rstrip(".")

    def stream_ms(self, first_ms: int, count: int) -> list[Message]:
        """Take *count* force samples, one a millisecond, polling after each."""
        said: list[Message] = []
        for ms in range(first_ms, first_ms + count):
            self.sample(ms * 1000)
            said += self.at(ms * 1000 + 7)
        return said


@pytest.fixture
def rig(rig_ask: Ask) -> Rig:
    return Rig(rig_ask)


def blocks(said: list[Message], stream_id: int = 1) -> list[m.SampleBlock]:
    return [x for x in said if isinstance(x, m.SampleBlock) and x.stream_id == stream_id]


def faults(said: list[Message]) -> list[tuple[FaultCode, int, int]]:
    return [(x.code, x.stream_id, x.device_time_us) for x in said if isinstance(x, m.Fault)]


def outcome(said: list[Message], request_id: int) -> Outcome:
    (reply,) = said
    assert isinstance(reply, m.Reply)
    assert reply.request_id == request_id
    return reply.outcome


def test_it_says_who_it_is_with_its_stream_table(rig: Rig) -> None:
    (identity,) = rig.tell(m.Identify(9))

    assert isinstance(identity, m.Identity)
    assert (identity.request_id, identity.protocol_major, identity.protocol_minor) == (9, 1, 0)
    assert (identity.rig_serial, identity.boot_count) == ("D00", 7)
    assert [(s.name, s.rate_hz, len(s.channels)) for s in identity.streams] == [
        ("force", 1000.0, 3),
        ("imu", 500.0, 6),
    ]


def test_start_replies_first_and_counts_anew(rig: Rig) -> None:
    assert outcome(rig.tell(m.Start(1)), 1) is Outcome.DONE
    first = rig.stream_ms(1, 25)
    assert [(b.sequence, b.sample_count) for b in blocks(first)] == [(0, 10), (10, 10)]

    said = rig.tell(m.Start(2))

    assert [type(x) for x in said] == [m.SampleBlock, m.Reply]  # what was taken, then the reply
    assert blocks(rig.stream_ms(30, 10))[0].sequence == 0


def test_stop_sends_what_was_taken_before_its_reply_and_nothing_after(rig: Rig) -> None:
    rig.tell(m.Start(1))
    rig.stream_ms(1, 4)

    said = rig.tell(m.Stop(2))

    assert [type(x) for x in said] == [m.SampleBlock, m.Reply]
    assert blocks(said)[0].sample_count == 4
    assert rig.stream_ms(5, 20) == []


def test_samples_come_as_the_converter_gave_them_with_their_own_times(rig: Rig) -> None:
    rig.tell(m.Start(1))
    for at_us, counts in ((1003, -8388607), (2001, 8388606), (2999, -1)):
        rig.sample(at_us, counts=counts)
    rig.at(5000)

    (block,) = blocks(rig.tell(m.Stop(2)))

    assert (block.device_time_us, block.span_us) == (1003, 1996)
    assert struct.unpack("<9i", block.data)[::3] == (-8388607, 8388606, -1)


@pytest.mark.parametrize("before_us", [5, 4_000, 1_500_000])
def test_time_goes_on_across_a_wrap_of_the_tick(rig_ask: Ask, before_us: int) -> None:
    rig = Rig(rig_ask, tick=MAX_TICK - before_us)
    rig.tell(m.Start(1))

    said = rig.stream_ms(1, 2000)

    times = [b.device_time_us for b in blocks(said)]
    assert times == [1000 + 10_000 * i for i in range(200)]
    assert {b.span_us for b in blocks(said)} == {9000}
    status = [x.device_time_us for x in said if isinstance(x, m.Status)]
    assert status == [1_000_007, 2_000_007]


def test_hours_are_counted_over_many_wraps(rig: Rig) -> None:
    for quarter in range(1, 41):
        rig.at(quarter * 2**30)

    (pong,) = rig.tell(m.Ping(3, 2**64 - 1))

    assert pong == m.Pong(3, 2**64 - 1, 40 * 2**30, 40 * 2**30)


def test_a_pong_has_the_time_at_which_its_first_byte_went_to_the_line(rig: Rig) -> None:
    rig.room(0)
    rig.at(1000)
    assert rig.tell(m.Ping(3, 7)) == []
    rig.at(3000)
    rig.room(5)
    assert rig.at(4000) == []
    rig.room(MAX_TICK - 1)

    assert rig.at(9000) == [m.Pong(3, 7, 1000, 4000)]


def test_a_pong_goes_ahead_of_blocks_that_wait_but_not_into_a_frame(rig: Rig) -> None:
    rig.tell(m.Start(1))
    rig.room(100)
    first = rig.stream_ms(1, 30)  # three blocks, the first half sent
    rig.tell(m.Ping(3, 7))
    rig.room(MAX_TICK - 1)
    said = rig.at(40_000)

    assert first == []
    assert [type(x) for x in said] == [m.SampleBlock, m.Pong, m.SampleBlock, m.SampleBlock]
    assert [b.sequence for b in blocks(said)] == [0, 10, 20]
    assert said[1] == m.Pong(3, 7, 30_007, 40_000)


def test_of_pings_that_wait_the_latest_is_answered(rig: Rig) -> None:
    rig.room(0)
    rig.tell(m.Ping(3, 7), m.Ping(4, 8))
    rig.room(MAX_TICK - 1)

    assert rig.at(500) == [m.Pong(4, 8, 0, 500)]


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    steps=st.lists(
        st.tuples(st.booleans(), st.sampled_from([0, 1, 7, 31, 32, 33, 150, 5000])), max_size=60
    )
)
def test_pongs_spoil_nothing_however_slowly_the_line_takes(
    rig_ask: Ask, steps: list[tuple[bool, int]]
) -> None:
    rig = Rig(rig_ask)
    rig.tell(m.Start(1))
    said: list[Message] = []
    asked: dict[int, int] = {}
    for number, (ping, room) in enumerate(steps, 1):
        rig.room(0)
        said += rig.stream_ms(7 * number, 7)
        now_us = 7007 + 7000 * number - 1000
        if ping:
            asked[number] = now_us
            said += rig.tell(m.Ping(number, number))
        rig.room(room)
        said += rig.at(now_us + 1)
    rig.room(MAX_TICK - 1)
    said += rig.at(1_000_000)

    numbers = [b.sequence for b in blocks(said)]
    assert numbers == sorted(set(numbers))
    assert all(b.sequence % 10 == 0 for b in blocks(said))
    pongs = [x for x in said if isinstance(x, m.Pong)]
    assert [p.request_id for p in pongs][-1:] == list(asked)[-1:]
    for pong in pongs:
        assert pong.received_us == asked[pong.request_id] < pong.sent_us


def test_a_status_comes_every_second_streaming_or_not(rig: Rig) -> None:
    idle = [x for ms in range(1, 3001) if ms % 5 == 0 for x in rig.at(ms * 1000)]
    rig.tell(m.Start(1))
    busy = rig.at(4_000_000)

    assert idle == [m.Status(s * 1_000_000, False, 0) for s in (1, 2, 3)]
    assert m.Status(4_000_000, True, 0) in busy


def test_what_the_line_does_not_take_is_counted_told_once_and_numbered(rig: Rig) -> None:
    rig.tell(m.Start(1))
    rig.room(0)
    assert rig.stream_ms(1, 600) == []
    rig.room(MAX_TICK - 1)

    said = rig.stream_ms(601, 500)

    numbers = [(b.sequence, b.sample_count) for b in blocks(said)]
    held = sum(count for number, count in numbers if number < 600)
    lost = 600 - held
    (status,) = [x for x in said if isinstance(x, m.Status)]
    assert 0 < held < 600
    assert status.overrun_samples == lost
    assert [code for code, _, _ in faults(said)].count(FaultCode.BUFFER_OVERRUN) == 1
    gaps = [b - a - n for (a, n), (b, _) in pairwise(numbers)]
    assert sum(gaps) == lost
    assert outcome(rig.tell(m.RestartCounters(5)), 5) is Outcome.DONE
    assert m.Status(2_000_000, True, 0) in rig.at(2_000_000)


def test_answers_find_room_while_blocks_wait(rig: Rig) -> None:
    rig.tell(m.Start(1))
    rig.room(0)
    rig.stream_ms(1, 600)
    rig.tell(m.Identify(8))
    rig.room(MAX_TICK - 1)

    assert [x.request_id for x in rig.at(601_000) if isinstance(x, m.Identity)] == [8]


def test_samples_the_port_dropped_split_the_block_and_are_numbered(rig: Rig) -> None:
    rig.tell(m.Start(1))
    rig.stream_ms(1, 4)
    rig.sample(12_000, dropped=7)
    said = rig.at(12_001)
    said += rig.tell(m.Stop(2))

    assert [(b.sequence, b.sample_count) for b in blocks(said)] == [(0, 4), (11, 1)]
    assert faults(said) == [(FaultCode.BUFFER_OVERRUN, 1, 12_001)]


@pytest.mark.parametrize(
    ("what", "code"),
    [
        ({"counts": 8388607}, FaultCode.CONVERTER_SATURATED),
        ({"counts": -8388608}, FaultCode.CONVERTER_SATURATED),
        ({"opened": 1}, FaultCode.BRIDGE_OPEN),
    ],
)
def test_a_fault_is_told_when_it_begins_and_again_only_after_a_pause(
    rig: Rig, what: dict[str, int], code: FaultCode
) -> None:
    rig.tell(m.Start(1))
    said: list[Message] = []
    for ms in (*range(1, 500), 700, *range(2000, 2100)):
        rig.sample(ms * 1000, **what)
        rig.sample(ms * 1000, IMU)
        said += rig.at(ms * 1000)

    told = [fault for fault in faults(said) if fault[0] is code]

    assert told == [(code, 1, 1000), (code, 1, 2_000_000)]


@pytest.mark.parametrize(
    ("silent", "told"),
    [
        (FORCE, (FaultCode.STREAM_SILENT, 1, 151_000)),
        (IMU, (FaultCode.IMU_SILENT, 2, 151_000)),
    ],
)
def test_a_stream_that_falls_silent_while_the_other_goes_on_is_told_once(
    rig: Rig, silent: int, told: tuple[FaultCode, int, int]
) -> None:
    rig.tell(m.Start(1))
    said: list[Message] = []
    for ms in range(1, 900):
        for stream in (FORCE, IMU):
            if stream != silent or ms <= 50:
                rig.sample(ms * 1000, stream)
        said += rig.at(ms * 1000)

    assert faults(said) == [told]


def test_no_block_spans_a_silence(rig: Rig) -> None:
    rig.tell(m.Start(1))
    said = rig.stream_ms(1, 4)
    said += rig.at(500_000)
    said += rig.stream_ms(501, 10)

    times = [(b.sequence, b.device_time_us, b.span_us) for b in blocks(said) if b.stream_id == 1]
    assert times == [(0, 1000, 3000), (4, 501_000, 9000)]


@pytest.mark.parametrize("dead", [FORCE, IMU])
def test_a_rig_whose_converter_does_not_begin_says_so_and_stays_idle(rig: Rig, dead: int) -> None:
    rig.order(f"dead {dead}")

    assert outcome(rig.tell(m.Start(1)), 1) is Outcome.NOT_POSSIBLE_NOW
    rig.sample(1000, IMU - dead)
    assert rig.at(1_000_000) == [m.Status(1_000_000, False, 0)]
    rig.order("dead 2")
    assert outcome(rig.tell(m.Start(2)), 2) is Outcome.DONE


def test_what_a_port_still_holds_at_stop_is_sent_before_the_reply(rig: Rig) -> None:
    rig.tell(m.Start(1))
    for ms in range(1, 101):  # more than is taken in one poll
        rig.sample(ms * 1000)
    rig.order("tick 100000")

    said = rig.tell(m.Stop(2))

    assert sum(block.sample_count for block in blocks(said)) == 100
    assert isinstance([x for x in said if isinstance(x, m.Reply | m.SampleBlock)][-1], m.Reply)


def test_configure_takes_the_nearest_from_the_next_start_on(rig: Rig) -> None:
    rig.tell(m.Start(1))

    assert rig.tell(m.Configure(2, 1, 600.0, 3)) == [m.Configuration(2, 1, 500.0, 3)]
    assert {b.sample_count for b in blocks(rig.stream_ms(1, 30))} == {10}
    rig.tell(m.Start(3))
    assert {b.sample_count for b in blocks(rig.stream_ms(40, 30))} == {3}
    assert rig.tell(m.ReadConfiguration(4, 1)) == [m.Configuration(4, 1, 500.0, 3)]
    (identity,) = rig.tell(m.Identify(5))
    assert isinstance(identity, m.Identity)
    assert identity.streams[0].rate_hz == 500.0
    assert rig.tell(m.Configure(6, 2, 9e9, 0)) == [m.Configuration(6, 2, 1000.0, 10)]
    infinity = float("inf")
    assert rig.tell(m.Configure(6, 2, infinity, 0)) == [m.Configuration(6, 2, 1000.0, 10)]
    assert rig.tell(m.Configure(6, 2, -infinity, 0)) == [m.Configuration(6, 2, 500.0, 5)]
    assert rig.tell(m.Configure(7, 1, 1000.0, 255)) == [m.Configuration(7, 1, 1000.0, 42)]


@pytest.mark.parametrize(
    "question",
    [
        m.Configure(7, 3, 500.0, 0),
        m.Configure(7, 1, float("nan"), 0),
        m.ReadConfiguration(7, 0),
        m.ZeroElectrical(7, 255),
    ],
)
def test_what_makes_no_sense_is_a_bad_argument(rig: Rig, question: Message) -> None:
    assert outcome(rig.tell(question), 7) is Outcome.BAD_ARGUMENT


def test_zero_and_self_test_do_what_the_port_says_at_rest(rig: Rig) -> None:
    assert outcome(rig.tell(m.ZeroElectrical(1, 1)), 1) is Outcome.DONE
    assert outcome(rig.tell(m.ZeroElectrical(2, 2)), 2) is Outcome.NOT_POSSIBLE_NOW
    assert rig.tell(m.SelfTest(3)) == [m.SelfTestResult(3, True, "")]
    rig.order("test IMU silent")
    assert rig.tell(m.SelfTest(4)) == [m.SelfTestResult(4, False, "IMU silent")]
    rig.tell(m.Start(5))
    for question in (m.ZeroElectrical(7, 1), m.SelfTest(7), m.WriteStore(7, "k", b"v")):
        assert outcome(rig.tell(question), 7) is Outcome.NOT_POSSIBLE_NOW


def test_the_store_keeps_replaces_and_removes(rig: Rig) -> None:
    long = bytes(range(256)) * 3
    for number, value in enumerate((b"one", long, b"")):
        assert outcome(rig.tell(m.WriteStore(number, "rig.toml.0", value)), number) is Outcome.DONE
        assert rig.tell(m.ReadStore(9, "rig.toml.0")) == [m.StoreValue(9, "rig.toml.0", value)]

    rig.order("store 10")
    assert outcome(rig.tell(m.WriteStore(5, "k", b"x" * 11)), 5) is Outcome.STORE_FULL
    assert rig.tell(m.ReadStore(6, "k")) == [m.StoreValue(6, "k", b"")]
    rig.order("flash 1")
    assert outcome(rig.tell(m.WriteStore(7, "k", b"x")), 7) is Outcome.STORE_FAILED


def test_the_empty_key_lists_what_is_kept(rig: Rig) -> None:
    for number, key in enumerate(("rig.toml", "Prüfstand")):
        rig.tell(m.WriteStore(number, key, b"v"))

    assert rig.tell(m.ReadStore(3, "")) == [m.StoreValue(3, "", "rig.toml\nPrüfstand\n".encode())]
    assert outcome(rig.tell(m.WriteStore(4, "", b"v")), 4) is Outcome.BAD_ARGUMENT

    assert outcome(rig.tell(m.WriteStore(4, "two\nlines", b"v")), 4) is Outcome.BAD_ARGUMENT

    for number, key in enumerate(("rig.toml", "Prüfstand")):
        rig.tell(m.WriteStore(number, key, b""))
    assert rig.tell(m.ReadStore(5, "")) == [m.StoreValue(5, "", b"")]


def test_unknown_commands_are_answered_and_nothing_else_is(rig: Rig) -> None:
    before = rig.order("counts")
    assert outcome(rig.line(encode_frame(b"\x7f\x2a")), 42) is Outcome.UNKNOWN_COMMAND

    silent = [b"\x7f", b"\x01", b"\x04\x01\x01", b"\x82\x01\x00", b"\xf0\x01", b"\x0a\x01\x01\xff"]
    assert [rig.line(encode_frame(payload)) for payload in silent] == [[]] * len(silent)
    assert rig.line(bytes.fromhex("0701012913c52f00")) == []
    assert (before, rig.order("counts")) == ("0 0", f"1 {1 + len(silent)}")


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(chunks=st.lists(st.one_of(st.binary(max_size=200), st.just(b"\1" * 1100)), max_size=8))
def test_noise_neither_hurts_nor_answers_and_the_next_question_is_heard(
    rig: Rig, chunks: list[bytes]
) -> None:
    rig.line(b"".join(chunks))

    (pong,) = rig.line(b"\0" + encode_frame(encode(m.Ping(1, 5))))

    assert isinstance(pong, m.Pong)
