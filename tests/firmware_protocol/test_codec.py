"""Messages to payloads and back: round trips, versions, and what does not fit."""

from __future__ import annotations

import dataclasses
import pickle
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol import messages
from firmware_protocol.codec import (
    BLOCK_HEAD_BYTES,
    LAYOUTS,
    Malformed,
    bytes_per_sample,
    decode,
    encode,
    samples_per_frame,
)
from firmware_protocol.errors import ProtocolError, ProtocolMisuse
from firmware_protocol.fields import Layout, Numbers
from firmware_protocol.framing import MAX_PAYLOAD_BYTES, encode_frame
from firmware_protocol.messages import (
    ChannelSpec,
    Fault,
    FaultCode,
    Identify,
    Identity,
    Message,
    SampleBlock,
    SampleType,
    Status,
    StreamSpec,
)

everything: st.SearchStrategy[Message] = st.one_of(*map(st.from_type, get_args(Message)))
KEPT = (messages.WriteStore, messages.StoreValue)
"""Their last field reaches to the end."""
FX = ChannelSpec("fx", "count", 1.0, -1, 1)
FORCE = StreamSpec(1, "force", SampleType.INT16, 1000.0, (FX,))


def identity(*streams: StreamSpec) -> Identity:
    return Identity(1, 1, 0, "fw", "R01", 1, streams)


@given(everything)
def test_every_message_comes_back(message: Message) -> None:
    assert decode(encode(message)) == message


@given(st.binary(max_size=200))
def test_any_payload_is_a_message_or_malformed(payload: bytes) -> None:
    found = decode(payload)

    assert isinstance(found, Message | Malformed)


@given(st.sampled_from(sorted(LAYOUTS)), st.binary(max_size=200))
def test_any_fields_of_a_known_type_are_a_message_or_malformed(number: int, more: bytes) -> None:
    found = decode(bytes([number]) + more)

    assert isinstance(found, LAYOUTS[number].kind | Malformed)


@given(everything, st.data())
def test_a_message_cut_short_is_malformed(message: Message, data: st.DataObject) -> None:
    """But for a sample block, whose data may end anywhere as long as samples are whole."""
    payload = encode(message)
    cut = data.draw(st.integers(0, len(payload) - 1))

    found = decode(payload[:cut])

    if isinstance(message, SampleBlock) and isinstance(found, SampleBlock):
        assert message.data.startswith(found.data)
        assert len(found.data) % found.sample_count == 0
    elif isinstance(message, KEPT) and isinstance(found, KEPT):
        assert message.value.startswith(found.value)
    else:
        assert isinstance(found, Malformed)
        assert found.payload == payload[:cut]


@given(everything.filter(lambda m: not isinstance(m, (SampleBlock, *KEPT))), st.binary(max_size=20))
def test_more_fields_of_a_newer_minor_are_ignored(message: Message, more: bytes) -> None:
    assert decode(encode(message) + more) == message


def test_an_unknown_type_is_a_value() -> None:
    found = decode(b"\x7fxyz")

    assert found == Malformed("message type 0x7f is not known", b"\x7fxyz")


@pytest.mark.parametrize("tail", [b"", b"\x00", b"whatever else it has"])
def test_another_major_version_tells_its_numbers_and_nothing_else(tail: bytes) -> None:
    """Its first three fields keep their place for ever."""
    assert decode(b"\x81\x05\x02\x07" + tail) == Identity(5, 2, 7, "", "", 0, ())


def test_another_major_version_without_its_numbers_is_malformed() -> None:
    assert isinstance(decode(b"\x81\x05\x02"), Malformed)


def test_codes_of_a_newer_minor_keep_their_number() -> None:
    fault = decode(encode(Fault(1, FaultCode(77), 2, "hand too warm")))

    assert isinstance(fault, Fault)
    assert fault.code == 77
    assert fault.code.name == "CODE_77"
    assert pickle.loads(pickle.dumps(fault)) == fault


@pytest.mark.parametrize("number", [-1, 0, 256, "1"])
def test_a_fault_code_has_one_byte_and_is_not_zero(number: Any) -> None:
    with pytest.raises(ValueError, match="is not a valid FaultCode"):
        FaultCode(number)


def test_a_sample_type_nobody_can_read_is_malformed() -> None:
    payload = bytearray(encode(identity(FORCE)))
    at = payload.index(b"force") + len(b"force")
    payload[at] = 3

    found = decode(bytes(payload))

    assert found == Malformed("Identity: SampleType 3 is not known", bytes(payload))


