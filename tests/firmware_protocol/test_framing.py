"""Frames: published vectors, any cutting, any damage."""

from __future__ import annotations

import binascii
import itertools
import zlib

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol.errors import ProtocolMisuse
from firmware_protocol.framing import (
    CHECKSUM,
    MAX_FRAME_BYTES,
    MAX_PAYLOAD_BYTES,
    FrameDecoder,
    FrameFault,
    FrameFaultKind,
    encode_frame,
    open_frame,
)

payloads = st.binary(min_size=1, max_size=MAX_PAYLOAD_BYTES)


def test_the_checksum_is_the_catalogued_one() -> None:
    """CRC-32/ISO-HDLC of "123456789" (RevEng catalogue of CRC algorithms)."""
    assert zlib.crc32(b"123456789") == 0xCBF43926
    assert binascii.crc32(b"123456789") == 0xCBF43926
    assert CHECKSUM.pack(zlib.crc32(b"123456789")).hex() == "2639f4cb"


@given(payloads)
def test_the_checksum_of_a_whole_frame_is_the_catalogued_residue(payload: bytes) -> None:
    """Residue DEBB20E3 of CRC-32/ISO-HDLC (RevEng catalogue), as PROTOCOL.md promises it."""
    whole = cobs.decode(encode_frame(payload)[:-1])

    assert zlib.crc32(whole) ^ 0xFFFFFFFF == 0xDEBB20E3


# Texts and runs from the tests of the cobs package (cmcqueen/cobs-python, cobs/test.py); the
# short ones with zeros are worked by hand after the rule of Cheshire & Baker 1999.
RUN = bytes(range(1, 255)).hex()
STUFFED = [
    (b"", "01"),
    (b"\0", "0101"),
    (b"\0\0", "010101"),
    (b"\0\x11\0", "01021101"),
    (b"\x11\x22\0\x33", "0311220233"),
    (b"\x11\x22\x33\x44", "0511223344"),
    (b"\x11\0\0\0", "0211010101"),
    (b"12345", "063132333435"),
    (b"12345\x006789", "0631323334350536373839"),
    (b"\x0012345\x006789", "010631323334350536373839"),
    (bytes(range(1, 254)), "fe" + bytes(range(1, 254)).hex()),
    (bytes(range(1, 255)), "ff" + RUN),
    (bytes(range(255)), "01ff" + RUN),
    (bytes(range(1, 256)), "ff" + RUN + "02ff"),
    (bytes(range(256)), "01ff" + RUN + "02ff"),
    (bytes(range(2, 256)) + b"\0", "ff" + bytes(range(2, 256)).hex() + "0101"),
    (bytes(range(3, 256)) + b"\0\x01", "fe" + bytes(range(3, 256)).hex() + "0201"),
]


@pytest.mark.parametrize(("plain", "stuffed"), STUFFED)
def test_stuffing_is_the_published_one(plain: bytes, stuffed: str) -> None:
    assert cobs.encode(plain).hex() == stuffed
    assert cobs.decode(bytes.fromhex(stuffed)) == plain


def test_a_full_last_block_is_taken_with_and_without_its_tail() -> None:
    payload = bytes(range(1, 251))
    raw = cobs.encode(payload + zlib.crc32(payload).to_bytes(4, "little"))

    assert len(raw) == 255
    assert open_frame(raw) == payload
    assert open_frame(raw + b"\x01") == payload


@given(payloads)
def test_what_is_framed_comes_back(payload: bytes) -> None:
    frame = encode_frame(payload)

    assert frame.count(0) == 1
    assert len(frame) <= MAX_FRAME_BYTES + 1
    assert FrameDecoder().feed(frame) == [payload]


stretches = st.one_of(
    payloads.map(encode_frame),
    st.binary(max_size=40),
    st.integers(1, 3000).map(lambda size: b"\x01" * size),
    st.just(b"\0"),
)


@given(st.lists(stretches, max_size=6).map(b"".join), st.data())
def test_cutting_any_stream_anywhere_changes_nothing(stream: bytes, data: st.DataObject) -> None:
    """Frames, noise and endless frames alike: payloads, faults, and the order of both."""
    cuts = data.draw(st.lists(st.integers(0, len(stream)), max_size=8))
    edges = [0, *sorted(cuts), len(stream)]
    decoder = FrameDecoder()

    found = [
        item
        for start, stop in itertools.pairwise(edges)
        for item in decoder.feed(stream[start:stop])
    ]

    assert found == FrameDecoder().feed(stream)


@given(st.lists(payloads, max_size=4))
def test_a_clean_stream_gives_every_payload(sent: list[bytes]) -> None:
    assert FrameDecoder().feed(b"".join(map(encode_frame, sent))) == sent


@given(st.lists(st.binary(max_size=3000), max_size=6))
def test_noise_never_raises_and_memory_stays_bounded(pieces: list[bytes]) -> None:
    decoder = FrameDecoder()

    for piece in pieces:
        decoder.feed(piece)

    assert len(decoder._tail) <= MAX_FRAME_BYTES


@given(payloads, payloads, payloads, st.data())
def test_one_damaged_byte_costs_at_most_two_frames(
    one: bytes, two: bytes, three: bytes, data: st.DataObject
) -> None:
    stream = bytearray(b"".join(map(encode_frame, (one, two, three))))
    at = data.draw(st.integers(0, len(stream) - 1))
    stream[at] ^= data.draw(st.integers(1, 255))

    found = FrameDecoder().feed(bytes(stream) + b"\0")

    whole = [item for item in found if isinstance(item, bytes)]
    assert len(whole) >= 1
    assert all(item in (one, two, three) for item in whole)


@pytest.mark.parametrize(
    ("raw", "kind"),
    [
        (b"\x05123", FrameFaultKind.STUFFING),
        (b"\x03\x01\x02", FrameFaultKind.SHORT),
        (cobs.encode(b"hello" + b"\0\0\0\0"), FrameFaultKind.CHECKSUM),
        (b"\x01" * (MAX_FRAME_BYTES + 1), FrameFaultKind.OVERLONG),
    ],
)
def test_damage_has_a_name(raw: bytes, kind: FrameFaultKind) -> None:
    (fault,) = FrameDecoder().feed(raw + b"\0")

    assert isinstance(fault, FrameFault)
    assert fault.kind is kind
    assert len(fault.raw) <= MAX_FRAME_BYTES


def test_an_endless_frame_is_told_once_and_the_next_one_is_heard() -> None:
    decoder = FrameDecoder()

    told = [item for _ in range(50) for item in decoder.feed(b"\x01" * 500)]
    after = decoder.feed(b"\0" + encode_frame(b"hello"))

    assert [type(item) for item in told] == [FrameFault]
    assert after == [b"hello"]


def test_empty_frames_mean_nothing() -> None:
    assert FrameDecoder().feed(b"\0\0\0" + encode_frame(b"x") + b"\0") == [b"x"]


@pytest.mark.parametrize("size", [0, MAX_PAYLOAD_BYTES + 1])
def test_a_payload_that_does_not_fit_is_misuse(size: int) -> None:
    with pytest.raises(ProtocolMisuse, match="1024"):
        encode_frame(bytes(size))
