"""A conversation through both ends of the protocol, with time as an argument."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from itertools import pairwise
from typing import TypeVar

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from acquisition.blocks import WIRE_DTYPES
from acquisition.virtual_rig import SensorModel, VirtualRig, default_rig, trainee
from acquisition.virtual_rig.device import RigDevice
from firmware_protocol.codec import Malformed
from firmware_protocol.ends import HostEnd
from firmware_protocol.framing import FrameFault, encode_frame
from firmware_protocol.messages import (
    Configuration,
    Configure,
    Fault,
    FaultCode,
    Identity,
    Outcome,
    Ping,
    Pong,
    ReadConfiguration,
    ReadStore,
    Reply,
    RigMessage,
    SampleBlock,
    SelfTest,
    Status,
    StoreValue,
    StreamSpec,
    WriteStore,
    ZeroElectrical,
)

MakeRig = Callable[..., VirtualRig]
Heard = RigMessage | FrameFault | Malformed
Kind = TypeVar("Kind")


class Conversation:
    """A host that talks to a device; both see the same time."""

    def __init__(self, device: RigDevice, *, step_us: int = 20_000) -> None:
        self.device = device
        self.host = HostEnd()
        self.heard: list[Heard] = []
        self.now_us = 0
        self._step_us = step_us

    def say(self, data: bytes) -> None:
        self.heard += self.host.receive(self.device.receive(data))

    def pass_time(self, seconds: float) -> None:
        until_us = self.now_us + round(seconds * 1e6)
        while self.now_us < until_us:
            self.now_us = min(until_us, self.now_us + self._step_us)
            self.heard += self.host.receive(self.device.poll(self.now_us))

    def begin(self) -> None:
        self.say(self.host.identify())
        self.say(self.host.start())

    def of(self, kind: type[Kind]) -> list[Kind]:
        return [item for item in self.heard if isinstance(item, kind)]

    def blocks(self, name: str) -> list[SampleBlock]:
        number = self.spec(name).stream_id
        return [block for block in self.of(SampleBlock) if block.stream_id == number]

    def spec(self, name: str) -> StreamSpec:
        assert self.host.identity is not None
        return next(spec for spec in self.host.identity.streams if spec.name == name)

    def counts(self, name: str) -> NDArray[np.int32]:
        return np.concatenate([self.values(name, block) for block in self.blocks(name)])

    def values(self, name: str, block: SampleBlock) -> NDArray[np.signedinteger]:
        spec = self.spec(name)
        flat = np.frombuffer(block.data, WIRE_DTYPES[spec.sample_type])
        return flat.reshape(-1, len(spec.channels))


def talk(rig: VirtualRig, seconds: float, **options: object) -> Conversation:
    conversation = Conversation(RigDevice(rig, **options))  # type: ignore[arg-type] # per test
    conversation.begin()
    conversation.pass_time(seconds)
    return conversation


def test_it_says_who_it_is_and_what_it_streams(make_rig: MakeRig) -> None:
    conversation = Conversation(RigDevice(make_rig(side="left", axes=6), boot_count=4))

    conversation.say(conversation.host.identify())

    (identity,) = conversation.of(Identity)
    force, imu = identity.streams
    assert (identity.rig_serial, identity.boot_count) == ("L02", 4)
    assert [channel.name for channel in force.channels] == ["fx", "fy", "fz", "mx", "my", "mz"]
    assert [channel.unit for channel in imu.channels] == ["m/s2"] * 3 + ["rad/s"] * 3
    assert (force.rate_hz, imu.rate_hz) == (1000.0, 500.0)


def test_it_streams_every_sample_once_with_its_number_and_time(make_rig: MakeRig) -> None:
    rig = make_rig()
    conversation = Conversation(RigDevice(rig))
    conversation.pass_time(0.5)
    conversation.begin()
    conversation.pass_time(2.0)

    for name, stream in zip(("force", "imu"), rig.streams, strict=True):
        blocks = conversation.blocks(name)
        counts = conversation.counts(name)
        assert [b.sequence for b in blocks] == np.cumsum(
            [0, *(b.sample_count for b in blocks[:-1])]
        ).tolist()
        assert np.array_equal(counts, stream.counts(0, len(counts)))
        assert len(counts) > 0.98 * stream.spec.rate_hz * 2.0
        times = np.array([(b.device_time_us, b.span_us) for b in blocks])
        first = stream.time_s(0, len(counts))[[b.sequence for b in blocks]]
        assert times[:, 0] == pytest.approx(500_000 + first * 1e6, abs=0.51)
        assert all(4 <= b.sample_count <= 10 for b in blocks)


@settings(max_examples=20, deadline=None)
@given(steps=st.lists(st.integers(0, 400_000), max_size=8))
def test_what_it_says_does_not_depend_on_how_often_it_is_asked(steps: list[int]) -> None:
    end_us = 3_000_000

    def said(moments: list[int]) -> bytes:
        conversation = Conversation(RigDevice(VirtualRig(default_rig(), trainee("T01"))))
        conversation.begin()
        return b"".join(conversation.device.poll(moment) for moment in [*moments, end_us])

    assert said(np.cumsum(steps).clip(max=end_us).tolist()) == said([])


def test_no_sample_is_said_before_it_is_taken(make_rig: MakeRig) -> None:
    device = RigDevice(make_rig())
    conversation = Conversation(device)
    conversation.begin()

    for now_us in range(0, 100_000, 700):
        for item in conversation.host.receive(device.poll(now_us)):
            if isinstance(item, SampleBlock):
                assert item.device_time_us + item.span_us <= now_us


def test_status_comes_every_second_streaming_or_not(make_rig: MakeRig) -> None:
    conversation = Conversation(RigDevice(make_rig()))
    conversation.pass_time(2.5)
    conversation.begin()
    conversation.pass_time(2.0)

    said = [(status.device_time_us, status.streaming) for status in conversation.of(Status)]

    assert said == [(1_000_000, False), (2_000_000, False), (3_000_000, True), (4_000_000, True)]


def test_stop_ends_the_samples_and_start_begins_them_anew(make_rig: MakeRig) -> None:
    conversation = talk(make_rig(), 0.5)
    conversation.say(conversation.host.stop())
    conversation.heard.clear()
    conversation.pass_time(0.5)
    between = conversation.of(SampleBlock)
    conversation.say(conversation.host.start())
    conversation.pass_time(0.5)

    assert between == []
    assert not conversation.device.finished
    assert conversation.blocks("force")[0].sequence == 0
    assert conversation.blocks("force")[0].device_time_us == 1_000_000
    assert [reply.outcome for reply in conversation.of(Reply)] == [Outcome.DONE]


def test_an_unknown_command_is_answered_as_such_and_noise_is_not(make_rig: MakeRig) -> None:
    conversation = Conversation(RigDevice(make_rig()))

    conversation.say(b"\x00noise on the line\x00" + encode_frame(bytes([0x7F, 42])))

    assert conversation.heard == [Reply(42, Outcome.UNKNOWN_COMMAND)]


def test_it_is_finished_when_the_last_sample_is_out_and_starts_again_if_told(
    make_rig: MakeRig,
) -> None:
    rig = make_rig(repetitions=0)
    conversation = talk(rig, 3.0)
    early = conversation.device.finished
    conversation.pass_time(2.0)

    assert not early
    assert conversation.device.finished
    assert len(conversation.counts("force")) == rig.streams[0].sample_count == 4000
    assert len(conversation.counts("imu")) == rig.streams[1].sample_count
    assert not conversation.of(Status)[-1].streaming
    conversation.say(conversation.host.start())
    assert not conversation.device.finished


def test_a_fast_clock_says_so_in_its_times_only(make_rig: MakeRig) -> None:
    rig = make_rig()
    conversation = talk(rig, 10.0, clock_ppm=500.0)

    last = conversation.blocks("force")[-1]

    assert last.device_time_us + last.span_us == pytest.approx(10e6 * 1.0005, abs=10_000)
    assert last.sequence + last.sample_count == 10_000
    assert last.span_us == 9_000


def test_wait_is_the_time_until_there_is_something_new(make_rig: MakeRig) -> None:
    device = RigDevice(make_rig())
    conversation = Conversation(device)
    conversation.pass_time(0.25)
    idle_s = device.wait_s
    conversation.begin()

    assert idle_s == pytest.approx(0.75)
    assert 0.0 < device.wait_s < 0.010
    due_us = conversation.now_us + round(device.wait_s * 1e6)
    assert device.poll(due_us - 10) == b""
    assert device.poll(due_us + 10) != b""


def test_without_room_samples_are_dropped_and_counted_and_numbers_go_on(
    make_rig: MakeRig,
) -> None:
    conversation = talk(make_rig(), 0.5)
    device = conversation.device
    device.poll(800_000, room=False)
    conversation.now_us = 800_000
    conversation.pass_time(0.7)

    blocks = conversation.blocks("force")
    jumps = [
        after.sequence - before.sequence - before.sample_count for before, after in pairwise(blocks)
    ]
    overrun = conversation.of(Status)[-1].overrun_samples
    assert sum(jumps) == 300
    assert 440 < overrun <= 460  # 300 of the force and 150 of the imu, in whole blocks


def test_six_axes_at_their_rate_fit_the_frames(make_rig: MakeRig) -> None:
    fast = make_rig(axes=6, model=SensorModel(force_rate_hz=8000.0))
    conversation = talk(fast, 0.2)

    assert len(conversation.counts("force")) > 1500
    assert not conversation.of(FrameFault)
    assert not conversation.of(Malformed)


def test_lost_and_doubled_frames_show_as_jumps_of_the_number(make_rig: MakeRig) -> None:
    conversation = talk(make_rig(), 8.0, faults={"loss": 0.05, "double": 0.05})
    numbers = [block.sequence for block in conversation.blocks("force")]
    steps = set(np.diff(numbers).tolist())

    assert conversation.of(FrameFault) == []
    assert 0 in steps
    assert max(steps) >= 20


def test_flipped_bits_become_faults_and_never_samples(make_rig: MakeRig) -> None:
    rig = make_rig()
    conversation = talk(rig, 8.0, faults={"flip": 2e-4})

    assert len(conversation.of(FrameFault)) > 5
    for block in conversation.blocks("force"):
        expected = rig.force_counts(block.sequence, block.sample_count)
        found = conversation.values("force", block)
        assert np.array_equal(found, expected)


def test_a_fault_is_reported_once_at_its_time(make_rig: MakeRig) -> None:
    conversation = talk(make_rig(), 3.0, faults={"bridge": 1.25})

    (fault,) = conversation.of(Fault)
    assert fault.code is FaultCode.BRIDGE_OPEN
    assert fault.device_time_us == 1_250_000


def test_a_saturated_channel_stands_at_its_rail_for_two_seconds(make_rig: MakeRig) -> None:
    rig = make_rig()
    conversation = talk(rig, 5.0, faults={"saturate": 1.0})
    counts = conversation.counts("force")
    at_rail = np.flatnonzero(counts[:, 0] == conversation.spec("force").channels[0].count_max)

    (fault,) = conversation.of(Fault)
    assert fault.code is FaultCode.CONVERTER_SATURATED
    assert len(at_rail) == pytest.approx(2000, abs=10)
    assert at_rail[0] == pytest.approx(1000, abs=10)
    assert np.array_equal(counts[:, 1:], rig.force_counts(0, len(counts))[:, 1:])


def jumped(conversation: Conversation, name: str) -> int:
    """Return how many numbers of a stream never came."""
    blocks = conversation.blocks(name)
    return blocks[-1].sequence + blocks[-1].sample_count - sum(one.sample_count for one in blocks)


def test_an_inertial_unit_that_does_not_answer_leaves_a_gap_of_a_second(make_rig: MakeRig) -> None:
    conversation = talk(make_rig(), 4.0, faults={"imu": 1.5})

    (fault,) = conversation.of(Fault)
    assert (fault.code, fault.stream_id) == (
        FaultCode.IMU_SILENT,
        conversation.spec("imu").stream_id,
    )
    assert jumped(conversation, "imu") == pytest.approx(500, abs=10)
    assert jumped(conversation, "force") == 0
    assert conversation.of(Status)[-1].overrun_samples == 0


def test_a_converter_that_dies_is_told_and_brings_nothing_more(make_rig: MakeRig) -> None:
    conversation = talk(make_rig(), 4.0, faults={"converter": 1.5})

    (fault,) = conversation.of(Fault)
    force, imu = (conversation.blocks(name)[-1] for name in ("force", "imu"))
    assert (fault.code, fault.stream_id) == (FaultCode.STREAM_SILENT, force.stream_id)
    assert force.sequence + force.sample_count == pytest.approx(1500, abs=10)
    assert imu.sequence + imu.sample_count == pytest.approx(2000, abs=10)


def test_what_overruns_the_rig_s_buffer_is_dropped_and_counted(make_rig: MakeRig) -> None:
    conversation = talk(make_rig(), 4.0, faults={"overrun": 1.5})

    (fault,) = conversation.of(Fault)
    dropped = jumped(conversation, "force") + jumped(conversation, "imu")
    assert fault.code is FaultCode.BUFFER_OVERRUN
    assert dropped == conversation.of(Status)[-1].overrun_samples
    assert dropped == pytest.approx(300, abs=20)  # of 1000 and 500 a second, in whole blocks


def test_a_restart_begins_the_clock_anew_counts_up_and_waits_for_start(make_rig: MakeRig) -> None:
    conversation = talk(make_rig(), 4.0, faults={"restart": 1.5})
    statuses = [(s.device_time_us, s.streaming) for s in conversation.of(Status)]
    last_before = conversation.blocks("force")[-1]
    faults = len(conversation.of(FrameFault))
    conversation.heard.clear()
    conversation.begin()
    conversation.pass_time(1.0)

    assert last_before.device_time_us + last_before.span_us <= 1_500_000
    # Half a frame was on the line: it spoils the first status of the new life.
    assert statuses == [(1_000_000, True), (2_000_000, False)]
    assert faults == 1
    assert conversation.of(Identity)[-1].boot_count == 2
    assert conversation.blocks("force")[0].sequence == 0


@pytest.mark.parametrize(("name", "unplugged"), [("silence", False), ("unplug", True)])
def test_after_it_hangs_or_is_pulled_nothing_comes_but_what_was_sent(
    make_rig: MakeRig, name: str, unplugged: bool
) -> None:
    conversation = talk(make_rig(), 2.0, faults={name: 0.5})
    sent = len(conversation.counts("force"))
    conversation.say(conversation.host.identify())
    conversation.pass_time(2.0)

    assert sent == 500
    assert len(conversation.counts("force")) == sent
    assert conversation.device.unplugged is unplugged
    assert conversation.device.out_of_order
    assert len(conversation.of(Identity)) == 1


def test_a_ping_brings_its_clock_and_the_hosts_own_time_back(make_rig: MakeRig) -> None:
    conversation = Conversation(RigDevice(make_rig()))
    conversation.pass_time(0.25)

    for host_time_us in (76, 77):  # the latest is answered
        conversation.say(conversation.host.ask(partial(Ping, host_time_us=host_time_us)))
    conversation.pass_time(0.01)
    said = conversation.host.receive(conversation.device.pong())

    assert conversation.of(Pong) == []
    assert said == [Pong(conversation.host.last_request, 77, 250_000, 260_000)]
    assert conversation.device.pong() == b""


def test_its_store_keeps_gives_and_forgets(make_rig: MakeRig) -> None:
    conversation = Conversation(RigDevice(make_rig()))
    host = conversation.host

    conversation.say(host.ask(lambda number: WriteStore(number, "rig.toml.0", b"[rig]")))
    conversation.say(host.ask(lambda number: ReadStore(number, "rig.toml.0")))
    conversation.say(host.ask(lambda number: WriteStore(number, "rig.toml.0", b"")))
    conversation.say(host.ask(lambda number: ReadStore(number, "rig.toml.0")))

    assert [answer.value for answer in conversation.of(StoreValue)] == [b"[rig]", b""]
    assert [reply.outcome for reply in conversation.of(Reply)] == [Outcome.DONE] * 2


def test_of_more_keys_than_fit_the_answer_it_tells_whole_names(make_rig: MakeRig) -> None:
    names = [f"a_key_of_twenty_eight_char_{number:02}" for number in range(40)]
    conversation = Conversation(RigDevice(make_rig(), store=dict.fromkeys(names, b"x")))

    conversation.say(conversation.host.ask(lambda number: ReadStore(number, "")))

    (answer,) = conversation.of(StoreValue)
    told = answer.value.decode().split("\n")
    assert told == [*names[: len(told) - 1], ""]
    assert 1024 - 29 < 3 + len(answer.value) <= 1024  # section 2; 3 bytes before the value


def test_a_full_store_says_so_and_keeps_what_it_has(make_rig: MakeRig) -> None:
    store = {f"big.{number}": bytes(900) for number in range(72)}
    conversation = Conversation(RigDevice(make_rig(), store=store))
    host = conversation.host

    conversation.say(host.ask(lambda number: WriteStore(number, "one.more", bytes(900))))
    conversation.say(host.ask(lambda number: WriteStore(number, "big.0", b"")))
    conversation.say(host.ask(lambda number: WriteStore(number, "one.more", bytes(900))))

    outcomes = [reply.outcome for reply in conversation.of(Reply)]
    assert outcomes == [Outcome.STORE_FULL, Outcome.DONE, Outcome.DONE]
    assert "big.1" in store
    assert "big.0" not in store


def test_what_must_not_be_while_streaming_is_refused(make_rig: MakeRig) -> None:
    conversation = talk(make_rig(), 0.1)
    host = conversation.host
    conversation.heard.clear()

    conversation.say(host.ask(lambda number: WriteStore(number, "key", b"value")))
    conversation.say(host.ask(SelfTest))
    conversation.say(host.ask(lambda number: ZeroElectrical(number, 1)))

    assert [reply.outcome for reply in conversation.of(Reply)] == [Outcome.NOT_POSSIBLE_NOW] * 3


def test_what_makes_no_sense_is_a_bad_argument_in_any_state(make_rig: MakeRig) -> None:
    for conversation in (Conversation(RigDevice(make_rig())), talk(make_rig(), 0.1)):
        conversation.heard.clear()
        for key in ("", "a\nb", "\x7f"):
            conversation.say(conversation.host.ask(partial(WriteStore, key=key, value=b"v")))
        conversation.say(conversation.host.ask(lambda number: ZeroElectrical(number, 77)))

        assert [reply.outcome for reply in conversation.of(Reply)] == [Outcome.BAD_ARGUMENT] * 4


def test_a_configured_stream_is_sampled_so_from_the_next_start_on(make_rig: MakeRig) -> None:
    conversation = talk(make_rig(), 0.1)
    host = conversation.host

    conversation.say(host.ask(lambda number: Configure(number, 1, 250.0, 5)))
    conversation.pass_time(0.1)
    assert {block.sample_count for block in conversation.blocks("force")} == {10}
    conversation.heard.clear()
    conversation.begin()
    conversation.pass_time(2.0)

    blocks = conversation.blocks("force")
    assert conversation.spec("force").rate_hz == 250.0
    assert {(block.sample_count, block.span_us) for block in blocks} == {(5, 16_000)}
    assert len(conversation.counts("force")) == 500
    mean = conversation.counts("force").mean(axis=0)
    assert mean == pytest.approx(make_rig().force_counts(0, 2000).mean(axis=0), abs=200.0)


def test_what_was_configured_is_gone_with_the_power(make_rig: MakeRig) -> None:
    conversation = Conversation(RigDevice(make_rig()))
    host = conversation.host
    conversation.say(host.ask(lambda number: Configure(number, 1, 250.0, 5)))

    conversation.device.power_up()
    conversation.say(host.ask(lambda number: ReadConfiguration(number, 1)))

    before, after = conversation.of(Configuration)
    assert (before.rate_hz, before.block_samples) == (250.0, 5)
    assert (after.rate_hz, after.block_samples) == (1000.0, 10)


@pytest.mark.parametrize(
    "payload", ["7f", "01", "040101", "0a0101ff", "820100"], ids=lambda text: text
)
def test_only_a_command_it_does_not_know_is_answered_when_malformed(
    make_rig: MakeRig, payload: str
) -> None:
    conversation = Conversation(RigDevice(make_rig()))

    conversation.say(encode_frame(bytes.fromhex(payload)))
    assert conversation.heard == []

    conversation.say(encode_frame(b"\x7f\x2a"))
    assert conversation.heard == [Reply(42, Outcome.UNKNOWN_COMMAND)]
