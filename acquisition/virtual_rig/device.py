"""The rig's firmware in software, without a port: bytes in, bytes out, time as an argument.

It answers commands, streams in blocks of about 10 ms, sends its status every second, never
waits, and can misbehave on request (`faults`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, MutableMapping
from functools import partial
from itertools import accumulate

from acquisition.virtual_rig.faults import FAULTS, Dice, FaultPlan, LineFault, TimedFault
from acquisition.virtual_rig.sender import Sender
from acquisition.virtual_rig.setting import settings_of
from acquisition.virtual_rig.virtual_rig import VirtualRig
from firmware_protocol.codec import FIRST_RIG_TYPE, LAYOUTS, Malformed, encode
from firmware_protocol.ends import RigEnd
from firmware_protocol.framing import MAX_PAYLOAD_BYTES
from firmware_protocol.messages import (
    FORCE_STREAM,
    IMU_STREAM,
    NO_STREAM,
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    Configuration,
    Configure,
    Fault,
    FaultCode,
    HostMessage,
    Identify,
    Identity,
    Outcome,
    Ping,
    Pong,
    ReadConfiguration,
    ReadStore,
    Reply,
    RestartCounters,
    RigMessage,
    SelfTest,
    SelfTestResult,
    Start,
    Status,
    Stop,
    StoreValue,
    StreamSpec,
    WriteStore,
    ZeroElectrical,
)
from firmware_protocol.table import is_plain

FIRMWARE_VERSION = "virtual 1"
STATUS_US = 1_000_000
RAIL_US = 2_000_000
IMU_LOST_US = 1_000_000
OVERRUN_US = 200_000
OUT_OF_ORDER_WAIT_S = 1.0
STORE_BYTES = 65_536
"""Keys and values together."""
NAMES_BYTES = MAX_PAYLOAD_BYTES - len(encode(StoreValue(1, "", b"")))
"""Room for names in the answer that lists the keys."""

Happening = tuple[int, Callable[[], None]]


class RigDevice:
    """One rig at the far end of a line.

    Args:
        virtual_rig: What it is made of. The script begins at every `Start`.
        faults: What goes wrong, by name and number.
        clock_ppm: How much too fast its clock runs.
        boot_count: Counts up when it restarts.
        store: What it keeps over power-off; several devices may be one rig, switched on anew.
    """

    def __init__(
        self,
        virtual_rig: VirtualRig,
        *,
        faults: FaultPlan | None = None,
        clock_ppm: float = 0.0,
        boot_count: int = 1,
        store: MutableMapping[str, bytes] | None = None,
    ) -> None:
        self._rig = virtual_rig
        self._line_faults: list[tuple[LineFault, float]] = []
        self._timed_faults: list[tuple[TimedFault, float]] = []
        for name, number in (faults or {}).items():
            fault = FAULTS[name]
            if isinstance(fault, LineFault):
                self._line_faults.append((fault, number))
            else:
                self._timed_faults.append((fault, number))
        self._dice = Dice(virtual_rig.seed, virtual_rig.rig.rig.id)
        self._rate = 1.0 + clock_ppm * 1e-6
        self._boot_count = boot_count
        self._ticks_us = 0
        self._boot_at_us = 0
        self._out = bytearray()
        self._store = {} if store is None else store
        self._room = True
        self._asked: Ping | None = None
        self._asked_us = 0
        self.out_of_order = False
        self._reset()

    @property
    def finished(self) -> bool:
        """The script is over and its last sample is sent."""
        return self._senders != [] and not self._streaming

    @property
    def streaming(self) -> bool:
        """Sample blocks are being sent."""
        return self._streaming

    @property
    def unplugged(self) -> bool:
        """The line is gone."""
        return self._unplugged

    @property
    def wait_s(self) -> float:
        """How long `poll` will have nothing new, by the clock of who calls it."""
        if self.out_of_order:
            return OUT_OF_ORDER_WAIT_S
        due_us = min(due_us for due_us, _ in self._agenda())
        return max(0.0, (due_us - self._now_us) * 1e-6 / self._rate)

    def receive(self, data: bytes) -> bytes:
        """Take in what the host sent since `poll`; return the answers, but `pong`."""
        for item in [] if self.out_of_order else self._end.receive(data):
            if isinstance(item, HostMessage):
                self._obey(item)
            elif isinstance(item, Malformed):
                self._refuse(item)
        return self._taken()

    def poll(self, elapsed_us: int, *, room: bool = True) -> bytes:
        """Return what it sends up to now.

        Args:
            elapsed_us: Since it was switched on, by the clock of who calls it; never back.
            room: False while the line takes nothing: samples due are then dropped, and
                counted as any firmware with a full buffer counts them.
        """
        self._room = room
        self._ticks_us = max(self._ticks_us, round(elapsed_us * self._rate))
        while not self.out_of_order:
            due_us, happen = min(self._agenda(), key=lambda item: item[0])
            if due_us > self._now_us:
                break
            self._at_us = due_us
            happen()
        return self._taken()

    def pong(self) -> bytes:
        """Return the answer to the latest Ping, empty if none waits.

        It tells the time of now: to be called when the line takes it, between two frames.
        """
        asked, self._asked = self._asked, None
        if asked is None or self.out_of_order:
            return b""
        return self._framed(
            Pong(asked.request_id, asked.host_time_us, self._asked_us, self._now_us)
        )

    def power_up(self) -> None:
        """Begin anew, as after a loss of power: clock at 0, not streaming."""
        self._boot_at_us += self._at_us
        self._boot_count += 1
        self._reset()

    def restart(self) -> None:
        """Begin anew while the line is up: half a frame is left on it."""
        self.power_up()
        self._out += b"\x2a\x17"

    def report(self, code: FaultCode, stream_id: int, detail: str) -> None:
        """Send a fault message."""
        self._say(Fault(self._at_us, code, stream_id, detail))

    def hold_at_rail(self) -> None:
        """Keep the first force channel at its upper rail for 2 s, and say so."""
        self._rail_until_us = self._at_us + RAIL_US
        spec = self._spec(FORCE_STREAM)
        text = f"{spec.channels[0].name} at its rail"
        self.report(FaultCode.CONVERTER_SATURATED, spec.stream_id, text)

    def lose_imu(self) -> None:
        """Get no samples of the inertial unit for 1 s, and say so."""
        self._no_imu_until_us = self._at_us + IMU_LOST_US
        self.report(FaultCode.IMU_SILENT, self._spec(IMU_STREAM).stream_id, "")

    def lose_converter(self) -> None:
        """Get no sample of the load cell any more until the next power-up, and say so."""
        self._no_force = True
        self.report(FaultCode.STREAM_SILENT, self._spec(FORCE_STREAM).stream_id, "")

    def overrun(self) -> None:
        """Drop what is due in 0.2 s, and say so."""
        self._overrun_until_us = self._at_us + OVERRUN_US
        self.report(FaultCode.BUFFER_OVERRUN, NO_STREAM, "")

    def hear_stop(self, ago_s: float) -> None:
        """Let the person at it hear a call to stop.

        Args:
            ago_s: How long ago it was called, by the clock of who calls it.
        """
        if self._streaming:
            at_us = self._now_us - self._start_us - ago_s * 1e6 * self._rate
            self._rig.call_stop(at_us * 1e-6)

    def fall_silent(self) -> None:
        """Say and hear nothing more until `power_up`."""
        self.out_of_order = True

    def pull_plug(self) -> None:
        """Lose the line until `power_up`."""
        self.out_of_order = self._unplugged = True

    def _reset(self) -> None:
        self._end = RigEnd()
        self._asked = None
        self._asked_us = 0
        self._senders: list[Sender] = []
        self._settings = settings_of(self._rig.streams)
        self._streaming = False
        self._start_us = 0
        self._at_us = 0
        self._rail_until_us = 0
        self._no_imu_until_us = 0
        self._no_force = False
        self._overrun_until_us = 0
        self._next_status_us = STATUS_US
        self._overrun_samples = 0
        self.out_of_order = self._unplugged = False

    @property
    def _now_us(self) -> int:
        return self._ticks_us - self._boot_at_us

    def _agenda(self) -> Iterator[Happening]:
        yield self._next_status_us, self._tell_status
        if not self._streaming:
            return
        for fault, after_s in self._timed_faults:
            yield self._start_us + round(after_s * 1e6), partial(self._break, fault)
        for sender in self._senders:
            if sender.size:
                yield sender.due_us, partial(self._send_block, sender)

    def _obey(self, message: HostMessage) -> None:
        match message:
            case Identify(request_id):
                self._say(self._identity(request_id))
            case Start(request_id):
                self._start_us = self._now_us
                self._rig.begin_again()
                self._senders = [s.sender(self._start_us) for s in self._settings.values()]
                self._streaming = any(sender.size for sender in self._senders)
                self._say(Reply(request_id, Outcome.DONE))
            case Stop(request_id):
                self._senders = []
                self._streaming = False
                self._say(Reply(request_id, Outcome.DONE))
            case Ping():
                self._asked, self._asked_us = message, self._now_us
            case RestartCounters(request_id):
                self._overrun_samples = 0
                self._say(Reply(request_id, Outcome.DONE))
            case ReadStore(request_id, key):
                self._say(StoreValue(request_id, key, self._kept(key)))
            case _:
                self._obey_at_rest(message)

    def _obey_at_rest(self, message: HostMessage) -> None:
        """Do what must not be done while streaming, and what depends on a stream."""
        match message:
            case Configure(request_id, stream_id, rate_hz, block_samples):
                self._configure(request_id, stream_id, rate_hz, block_samples)
            case ReadConfiguration(request_id, stream_id):
                self._tell_configuration(request_id, stream_id)
            case WriteStore(request_id, key) if not (key and is_plain(key)):
                self._say(Reply(request_id, Outcome.BAD_ARGUMENT))
            case ZeroElectrical(request_id, stream_id) if stream_id not in self._settings:
                self._say(Reply(request_id, Outcome.BAD_ARGUMENT))
            case WriteStore(request_id, key, value) if not self._streaming:
                self._say(Reply(request_id, self._keep(key, value)))
            case SelfTest(request_id) if not self._streaming:
                self._say(SelfTestResult(request_id, True, ""))
            case _:  # it has no amplifiers to balance either
                self._say(Reply(message.request_id, Outcome.NOT_POSSIBLE_NOW))

    def _kept(self, key: str) -> bytes:
        if key:
            return self._store.get(key, b"")
        names = [f"{name}\n".encode() for name in self._store]
        ends = accumulate(map(len, names))
        return b"".join(name for name, end in zip(names, ends, strict=True) if end <= NAMES_BYTES)

    def _keep(self, key: str, value: bytes) -> Outcome:
        others = sum(len(k.encode()) + len(v) for k, v in self._store.items() if k != key)
        if value and others + len(key.encode()) + len(value) > STORE_BYTES:
            return Outcome.STORE_FULL
        self._store.pop(key, None)
        if value:
            self._store[key] = value
        return Outcome.DONE

    def _configure(
        self, request_id: int, stream_id: int, rate_hz: float, block_samples: int
    ) -> None:
        setting = self._settings.get(stream_id)
        if setting is None or math.isnan(rate_hz):
            self._say(Reply(request_id, Outcome.BAD_ARGUMENT))
        else:
            self._settings[stream_id] = setting.configured(rate_hz, block_samples)
            self._tell_configuration(request_id, stream_id)

    def _tell_configuration(self, request_id: int, stream_id: int) -> None:
        setting = self._settings.get(stream_id)
        if setting is None:
            self._say(Reply(request_id, Outcome.BAD_ARGUMENT))
        else:
            rate_hz, size = setting.spec.rate_hz, setting.block_samples
            self._say(Configuration(request_id, stream_id, rate_hz, size))

    def _refuse(self, item: Malformed) -> None:
        """Answer a command of a newer version; one that is known but malformed gets none."""
        number, *rest = item.payload
        if rest and number < FIRST_RIG_TYPE and number not in LAYOUTS:
            self._say(Reply(rest[0], Outcome.UNKNOWN_COMMAND))

    def _identity(self, request_id: int) -> Identity:
        return Identity(
            request_id,
            PROTOCOL_MAJOR,
            PROTOCOL_MINOR,
            FIRMWARE_VERSION,
            self._rig.rig.rig.id,
            self._boot_count,
            tuple(setting.spec for setting in self._settings.values()),
        )

    def _tell_status(self) -> None:
        self._say(Status(self._at_us, self._streaming, self._overrun_samples))
        self._next_status_us += STATUS_US

    def _break(self, fault: TimedFault) -> None:
        self._timed_faults = [item for item in self._timed_faults if item[0] is not fault]
        fault.happen(self)

    def _send_block(self, sender: Sender) -> None:
        if self._never_taken(sender):
            sender.skip()  # they were never taken, so that no buffer overruns either
        elif self._room and self._at_us >= self._overrun_until_us:
            self._say(sender.block(rail_until_us=self._rail(sender)))
            sender.skip()
        else:
            self._overrun_samples += sender.skip()
        self._streaming = any(other.size for other in self._senders)

    def _never_taken(self, sender: Sender) -> bool:
        if sender.spec.name == IMU_STREAM:
            return self._at_us < self._no_imu_until_us
        return self._no_force and sender.spec.name == FORCE_STREAM

    def _spec(self, name: str) -> StreamSpec:
        return next(stream.spec for stream in self._rig.streams if stream.spec.name == name)

    def _rail(self, sender: Sender) -> int:
        return self._rail_until_us if sender.spec.name == FORCE_STREAM else 0

    def _say(self, message: RigMessage) -> None:
        self._out += self._framed(message)

    def _framed(self, message: RigMessage) -> bytes:
        frame = self._end.send(message)
        for fault, share in self._line_faults:
            frame = fault.apply(frame, share, self._dice)
        return frame

    def _taken(self) -> bytes:
        taken = bytes(self._out)
        self._out.clear()
        return taken
