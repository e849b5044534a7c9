from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from acquisition.clock import ManualClock
from acquisition.errors import DescriptionError, PortError, TransportLost
from acquisition.transports import transport_for
from acquisition.transports.url import parse_url
from acquisition.transports.virtual import VirtualPort
from acquisition.virtual_rig.rigs import RIG_FILES
from firmware_protocol.ends import HostEnd
from firmware_protocol.messages import Identity, Ping, Pong, SampleBlock


def port(options: str, clock: ManualClock | None = None) -> VirtualPort:
    return VirtualPort.from_url(parse_url(f"virtual:{options}"), clock=clock)


def begin(opened: VirtualPort) -> HostEnd:
    host = HostEnd()
    opened.open()
    opened.write(host.identify())
    host.receive(opened.read())
    opened.write(host.start())
    return host


def blocks_of(host: HostEnd, data: bytes) -> list[SampleBlock]:
    return [item for item in host.receive(data) if isinstance(item, SampleBlock)]


def test_a_whole_trial_comes_through_the_door_of_real_rigs() -> None:
    opened = transport_for("virtual:?trainee=T03&seed=7&side=left&axes=6&reps=1&speed=max")
    assert isinstance(opened, VirtualPort)
    host = begin(opened)
    blocks = []
    while not opened.finished:
        blocks += blocks_of(host, opened.read())

    assert host.identity is not None
    force = host.identity.streams[0]
    data = b"".join(b.data for b in blocks if b.stream_id == force.stream_id)
    counts = np.frombuffer(data, "<i4").reshape(-1, len(force.channels))
    rig = opened.virtual_rig
    assert (rig.rig.rig.id, rig.trainee.code, rig.seed) == ("L02", "T03", 7)
    assert np.array_equal(counts, rig.force_counts(0, int(rig.streams[0].sample_count)))


def test_a_pong_tells_when_the_question_came_and_when_the_answer_went() -> None:
    clock = ManualClock()
    opened = port("?ppm=0", clock)
    host = begin(opened)
    opened.read()
    clock.advance(0.0043)
    asked_us = clock.now_ns() // 1000
    opened.write(host.ask(lambda number: Ping(number, asked_us)))
    clock.advance(0.0031)

    (pong,) = (item for item in host.receive(opened.read()) if isinstance(item, Pong))

    assert pong.host_time_us == asked_us
    assert pong.received_us == pytest.approx(asked_us, abs=1)
    assert pong.sent_us == pytest.approx(asked_us + 3100, abs=1)


def test_at_full_speed_each_read_gives_the_next_twenty_milliseconds() -> None:
    clock = ManualClock()
    opened = port("?speed=max", clock)
    host = begin(opened)
    opened.read()
    blocks = blocks_of(host, opened.read())

    assert sum(b.sample_count for b in blocks if b.stream_id == 1) == 20
    assert clock.now_ns() == 0  # nobody waited


def test_in_real_time_it_gives_what_the_clock_says_and_waits_no_longer_than_needed() -> None:
    clock = ManualClock()
    opened = port("", clock)
    host = begin(opened)
    opened.read()
    clock.advance(1.0)
    second = blocks_of(host, opened.read())
    before_ns = clock.now_ns()
    following = blocks_of(host, opened.read())

    assert 980 <= sum(b.sample_count for b in second if b.stream_id == 1) <= 1000
    assert len(following) == 1
    assert 0 < clock.now_ns() - before_ns <= 10_000_000


def test_an_idle_rig_costs_a_short_wait_and_gives_nothing() -> None:
    clock = ManualClock()
    opened = port("", clock)
    opened.open()

    assert opened.read() == b""
    assert clock.now_ns() == 20_000_000


def test_time_stands_still_while_the_port_is_closed() -> None:
    clock = ManualClock()
    opened = port("", clock)
    host = begin(opened)
    opened.close()
    opened.close()
    clock.advance(3600.0)
    opened.open()
    clock.advance(0.1)

    assert sum(b.sample_count for b in blocks_of(host, opened.read()) if b.stream_id == 1) <= 100


