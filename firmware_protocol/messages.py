"""What the two ends of the wire say to each other, as frozen values.

Nothing here knows bytes: `codec` turns these into payloads and back. Numbers stay as the
wire has them (raw counts, microseconds); a scale belongs to the stream table.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

PROTOCOL_MAJOR = 1
PROTOCOL_MINOR = 0

FORCE_STREAM = "force"
"""Name of the stream of load-cell counts: channels fx fy fz, with six axes also mx my mz."""
IMU_STREAM = "imu"
"""Name of the stream of inertial counts: channels ax ay az gx gy gz."""


class SampleType(IntEnum):
    """How one value of a stream lies in a sample block (little-endian).

    Closed within a major version: data of an unknown type could not be read.
    """

    INT16 = 1
    INT32 = 2


class OpenCode(IntEnum):
    """One byte to which a newer minor version may add: what it adds keeps its number."""

    @classmethod
    def _missing_(cls, value: object) -> OpenCode | None:
        if not isinstance(value, int) or not 0 < value <= 255:
            return None
        member = int.__new__(cls, value)
        member._name_ = f"CODE_{value}"
        member._value_ = value
        return member

    def __reduce_ex__(self, _protocol: object) -> tuple[object, ...]:
        # Early releases of Python 3.11 pickle a member by name; an unknown code has none.
        return (type(self), (self._value_,))


class Outcome(OpenCode):
    """How the rig took a command."""

    DONE = 0
    UNKNOWN_COMMAND = 1
    BAD_ARGUMENT = 2
    NOT_POSSIBLE_NOW = 3
    STORE_FULL = 4
    STORE_FAILED = 5


class FaultCode(OpenCode):
    """What the rig reports unasked. Numbers are never reused, 0 is none."""

    BRIDGE_OPEN = 1
    CONVERTER_SATURATED = 2
    IMU_SILENT = 3
    BUFFER_OVERRUN = 4
    STREAM_SILENT = 5


@dataclass(frozen=True, slots=True)
class ChannelSpec:
    """One column of a stream.

    Attributes:
        name: Short name, such as ``fx`` or ``gz``.
        unit: Unit of count × *scale*: ``count``, ``m/s2``, ``rad/s``.
        scale: Nominal units per count; the rig description may know better.
        count_min: Lower rail of the converter; a sample at it is saturated.
        count_max: Upper rail of the converter.
    """

    name: str
    unit: str
    scale: float
    count_min: int
    count_max: int


@dataclass(frozen=True, slots=True)
class StreamSpec:
    """One stream as the rig describes it.

    Attributes:
        stream_id: 0 to 254, used in sample blocks.
        name: What it carries: `FORCE_STREAM`, `IMU_STREAM`, or a name the host may not know.
        sample_type: Width of each value.
        rate_hz: Nominal rate.
        channels: The columns in wire order.
    """

    stream_id: int
    name: str
    sample_type: SampleType
    rate_hz: float
    channels: tuple[ChannelSpec, ...]


# --- host to rig -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Identify:
    """Asks who is there. Allowed at any time, also while streaming."""

    request_id: int


@dataclass(frozen=True, slots=True)
class Start:
    """Starts all streams."""

    request_id: int


@dataclass(frozen=True, slots=True)
class Stop:
    """Stops all streams."""

    request_id: int


@dataclass(frozen=True, slots=True)
class Configure:
    """Sets how a stream is sampled and sent; from the next `Start` on.

    Attributes:
        request_id: Of this command.
        stream_id: Which stream.
        rate_hz: Wanted rate; the rig takes the nearest it can.
        block_samples: Samples in a block, 0 leaves it to the rig.
    """

    request_id: int
    stream_id: int
    rate_hz: float
    block_samples: int


@dataclass(frozen=True, slots=True)
class ReadConfiguration:
    """Asks how a stream is sampled and sent."""

    request_id: int
    stream_id: int


@dataclass(frozen=True, slots=True)
class ZeroElectrical:
    """Lets the amplifiers of a stream balance themselves, hands off. Never done unasked."""

    request_id: int
    stream_id: int


@dataclass(frozen=True, slots=True)
class Ping:
    """Asks for the rig's clock.

    Attributes:
        request_id: Of this question.
        host_time_us: The host's clock when it asked; comes back as it is.
    """

    request_id: int
    host_time_us: int


@dataclass(frozen=True, slots=True)
class SelfTest:
    """Asks the rig to test itself; not while streaming."""

    request_id: int


@dataclass(frozen=True, slots=True)
class RestartCounters:
    """Sets the counters of `Status` to 0."""

    request_id: int


@dataclass(frozen=True, slots=True)
class ReadStore:
    """Asks for a value kept on the rig, such as its description."""

    request_id: int
    key: str


@dataclass(frozen=True, slots=True)
class WriteStore:
    """Keeps a value on the rig over power-off; an empty one removes the key."""

    request_id: int
    key: str
    value: bytes = field(repr=False)


# --- rig to host -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Identity:
    """The rig's answer to `Identify`.

    Attributes:
        request_id: That of the question.
        protocol_major: A host refuses a major it does not know.
        protocol_minor: A newer minor is noted and accepted.
        firmware_version: Free text, at most 32 bytes of UTF-8.
        rig_serial: The rig's own name, at most 32 bytes of UTF-8.
        boot_count: Changes when the rig restarts: then its zero is not to be trusted.
        streams: The stream table.
    """

    request_id: int
    protocol_major: int
    protocol_minor: int
    firmware_version: str
    rig_serial: str
    boot_count: int
    streams: tuple[StreamSpec, ...]


@dataclass(frozen=True, slots=True)
class Reply:
    """The rig's answer to every command but `Identify`."""

    request_id: int
    outcome: Outcome


