"""A line that is left open: one opening for two users, and no stale one after a loss."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from acquisition.errors import TransportLost
from acquisition.transports.held import HeldPort


class Told:
    """A line that keeps what was done with it, and gives or raises what it is told to."""

    name = "told:"
    finished = False

    def __init__(self, reads: Iterable[bytes | Exception] = ()) -> None:
        self.done: list[str] = []
        self._reads = iter(reads)

    def open(self) -> None:
        self.done.append("open")

    def read(self) -> bytes:
        answer = next(self._reads, b"")
        if isinstance(answer, Exception):
            raise answer
        return answer

    def write(self, data: bytes) -> None:
        self.done.append(f"write {data.decode()}")
        if data == b"into nothing":
            raise TransportLost("gone")

    def close(self) -> None:
        self.done.append("close")


def test_what_is_left_open_is_opened_once_and_closed_once() -> None:
    told = Told([b"answer"])

    with HeldPort(told) as line:
        line.leave_open()
        line.open()
        line.write(b"one")
        assert line.read() == b"answer"
        line.close()
        line.open()
        line.write(b"two")
        line.close()

    assert told.done == ["open", "write one", "write two", "close", "close"]


def test_it_is_left_open_once_only_so_that_a_lost_line_is_opened_anew() -> None:
    told = Told()

    with HeldPort(told) as line:
        line.leave_open()
        line.open()
        line.close()
        line.open()
        line.close()
        line.open()

    assert told.done == ["open", "close", "open", "close"]


def test_nothing_is_left_open_of_a_line_that_was_lost() -> None:
    told = Told([TransportLost("gone")])

    with HeldPort(told) as line:
        for fail in (line.read, lambda: line.write(b"into nothing")):
            line.leave_open()
            line.open()
            with pytest.raises(TransportLost):
                fail()
            line.close()

    assert [what for what in told.done if "write" not in what] == ["open", "close"] * 2 + ["close"]


def fail_between_two_users(line: HeldPort) -> None:
    with line:
        line.leave_open()
        line.open()
        line.close()
        raise KeyError


def test_what_was_left_open_is_closed_at_the_end_whatever_happens() -> None:
    told = Told()

    with pytest.raises(KeyError):
        fail_between_two_users(HeldPort(told))

    assert told.done == ["open", "close"]