def test_an_endless_trial_never_finishes() -> None:
    opened = port("?reps=0&speed=max")
    begin(opened)
    for _ in range(50):
        opened.read()

    assert not opened.finished
    assert opened.virtual_rig.duration_s == float("inf")


def test_a_pulled_cable_is_a_loss_and_the_rig_has_restarted_when_plugged_in_again() -> None:
    opened = port("?faults=unplug:0.5&speed=max")
    host = begin(opened)
    heard: list[SampleBlock] = []

    def read_on() -> None:
        for _ in range(100):
            heard.extend(blocks_of(host, opened.read()))

    with pytest.raises(TransportLost, match="the cable is pulled"):
        read_on()
    assert sum(block.sample_count for block in heard if block.stream_id == 1) == 500
    opened.open()
    opened.write(host.identify())
    (identity,) = [item for item in host.receive(opened.read()) if isinstance(item, Identity)]
    assert identity.boot_count == 2


def test_a_port_that_is_not_open_is_a_loss() -> None:
    opened = port("")

    with pytest.raises(TransportLost, match="virtual:: not open"):
        opened.read()
    with pytest.raises(TransportLost, match="not open"):
        opened.write(b"x")


def test_a_rig_of_ones_own_can_be_played(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    text = RIG_FILES["right", 3].read_text(encoding="utf-8").replace('"R01"', '"R55"')
    own.write_text(text, encoding="utf-8")

    assert port(f"?rig={own}").virtual_rig.rig.rig.id == "R55"
    with pytest.raises(DescriptionError, match="no such file"):
        port(f"?rig={tmp_path / 'none.toml'}")


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ("?trainee=T99", "no trainee 'T99'"),
        ("?trainee=", "no trainee ''"),
        ("?traine=T03", "unknown option 'traine'; known: axes, axial, faults"),
        ("?seed=x", "seed='x' will not do"),
        ("?seed=-1", "seed = -1 must lie between"),
        ("?side=up", "must be right or left"),
        ("?axes=4", "must be 3 or 6"),
        ("?reps=-1", "must be 1 to 100000, or 0 for no end"),
        ("?plane=200", "plane = 200 must lie between -30 and 150"),
        ("?top=5", "top = 5 must lie"),
        ("?axial=nan", "axial = nan"),
        ("?speed=0", "must be above 0, or max"),
        ("?faults=melt:1", "unknown fault 'melt'"),
        ("?ppm=1e9", "must lie between"),
        ("?stop_reaction_ms=-1", "must lie between 0 and 10000"),
        ("?rig=own.toml&side=left", "rig=FILE says side, axes and stabiliser itself"),
        ("somewhere?trainee=T03", "has no address"),
        ("?trainee", "options are written"),
    ],
)
def test_options_that_will_not_do_are_one_clear_line(options: str, message: str) -> None:
    with pytest.raises(PortError) as caught:
        transport_for(f"virtual:{options}")

    assert message in str(caught.value)
    assert str(caught.value).startswith(f"virtual:{options}: ")
    assert "\n" not in str(caught.value)


def test_a_call_is_heard_when_it_was_called_not_when_the_port_is_read_next() -> None:
    """The clock stands at 9 s when it is called and at 9.5 s when the port is read."""
    clock = ManualClock()
    one = VirtualPort.from_url(parse_url("virtual:?stop_reaction_ms=400&seed=7"), clock=clock)
    begin(one)
    for _ in range(90):
        clock.advance(0.1)
        one.read()

    one.hear_stop()
    clock.advance(0.5)
    one.read()

    push = one.virtual_rig.truth(np.arange(9.2, 10.0, 0.001))
    full = push.magnitude_n > 0.99 * push.magnitude_n[0]
    easing_s = push.time_s[np.flatnonzero(~full)[0]]
    assert 9.4 < easing_s < 9.5
    assert push.magnitude_n[-1] == 0.0
