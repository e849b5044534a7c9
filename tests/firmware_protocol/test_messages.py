"""Messages: the vectors of PROTOCOL.md, round trips, roles, and what is not understood."""

from __future__ import annotations

import re
import struct
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import firmware_protocol
from firmware_protocol import messages
from firmware_protocol.codec import CODECS, Malformed, decode, encode, samples_per_frame
from firmware_protocol.ends import HostEnd, RigEnd
from firmware_protocol.errors import ProtocolMisuse
from firmware_protocol.framing import encode_frame
from firmware_protocol.messages import (
    ChannelSpec,
    Fault,
    FaultCode,
    Identify,
    Identity,
    Message,
    Outcome,
    Reply,
    SampleBlock,
    SampleType,
    Start,
    Status,
    Stop,
    StreamSpec,
)

LAW = Path(str(firmware_protocol.__file__)).with_name("PROTOCOL.md").read_text(encoding="utf-8")
VECTORS = re.findall(r"^\| `(\w+\(.*\))` \| `([0-9a-f]+)` \| `([0-9a-f]+)` \|$", LAW, re.MULTILINE)

u8, u32, u64 = st.integers(0, 255), st.integers(0, 2**32 - 1), st.integers(0, 2**64 - 1)
i32 = st.integers(-(2**31), 2**31 - 1)
scales = st.floats(width=32, allow_nan=False, allow_infinity=False)
rates = st.floats(0.125, 100_000.0, width=32)


def texts(limit: int) -> st.SearchStrategy[str]:
    return st.text(max_size=limit).filter(lambda text: len(text.encode()) <= limit)


channels = st.builds(ChannelSpec, texts(32), texts(8), scales, i32, i32)
streams = st.builds(
    StreamSpec,
    st.integers(0, 254),
    texts(32),
    st.sampled_from(SampleType),
    rates,
    st.lists(channels, min_size=1, max_size=3).map(tuple),
)
tables = st.lists(streams, max_size=3, unique_by=lambda stream: stream.stream_id).map(tuple)
blocks = st.integers(1, 20).flatmap(
    lambda count: st.builds(
        SampleBlock, u8, u32, u64, u32, st.just(count), st.binary(min_size=12, max_size=12).map(
            lambda row: row * count
        ),
    )
)  # fmt: skip
everything: st.SearchStrategy[Message] = st.one_of(
    st.builds(Identify, u8),
    st.builds(Start, u8),
    st.builds(Stop, u8),
    st.builds(Identity, u8, st.just(1), u8, texts(32), texts(32), u32, tables),
    st.builds(Reply, u8, st.sampled_from(Outcome)),
    blocks,
    st.builds(Status, u64, st.booleans(), u32),
    st.builds(Fault, u64, st.sampled_from(FaultCode), u8, texts(64)),
)


def made(text: str) -> Message:
    """Make the message that a vector writes down."""
    names = {name: getattr(messages, name) for name in dir(messages)}
    result: Message = eval(text, {"bytes": bytes, **names})  # noqa: S307, RUF100 - our own text
    return result


def test_the_law_has_a_vector_for_every_message() -> None:
    assert {type(made(text)) for text, _, _ in VECTORS} == set(CODECS)


@pytest.mark.parametrize(("text", "payload", "frame"), VECTORS)
def test_golden_vectors_hold_in_both_directions(text: str, payload: str, frame: str) -> None:
    message = made(text)

    assert encode(message).hex() == payload
    assert encode_frame(bytes.fromhex(payload)).hex() == frame
    assert decode(bytes.fromhex(payload)) == message


@pytest.mark.parametrize(("text", "payload", "frame"), VECTORS)
def test_golden_frames_are_heard_whole_bytewise_and_with_a_tail(
    text: str, payload: str, frame: str
) -> None:
    message, raw = made(text), bytes.fromhex(frame)
    from_rig = CODECS[type(message)][0] >= 0x80
    ends = [HostEnd() if from_rig else RigEnd() for _ in range(3)]

    assert ends[0].receive(raw) == [message]
    assert [item for byte in raw for item in ends[1].receive(bytes([byte]))] == [message]
    assert ends[2].receive(raw + raw[:-1]) == [message]


