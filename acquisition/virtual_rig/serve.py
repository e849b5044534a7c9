"""Serves a virtual rig on a loopback TCP port or a pseudo-terminal.

The other side then uses the very code it uses for a real rig. Both functions block until
*stop* is set; a thread is the caller's matter.
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
import select
import socket
import threading
from collections.abc import Callable
from functools import partial

from acquisition.clock import Clock
from acquisition.errors import PortError
from acquisition.virtual_rig.device import RigDevice
from acquisition.virtual_rig.pacing import STEP_US, Pacer

LOOPBACK = "127.0.0.1"
MAX_BACKLOG_BYTES = 65_536
"""Beyond this the rig drops samples and counts them, as firmware with a full buffer does."""
LONGEST_WAIT_S = 0.02
READ_BYTES = 4096

DeviceFactory = Callable[[], RigDevice]


class _Gone(Exception):
    """Inside this module only: the client has left."""


def is_loopback(host: str) -> bool:
    """Tell whether only this machine can connect to *host*."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def serve_tcp(
    device_factory: DeviceFactory,
    *,
    clock: Clock,
    stop: threading.Event,
    on_address: Callable[[str], None],
    host: str = LOOPBACK,
    port: int = 0,
    speed: float = 1.0,
) -> None:
    """Serve one client after another, each with a rig of its own, until *stop* is set.

    Args:
        device_factory: Makes a rig for a client.
        clock: For pacing.
        stop: Ends it.
        on_address: Told the port's URL, such as ``tcp://127.0.0.1:4551``, once it listens.
        host: Address to listen on; anything but loopback lets other machines in.
        port: 0 takes a free one.
        speed: 1 is real time; infinity is as fast as the client takes it.

    Raises:
        PortError: The address cannot be had.
    """
    with contextlib.ExitStack() as closing:
        try:
            listener = closing.enter_context(socket.create_server((host, port)))
        except OSError as cause:
            raise PortError(
                f"tcp://{host}:{port}: cannot listen there ({cause.strerror}); "
                "choose another port, 0 takes a free one"
            ) from cause
        on_address("tcp://{}:{}".format(*listener.getsockname()[:2]))
        listener.settimeout(LONGEST_WAIT_S)
        while not stop.is_set():
            with contextlib.suppress(TimeoutError, _Gone):
                connection, _ = listener.accept()
                with connection:
                    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                    connection.setblocking(False)
                    _Line(
                        connection.fileno(),
                        connection.recv,
                        connection.send,
                        device_factory(),
                        Pacer(clock, speed),
                    ).run(stop)


def serve_pty(
    device_factory: DeviceFactory,
    *,
    clock: Clock,
    stop: threading.Event,
    on_address: Callable[[str], None],
    speed: float = 1.0,
) -> None:
    """Serve one rig on a pseudo-terminal until *stop* is set.

    Like a real port it does not notice who opens and closes it: a client that leaves without
    stopping the streams leaves them running.

    Args:
        device_factory: Makes the rig.
        clock: For pacing.
        stop: Ends it.
        on_address: Told the port's URL, such as ``serial:/dev/pts/4``.
        speed: 1 is real time; infinity is as fast as the client takes it.

    Raises:
        PortError: This system has no pseudo-terminals.
    """
    try:
        import tty
    except ImportError:
        raise PortError("no pseudo-terminals on this system; serve on TCP instead") from None
    ours, theirs = os.openpty()
    try:
        # Raw at both ends, or 0x0A and 0x11 would be changed or swallowed. Their end stays open
        # here, so that nothing is hung up while no client is there.
        tty.setraw(ours)
        tty.setraw(theirs)
        os.set_blocking(ours, False)
        on_address(f"serial:{os.ttyname(theirs)}")
        with contextlib.suppress(_Gone):
            _Line(
                ours,
                partial(os.read, ours),
                partial(os.write, ours),
                device_factory(),
                Pacer(clock, speed),
            ).run(stop)
    finally:
        os.close(ours)
        os.close(theirs)


class _Line:
    """A rig at one end of a line that does not block.

    Args:
        waitable: What `select` can wait for.
        read: Takes a size, gives bytes; none means that the client has left.
        write: Takes bytes, says how many went.
        device: The rig.
        pacer: Its time.
    """

    def __init__(
        self,
        waitable: int,
        read: Callable[[int], bytes],
        write: Callable[[bytes], int],
        device: RigDevice,
        pacer: Pacer,
    ) -> None:
        self._waitable = waitable
        self._read, self._write = read, write
        self._device = device
        self._pacer = pacer
        self._polled_us = 0
        self._backlog = bytearray()
        self._mid_frame = False

    def run(self, stop: threading.Event) -> None:
        """Go on until *stop* is set.

        Raises:
            _Gone: The client has left, or the fault ``unplug`` came.
        """
        self._pacer.resume()
        while not stop.is_set():
            writers = [self._waitable] if self._backlog else []
            select.select([self._waitable], writers, [], self._wait_s())
            try:
                self._let_time_pass(stop)
                self._hear()
                self._speak()
            except OSError as cause:
                raise _Gone from cause
            if self._device.unplugged:
                raise _Gone

    def _wait_s(self) -> float:
        if self._pacer.unpaced:
            return 0.0 if self._device.streaming and not self._backlog else LONGEST_WAIT_S
        return min(LONGEST_WAIT_S, self._pacer.real_s(self._device.wait_s))

    def _hear(self) -> None:
        with contextlib.suppress(BlockingIOError):
            data = self._read(READ_BYTES)
            if not data:
                raise _Gone
            self._backlog += self._device.receive(data)

    def _let_time_pass(self, stop: threading.Event) -> None:
        if self._pacer.unpaced and self._backlog:
            return  # as fast as the client takes it, no faster
        until_us = self._pacer.elapsed_us()
        while self._polled_us < until_us and not stop.is_set():
            # In steps, so that a long stop of this process fills no memory.
            self._polled_us = min(until_us, self._polled_us + STEP_US)
            room = len(self._backlog) < MAX_BACKLOG_BYTES
            self._backlog += self._device.poll(self._polled_us, room=room)

    def _speak(self) -> None:
        if not select.select([], [self._waitable], [], 0)[1]:
            return
        if not self._mid_frame:  # ahead of all that waits: it tells when it went
            self._backlog[:0] = self._device.pong()
        with contextlib.suppress(BlockingIOError):
            if self._backlog:
                taken = self._write(bytes(self._backlog))
                self._mid_frame = self._backlog[taken - 1] != 0
                del self._backlog[:taken]