@dataclass(frozen=True, slots=True)
class SampleBlock:
    """Consecutive samples of one stream.

    Attributes:
        stream_id: Row of the stream table.
        sequence: Number of the first sample since `Start`, counted in samples, modulo 2**32.
        device_time_us: Device time of the first sample, 64 bit: it does not wrap.
        span_us: Time from the first to the last sample (0 for a single one).
        sample_count: How many samples.
        data: Their values, row by row, little-endian, as the stream table says.
    """

    stream_id: int
    sequence: int
    device_time_us: int
    span_us: int
    sample_count: int
    data: bytes = field(repr=False)


@dataclass(frozen=True, slots=True)
class Status:
    """Sent about once a second, streaming or not: silence means a dead line.

    Attributes:
        device_time_us: Device time now.
        streaming: Whether sample blocks are being sent.
        overrun_samples: Samples the rig itself had to drop since power-up.
    """

    device_time_us: int
    streaming: bool
    overrun_samples: int


@dataclass(frozen=True, slots=True)
class Fault:
    """Something went wrong on the rig.

    Attributes:
        device_time_us: When.
        code: What.
        stream_id: Which stream, `NO_STREAM` if none.
        detail: For people, at most 64 bytes of UTF-8.
    """

    device_time_us: int
    code: FaultCode
    stream_id: int
    detail: str


@dataclass(frozen=True, slots=True)
class Configuration:
    """The answer to `Configure` and `ReadConfiguration`: how it is, or will be from `Start` on.

    Attributes:
        request_id: That of the command.
        stream_id: Which stream.
        rate_hz: The rate the rig has.
        block_samples: Samples in a block.
    """

    request_id: int
    stream_id: int
    rate_hz: float
    block_samples: int


@dataclass(frozen=True, slots=True)
class Pong:
    """The answer to `Ping`.

    Attributes:
        request_id: That of the question.
        host_time_us: As it came.
        received_us: The rig's clock when it had the whole question.
        sent_us: The rig's clock when the first byte of this answer was handed to the line.
    """

    request_id: int
    host_time_us: int
    received_us: int
    sent_us: int


@dataclass(frozen=True, slots=True)
class SelfTestResult:
    """The answer to `SelfTest`.

    Attributes:
        request_id: That of the command.
        passed: Whether all was well.
        detail: What was not, for people, at most 64 bytes of UTF-8.
    """

    request_id: int
    passed: bool
    detail: str


@dataclass(frozen=True, slots=True)
class StoreValue:
    """The answer to `ReadStore`; an empty value: there is no such key."""

    request_id: int
    key: str
    value: bytes = field(repr=False)


NO_STREAM = 255

HostMessage = (
    Identify
    | Start
    | Stop
    | Configure
    | ReadConfiguration
    | ZeroElectrical
    | Ping
    | SelfTest
    | RestartCounters
    | ReadStore
    | WriteStore
)
RigMessage = (
    Identity
    | Reply
    | Configuration
    | Pong
    | SelfTestResult
    | StoreValue
    | SampleBlock
    | Status
    | Fault
)
Message = HostMessage | RigMessage