def test_numbers_that_are_none_come_back_for_the_host_to_refuse() -> None:
    """The codec keeps structure; whether a stream table makes sense is judged elsewhere."""
    channel = dataclasses.replace(FX, scale=float("inf"))
    table = identity(dataclasses.replace(FORCE, rate_hz=0.0, channels=(channel,)), FORCE)

    assert decode(encode(table)) == table


@pytest.mark.parametrize(
    ("message", "what"),
    [
        (Identify(256), "Identify"),
        (Identify(-1), "Identify"),
        (Identify("1"), "Identify"),  # type: ignore[arg-type]  # the misuse under test
        (SampleBlock(1, 2**32, 0, 0, 1, b"ab"), "SampleBlock"),
        (SampleBlock(1, 0, 2**64, 0, 1, b"ab"), "SampleBlock"),
        (SampleBlock(1, 0, 0, 0, 0, b""), "0 bytes are not 0 samples"),
        (SampleBlock(1, 0, 0, 0, 1, b""), "0 bytes are not 1 samples"),
        (SampleBlock(1, 0, 0, 0, 2, b"abc"), "3 bytes are not 2 samples"),
        (SampleBlock(1, 0, 0, 0, 256, bytes(256)), "SampleBlock"),
        (SampleBlock(1, 0, 0, 0, 1, bytes(1024)), "1043 bytes, 1024 are allowed"),
        (Fault(0, FaultCode.BRIDGE_OPEN, 1, "x" * 65), "65 bytes, 64 are allowed"),
        (Fault(0, FaultCode.BRIDGE_OPEN, 1, "ü" * 33), "66 bytes, 64 are allowed"),
        (Fault(0, FaultCode.BRIDGE_OPEN, 1, "\ud800"), "no Unicode text"),
        (identity(dataclasses.replace(FORCE, name="n" * 33)), "33 bytes, 32 are allowed"),
        (identity(dataclasses.replace(FORCE, rate_hz=1e39)), "Identity"),
        (identity(dataclasses.replace(FORCE, channels=(FX,) * 256)), "Identity"),
        (identity(*(FORCE,) * 33), "33 rows, 32 are allowed"),
        (identity(*(dataclasses.replace(FORCE, channels=(FX,) * 3),) * 22), "1024 are allowed"),
        (FX, "ChannelSpec is no message"),
    ],
)
def test_what_does_not_fit_is_misuse(message: Message, what: str) -> None:
    with pytest.raises(ProtocolMisuse, match=what) as caught:
        encode(message)

    assert isinstance(caught.value, ProtocolError)


def test_a_text_may_fill_its_place_to_the_last_byte() -> None:
    fault = Fault(0, FaultCode.BRIDGE_OPEN, 1, "ü" * 32)

    assert decode(encode(fault)) == fault


def test_a_text_longer_than_allowed_is_malformed_even_if_all_of_it_is_there() -> None:
    payload = encode(Fault(0, FaultCode.BRIDGE_OPEN, 1, ""))[:-1] + bytes([65]) + b"x" * 65

    assert decode(payload) == Malformed("Fault: a text of 65 bytes, 64 are allowed", payload)


@pytest.mark.parametrize("sample_type", SampleType)
@pytest.mark.parametrize("channel_count", [1, 3, 6, 64])
def test_a_full_block_fits_a_frame_and_one_sample_more_does_not(
    sample_type: SampleType, channel_count: int
) -> None:
    spec = StreamSpec(1, "force", sample_type, 1000.0, (FX,) * channel_count)
    count, size = samples_per_frame(spec), bytes_per_sample(spec)

    encode_frame(encode(SampleBlock(1, 0, 0, 0, count, bytes(size * count))))

    with pytest.raises(ProtocolMisuse):
        encode(SampleBlock(1, 0, 0, 0, count + 1, bytes(size * (count + 1))))


def test_the_head_of_a_block_has_the_size_it_is_said_to_have() -> None:
    assert len(encode(SampleBlock(1, 0, 0, 0, 1, b"x"))) == BLOCK_HEAD_BYTES + 1
    assert samples_per_frame(FORCE) == 255
    assert MAX_PAYLOAD_BYTES - BLOCK_HEAD_BYTES >= 64 * 4  # one sample of every stream allowed


def test_a_layout_that_forgets_a_field_is_refused_when_it_is_made() -> None:
    with pytest.raises(TypeError, match="Status"):
        Layout(Status, Numbers("Q?"))