@given(everything)
def test_every_message_comes_back(message: Message) -> None:
    assert decode(encode(message)) == message


@given(st.binary(max_size=200))
def test_any_payload_is_a_message_or_malformed(payload: bytes) -> None:
    decode(payload)


@given(everything, st.data())
def test_a_message_cut_short_is_malformed_or_shorter_never_an_error(
    message: Message, data: st.DataObject
) -> None:
    payload = encode(message)
    cut = data.draw(st.integers(0, len(payload) - 1))

    found = decode(payload[:cut])

    assert isinstance(found, Malformed | SampleBlock)


@given(everything, st.binary(min_size=1, max_size=20))
def test_more_fields_of_a_newer_minor_are_ignored(message: Message, more: bytes) -> None:
    if isinstance(message, SampleBlock):
        return

    assert decode(encode(message) + more) == message


def test_an_unknown_type_is_a_value() -> None:
    assert decode(b"\x7fxyz") == Malformed("unknown message type 0x7f", b"\x7fxyz")


def test_another_major_version_tells_its_numbers_and_nothing_else() -> None:
    """Its first three fields keep their place for ever."""
    found = decode(b"\x81\x05\x02\x07" + b"whatever else it has")

    assert found == Identity(5, 2, 7, "", "", 0, ())


def test_two_streams_with_one_id_are_malformed() -> None:
    channel = ChannelSpec("fx", "count", 1.0, -1, 1)
    twin = StreamSpec(1, "force", SampleType.INT16, 1000.0, (channel,))

    assert isinstance(decode(encode(Identity(1, 1, 0, "", "", 0, (twin, twin)))), Malformed)


@pytest.mark.parametrize(
    "message",
    [
        Identify(256),
        SampleBlock(1, 2**32, 0, 0, 1, b"ab"),
        SampleBlock(1, 0, 0, 0, 0, b""),
        SampleBlock(1, 0, 0, 0, 2, b"abc"),
        Fault(0, FaultCode.BRIDGE_OPEN, 1, "x" * 65),
        SampleBlock(1, 0, 0, 0, 1, bytes(1024)),
    ],
)
def test_what_does_not_fit_is_misuse(message: Message) -> None:
    with pytest.raises(ProtocolMisuse):
        encode(message)


def test_a_full_block_fits_a_frame() -> None:
    channel = ChannelSpec("c", "count", 1.0, -1, 1)
    spec = StreamSpec(1, "force", SampleType.INT32, 1000.0, (channel,) * 6)
    count = samples_per_frame(spec)

    encode_frame(encode(SampleBlock(1, 0, 0, 0, count, bytes(24 * count))))

    with pytest.raises(ProtocolMisuse):
        encode(SampleBlock(1, 0, 0, 0, count + 1, bytes(24 * (count + 1))))


def test_host_and_rig_understand_each_other() -> None:
    host, rig = HostEnd(), RigEnd()
    channel = ChannelSpec("fx", "count", 1.0, -100, 100)
    identity = Identity(
        1, 1, 0, "fw", "R01", 1, (StreamSpec(1, "force", SampleType.INT16, 1e3, (channel,)),)
    )

    (asked,) = rig.receive(b"boot noise" + host.identify())[1:]
    heard = host.receive(rig.send(identity))

    assert isinstance(asked, Identify)
    assert heard == [identity]
    assert host.identity == identity
    assert isinstance(rig.receive(host.start())[0], Start)


def test_starting_before_knowing_the_rig_is_misuse() -> None:
    with pytest.raises(ProtocolMisuse, match="identify first"):
        HostEnd().start()


def test_starting_a_rig_of_another_major_is_misuse() -> None:
    host = HostEnd()
    host.receive(encode_frame(struct.pack("<4B", 0x81, 1, 2, 0)))

    with pytest.raises(ProtocolMisuse, match="protocol 2"):
        host.stop()


def test_a_rig_may_not_say_what_a_host_says() -> None:
    with pytest.raises(ProtocolMisuse, match="Start"):
        RigEnd().send(Start(1))  # type: ignore[arg-type]  # the misuse under test


def test_an_echo_of_our_own_commands_is_malformed_not_a_command() -> None:
    host = HostEnd()

    (echo,) = host.receive(host.identify())

    assert isinstance(echo, Malformed)
