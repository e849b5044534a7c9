"""The rig in C and the rig in software: asked the same in the same state, they answer alike."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import pytest

from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from acquisition.virtual_rig.device import RigDevice
from firmware_protocol import messages as m
from firmware_protocol.codec import encode
from firmware_protocol.ends import HostEnd
from firmware_protocol.framing import encode_frame

Ask = Callable[[str], str]
Question = Callable[[int], m.HostMessage]

QUESTIONS: dict[str, Question] = {
    "identify": m.Identify,
    "start": m.Start,
    "stop": m.Stop,
    "configure": partial(m.Configure, stream_id=1, rate_hz=500.0, block_samples=7),
    "configure what is not there": partial(
        m.Configure, stream_id=9, rate_hz=500.0, block_samples=0
    ),
    "configure a NaN": partial(m.Configure, stream_id=1, rate_hz=float("nan"), block_samples=0),
    "read back": partial(m.ReadConfiguration, stream_id=2),
    "read what is not there": partial(m.ReadConfiguration, stream_id=255),
    "balance the IMU": partial(m.ZeroElectrical, stream_id=2),
    "balance what is not there": partial(m.ZeroElectrical, stream_id=77),
    "ping": partial(m.Ping, host_time_us=5),
    "self-test": m.SelfTest,
    "restart counters": m.RestartCounters,
    "keep": partial(m.WriteStore, key="k", value=b"v"),
    "fetch": partial(m.ReadStore, key="k"),
    "remove": partial(m.WriteStore, key="k", value=b""),
    "remove again": partial(m.WriteStore, key="k", value=b""),
    "fetch what is not there": partial(m.ReadStore, key="k"),
    "list": partial(m.ReadStore, key=""),
    "keep under no name": partial(m.WriteStore, key="", value=b"v"),
    "keep under two lines": partial(m.WriteStore, key="a\nb", value=b"v"),
}
RAW = {
    "a newer command": b"\x7f\x02",
    "a newer command without a number": b"\x7f",
    "a command cut off": b"\x04\x02\x01",
    "a key that is not UTF-8": b"\x0a\x02\x01\xff",
    "what a rig says": encode(m.Reply(2, m.Outcome.DONE)),
    "nothing known": b"\xf0\x02",
}


def in_c(ask: Ask, line: bytes) -> list[object]:
    return list(HostEnd().receive(bytes.fromhex(ask(f"host {line.hex()}").rstrip("."))))


def in_software(device: RigDevice, line: bytes) -> list[object]:
    answers = device.receive(line)
    return list(HostEnd().receive(device.pong() + answers))


def gist(said: list[object]) -> list[object]:
    """What both must say alike: kinds, numbers, outcomes, values; not who they are."""
    return [
        (type(item).__name__, item.request_id, getattr(item, "outcome", None))
        if isinstance(item, m.Identity | m.Pong | m.Configuration)
        else item
        for item in said
        if not isinstance(item, m.SampleBlock | m.Status)
    ]


@pytest.mark.parametrize("streaming", [False, True])
def test_every_question_has_the_same_answer(rig_ask: Ask, streaming: bool) -> None:
    rig_ask("power 0")
    rig_ask("room 4294967295")
    rig_ask("store 900")
    rig_ask("flash 0")
    rig_ask("test")
    in_c(rig_ask, b"")
    device = RigDevice(VirtualRig(default_rig(), trainee("E01")))
    lines = {name: encode_frame(encode(kind(2))) for name, kind in QUESTIONS.items()}
    lines |= {name: encode_frame(payload) for name, payload in RAW.items()}
    begin = encode_frame(encode((m.Start if streaming else m.Stop)(1)))

    for name, line in lines.items():
        in_c(rig_ask, begin)
        in_software(device, begin)

        c, software = gist(in_c(rig_ask, line)), gist(in_software(device, line))

        assert c == software, name
        assert len(c) == (name not in RAW or name == "a newer command"), name
