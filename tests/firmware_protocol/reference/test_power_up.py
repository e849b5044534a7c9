"""Which descriptions a rig powers up with, and that the example of a port has one."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import firmware_protocol
from firmware_protocol import messages as m
from firmware_protocol.codec import MAX_NAME_BYTES, encode

Ask = Callable[[str], str]
LAW = Path(str(firmware_protocol.__file__)).with_name("PROTOCOL.md").read_text(encoding="utf-8")
JUDGED = re.findall(r"^\| `(81[0-9a-f]+)` \| ([a-z ]+) \|$", LAW, re.MULTILINE)
SERIALS = re.findall(
    r"^\| `([^`]*)` \| (good|refused) \|$",
    LAW.split("| rig_serial | |")[1].split("\n\n")[0],
    re.MULTILINE,
)
SENT_SERIALS = [row for row in SERIALS if len(row[0].encode()) <= MAX_NAME_BYTES]
OWN_STREAMS = tuple(
    m.StreamSpec(
        number,
        name,
        kind,
        rate_hz,
        tuple(m.ChannelSpec(short, unit, scale, -rail, rail - 1) for short in names.split()),
    )
    for number, name, kind, rate_hz, names, unit, scale, rail in (
        (1, "force", m.SampleType.INT32, 1000.0, "fx fy fz", "count", 1.0, 2**23),
        (2, "imu", m.SampleType.INT16, 500.0, "ax ay az gx gy gz", "m/s2", 0.001, 2**15),
    )
)


@pytest.fixture
def described_again(rig_ask: Ask) -> Iterator[Ask]:
    """Another rig for a while."""
    yield rig_ask
    rig_ask(f"describe {encode(described(OWN_STREAMS)).hex()}")


def described(streams: tuple[m.StreamSpec, ...], serial: str = "D00") -> m.Identity:
    return m.Identity(1, 1, 0, "driver 1", serial, 1, streams)


@pytest.mark.parametrize(("payload", "verdict"), JUDGED)
def test_a_rig_does_not_power_up_with_a_table_that_breaks_a_rule(
    described_again: Ask, payload: str, verdict: str
) -> None:
    described_again(f"describe {payload}")

    told = described_again("power 0").rstrip(".")

    assert told == verdict or (verdict, told) in {
        ("good", "up"),
        ("good", "sizes of perpend_port.h"),  # 32 streams, 64 channels
    }


@pytest.mark.parametrize(("serial", "verdict"), SENT_SERIALS)
def test_a_rig_powers_up_with_a_serial_that_is_good_and_with_no_other(
    described_again: Ask, serial: str, verdict: str
) -> None:
    described_again(f"describe {encode(described(OWN_STREAMS, serial)).hex()}")

    assert described_again("power 0").rstrip(".") == {"good": "up", "refused": "serial"}[verdict]


def test_the_first_byte_is_a_delimiter(rig_ask: Ask) -> None:
    rig_ask("power 0")

    assert rig_ask("host") == "00."


def test_the_example_for_a_board_fits_the_port(
    build: Callable[..., Path], core: list[Path]
) -> None:
    """It is compiled only: no board is here to run it."""
    example = core[0].parent / "ports" / "board_example" / "board_port.c"

    assert build("board.o", [example], "-c").stat().st_size > 0
