"""The rig in software behind the same door as a real one: ``virtual:?trainee=T03&seed=7``."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from acquisition.clock import NS_PER_S, Clock, SystemClock
from acquisition.errors import AcquisitionError, PortError, TransportLost
from acquisition.rig import RigDescription, load_rig
from acquisition.transports.base import READ_WAIT_S
from acquisition.transports.url import PortUrl, play_speed
from acquisition.virtual_rig.device import RigDevice
from acquisition.virtual_rig.faults import parse_faults
from acquisition.virtual_rig.pacing import Pacer
from acquisition.virtual_rig.rigs import default_rig
from acquisition.virtual_rig.sensors import SensorModel
from acquisition.virtual_rig.trainees import Trainee, trainee
from acquisition.virtual_rig.virtual_rig import VirtualRig

DEFAULT_TRAINEE = "E01"


def _one_of(*values: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text not in values:
            raise ValueError(f"must be {' or '.join(values)}")
        return text

    return read


def _between(low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        value = float(text)
        if not low <= value <= high:
            raise ValueError(f"must lie between {low:g} and {high:g}")
        return value

    return read


def _count(text: str) -> int | None:
    number = int(text)
    if not 0 <= number <= 100_000:
        raise ValueError("must be 1 to 100000, or 0 for no end")
    return number or None


def _code(text: str) -> Trainee:
    try:
        return trainee(text)
    except AcquisitionError as cause:
        raise ValueError(str(cause)) from cause


RIG_OPTIONS: Mapping[str, Callable[[str], Any]] = {
    "rig": Path,
    "side": _one_of("right", "left"),
    "axes": _one_of("3", "6"),
    "stabiliser": _one_of("0", "1"),
    "noise_n": _between(0.0, 10.0),
}
PERSON_OPTIONS: Mapping[str, Callable[[str], Any]] = {
    "trainee": _code,
    "seed": int,
    "reps": _count,
    "plane": float,
    "top": float,
    "axial": float,
    "stop_reaction_ms": _between(0, 10_000),
}
LINE_OPTIONS: Mapping[str, Callable[[str], Any]] = {
    "speed": play_speed,
    "faults": parse_faults,
    "ppm": _between(-10_000, 10_000),
}


class VirtualPort:
    """A virtual rig as a byte pipe.

    Time stands still while the port is closed. A rig that was unplugged or hung has restarted
    when the port is opened again.

    Args:
        name: What to call it in messages.
        virtual_rig: The rig and the person at it.
        speed: 1 is real time; infinity gives 20 ms of rig time at each `read`, at once.
        faults: As `parse_faults` gives them.
        clock_ppm: How much too fast the rig's clock runs.
        clock: For pacing.
    """

    def __init__(
        self,
        name: str,
        virtual_rig: VirtualRig,
        *,
        speed: float = 1.0,
        faults: Mapping[str, float] | None = None,
        clock_ppm: float = 0.0,
        clock: Clock | None = None,
    ) -> None:
        self.name = name
        self.virtual_rig = virtual_rig
        self._clock = clock or SystemClock()
        self._pacer = Pacer(self._clock, speed)
        self._device = RigDevice(virtual_rig, faults=faults, clock_ppm=clock_ppm)
        self._answers = bytearray()
        self._called_ns: deque[int] = deque()
        self._open = False

    @classmethod
    def from_url(cls, url: PortUrl, *, clock: Clock | None = None) -> VirtualPort:
        """Make one from ``virtual:?trainee=T03&seed=7&side=left&axes=6&plane=30&speed=max``.

        Options: ``trainee``; ``seed``; ``side``, ``axes`` and ``stabiliser=1``, a second cell
        under the stabilising hand, or ``rig``, the file of a rig of one's own; ``noise_n`` of the
        force; ``plane``, ``top``, ``axial`` in degrees; ``reps``, 0 without end;
        ``stop_reaction_ms``; ``speed``, 1 or max; ``faults``, such as loss:0.001,restart:30;
        ``ppm``.

        Raises:
            PortError: An option is unknown or out of range.
            DescriptionError: The file named by ``rig`` will not do.
        """
        if url.address:
            raise PortError(f"{url.text}: a virtual rig has no address; write virtual:?trainee=T03")
        options = url.read_options({**RIG_OPTIONS, **PERSON_OPTIONS, **LINE_OPTIONS})
        try:
            virtual_rig = virtual_rig_with(options)
        except PortError as cause:
            raise PortError(f"{url.text}: {cause}") from cause
        return cls(
            url.text,
            virtual_rig,
            speed=options.get("speed", 1.0),
            faults=options.get("faults"),
            clock_ppm=options.get("ppm", 0.0),
            clock=clock,
        )

    @property
    def finished(self) -> bool:
        """Whether the last repetition is over and every sample has been read."""
        return self._device.finished and not self._answers

    def open(self) -> None:
        """Switch it on, or, after a loss, plug it in again."""
        if self._device.out_of_order:
            self._device.power_up()
        self._answers.clear()
        self._pacer.resume()
        self._open = True

    def read(self) -> bytes:
        """Return what the rig has sent by now, waiting shortly if that is nothing.

        Raises:
            TransportLost: Not open, or the cable is pulled (fault ``unplug``).
        """
        self._require_open()
        data = self._taken()
        if not data and self._device.unplugged:
            self.close()
            raise TransportLost(f"{self.name}: the cable is pulled")
        if not data and not self._pacer.unpaced:
            self._clock.sleep(min(READ_WAIT_S, self._pacer.real_s(self._device.wait_s)))
            data = self._taken()
        return data

    def write(self, data: bytes) -> None:
        """Let the rig hear *data*; its answer comes with the next `read`.

        Raises:
            TransportLost: Not open.
        """
        self._require_open()
        if not self._pacer.unpaced:
            self._answers += self._device.poll(self._pacer.elapsed_us())
        self._answers += self._device.receive(data)

    def close(self) -> None:
        """Let go of it."""
        self._pacer.pause()
        self._open = False

    def hear_stop(self) -> None:
        """Let the person at the rig hear a call to stop, now; from any thread."""
        self._called_ns.append(self._clock.now_ns())

    def _taken(self) -> bytes:
        answers = bytes(self._answers)
        self._answers.clear()
        sent = self._device.poll(self._pacer.elapsed_us())
        while self._called_ns:
            ago_s = (self._clock.now_ns() - self._called_ns.popleft()) / NS_PER_S
            self._device.hear_stop(0.0 if self._pacer.unpaced else self._pacer.rig_s(ago_s))
        return self._device.pong() + answers + sent

    def _require_open(self) -> None:
        if not self._open:
            raise TransportLost(f"{self.name}: not open")


def virtual_rig_with(options: Mapping[str, Any]) -> VirtualRig:
    """Return the rig that the options of a port URL, already read, ask for.

    Raises:
        PortError: Options contradict each other or are out of range.
        DescriptionError: The file named by ``rig`` will not do.
    """
    numbers = {
        "seed": options.get("seed"),
        "plane_deg": options.get("plane"),
        "top_deg": options.get("top"),
        "axial_deg": options.get("axial"),
    }
    given: dict[str, Any] = {name: value for name, value in numbers.items() if value is not None}
    if "reps" in options:
        given["repetitions"] = options["reps"]
    if "stop_reaction_ms" in options:
        given["stop_reaction_s"] = options["stop_reaction_ms"] / 1000.0
    if "noise_n" in options:
        given["model"] = SensorModel(force_noise_n=options["noise_n"])
    person = options.get("trainee") or trainee(DEFAULT_TRAINEE)
    return VirtualRig(_rig_with(options), person, **given)


def _rig_with(options: Mapping[str, Any]) -> RigDescription:
    if "rig" not in options:
        return default_rig(
            options.get("side", "right"),
            int(options.get("axes", 3)),
            stabiliser=options.get("stabiliser") == "1",
        )
    if {"side", "axes", "stabiliser"} & options.keys():
        raise PortError("rig=FILE says side, axes and stabiliser itself; leave those options out")
    return load_rig(options["rig"])
