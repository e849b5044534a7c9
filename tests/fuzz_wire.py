"""A seeded fuzz campaign on the host's ears: ``make fuzz``.

Streams of honest frames are harmed in every way a line knows: flipped, lost, doubled, swapped
and inserted bytes, truncated frames, other devices' chatter, boot messages. Nothing may raise,
memory must stay bounded, and no sample may be heard that was not sent. What the checksum leaves
is 1 of 2**32 damaged frames: in a million streams of some ten damaged frames each, one in four
hundred campaigns would see one.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Callable

from firmware_protocol.codec import encode
from firmware_protocol.ends import HostEnd
from firmware_protocol.framing import MAX_FRAME_BYTES, encode_frame
from firmware_protocol.messages import SampleBlock, Status

Harm = Callable[[bytearray, random.Random], None]
CHATTER = (
    b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n",
    b"\r\nets Jun  8 2016 00:22:57\r\nrst:0x1 (POWERON_RESET),boot:0x13\r\n",
    b"AT\r\nOK\r\n",
    b"\xff" * 40,
    b"\x55" * 200,
)


def flip(data: bytearray, dice: random.Random) -> None:
    """Change a bit."""
    data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)


def lose(data: bytearray, dice: random.Random) -> None:
    """Lose one to four bytes."""
    at = dice.randrange(len(data))
    del data[at : at + dice.randint(1, 4)]


def double(data: bytearray, dice: random.Random) -> None:
    """Bring a stretch twice."""
    at = dice.randrange(len(data))
    stretch = data[at : at + dice.randint(1, 40)]
    data[at:at] = stretch


def swap(data: bytearray, dice: random.Random) -> None:
    """Exchange two bytes."""
    one, two = dice.randrange(len(data)), dice.randrange(len(data))
    data[one], data[two] = data[two], data[one]


def insert(data: bytearray, dice: random.Random) -> None:
    """Add noise."""
    at = dice.randrange(len(data))
    data[at:at] = dice.randbytes(dice.randint(1, 8))


def truncate(data: bytearray, dice: random.Random) -> None:
    """Lose the rest of the line."""
    del data[dice.randrange(len(data)) :]


def chatter(data: bytearray, dice: random.Random) -> None:
    """Let another device speak in between."""
    at = dice.randrange(len(data))
    data[at:at] = dice.choice(CHATTER)


HARMS: tuple[Harm, ...] = (flip, lose, double, swap, insert, truncate, chatter)


def honest(dice: random.Random) -> tuple[bytes, frozenset[SampleBlock]]:
    """Return a short stream of frames and the blocks it holds."""
    blocks = [
        SampleBlock(1 + n % 2, 10 * n, 10_000 * n, 9000, 4, dice.randbytes(48)) for n in range(5)
    ]
    frames = [encode_frame(encode(block)) for block in blocks]
    frames.insert(3, encode_frame(encode(Status(30_000, True, 0))))
    return b"".join(frames), frozenset(blocks)


def one_stream(dice: random.Random, clean: bytes, sent: frozenset[SampleBlock]) -> int:
    """Harm a stream, hear it in pieces, check what was heard; return how many blocks."""
    data = bytearray(clean)
    for _ in range(dice.randint(1, 6)):
        if data:
            dice.choice(HARMS)(data, dice)
    host, heard = HostEnd(), 0
    cut = dice.randint(0, len(data))
    for piece in (bytes(data[:cut]), bytes(data[cut:]), b"\0", clean):
        for item in host.receive(piece):
            if isinstance(item, SampleBlock):
                assert item in sent, f"a block was heard that was never sent: {item!r}"
                heard += 1
        held = len(host._decoder._tail)
        assert held <= MAX_FRAME_BYTES, f"{held} bytes are held"
    assert heard >= len(sent), "a clean stream behind a delimiter was not heard whole"
    return heard


def campaign(streams: int, seed: int) -> tuple[int, float]:
    """Run the streams; return how many blocks survived and the seconds it took."""
    dice = random.Random(seed)
    begun, heard = time.perf_counter(), 0
    clean, sent = honest(dice)
    for number in range(streams):
        if number % 1000 == 0:
            clean, sent = honest(dice)
            if sys.stderr.isatty():
                print(f"\r{number} of {streams}", end="", file=sys.stderr)
        heard += one_stream(dice, clean, sent)
    return heard, time.perf_counter() - begun


def main() -> int:
    """Run a campaign from the command line."""
    parser = argparse.ArgumentParser(description="fuzz the host's ears")
    parser.add_argument("--streams", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    heard, seconds = campaign(args.streams, args.seed)
    print(
        f"{args.streams} damaged streams, seed {args.seed}: nothing raised, nothing false was "
        f"heard, {heard} true blocks were; {seconds:.0f} s"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
