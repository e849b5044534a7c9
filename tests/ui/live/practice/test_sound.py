"""Sound that is asked for is played, and where it cannot be, one line says so."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analysis.target import Target
from ui.live.practice.look import PracticeLook, RunState
from ui.live.practice.sound import LATENCY_MS, Sound, Stream, faults_of, switched
from ui.live.practice.stop_drill import CALL, DrillLook, DrillState
from ui.live.practice.tones import SILENCE, Faults

Maker = Callable[..., Any]
ON_TARGET = tuple(40.0 * Target().direction)


class Pulled:
    """A device of which a test asks for sound itself."""

    def __init__(self) -> None:
        self.closed = 0
        self.stream: Stream | None = None

    def start(self, stream: Stream) -> None:
        self.stream = stream

    def close(self) -> None:
        self.closed += 1

    def loudest(self, count: int = 4410) -> float:
        assert self.stream is not None
        return float(np.abs(np.frombuffer(self.stream.send(count), np.float32)).max())


def test_it_is_off_until_asked_for_and_silent_while_nothing_is_wrong() -> None:
    device = Pulled()
    sound = Sound(lambda: device)
    assert not sound.on
    assert device.stream is None

    assert sound.turn_on() == ""

    assert sound.on
    assert device.loudest() == 0.0


def test_what_is_wrong_is_heard_and_fades() -> None:
    device = Pulled()
    sound = Sound(lambda: device)
    sound.turn_on()

    sound.hear(Faults(upward=1.0))
    assert device.loudest(44_100) > 0.05
    sound.hear(SILENCE)
    device.loudest(44_100)

    assert device.loudest() < 1e-5


def test_turned_off_it_lets_the_device_go_once() -> None:
    device = Pulled()
    sound = Sound(lambda: device)
    sound.turn_on()

    sound.turn_off()
    sound.turn_off()

    assert (sound.on, device.closed) == (False, 1)


@pytest.mark.parametrize(
    ("error", "line"),
    [
        (ImportError("no module"), "no sound: install perpend[sound]"),
        (OSError("x\ny"), "no sound: OSError: no device can be played on"),
    ],
)
def test_without_library_or_device_one_line_says_so(error: Exception, line: str) -> None:
    def broken() -> Pulled:
        raise error

    sound = Sound(broken)

    assert sound.turn_on() == line
    assert not sound.on
    sound.hear(Faults(upward=1.0))
    sound.turn_off()


def test_the_real_library_plays_into_its_device_of_nothing() -> None:
    """Through the thread of the library, without a loudspeaker."""
    miniaudio = pytest.importorskip("miniaudio")
    asked = threading.Event()

    def nothing() -> Any:
        device = miniaudio.PlaybackDevice(
            output_format=miniaudio.SampleFormat.FLOAT32,
            nchannels=1,
            backends=[miniaudio.Backend.NULL],
        )
        start = device.start

        def watched(stream: Stream) -> None:
            def through() -> Stream:
                count = yield b""
                while True:
                    block = stream.send(count)
                    assert len(block) == 4 * count
                    asked.set()
                    count = yield block

            passed = through()
            next(passed)
            start(passed)

        device.start = watched
        return device

    sound = Sound(nothing)
    assert sound.turn_on() == ""
    sound.hear(Faults(cone=1.0))

    assert asked.wait(10.0)
    sound.turn_off()


def test_a_push_on_target_is_silent(moment: Maker) -> None:
    assert faults_of(moment(ON_TARGET)) == SILENCE


@pytest.mark.parametrize(
    ("force_n", "voice"),
    [
        ((-34.0, 12.0, 20.0), "upward"),
        ((-40.0, -3.5, -5.0), "cone"),
        (tuple(10.0 * Target().direction), "light"),
        (tuple(80.0 * Target().direction), "heavy"),
    ],
)
def test_each_fault_is_heard_by_its_own_voice(
    moment: Maker, force_n: tuple[float, float, float], voice: str
) -> None:
    found = faults_of(moment(force_n))

    assert getattr(found, voice) > 0.1
    if voice in ("light", "heavy"):
        assert (found.upward, found.cone) == (0.0, 0.0)


def test_no_hand_no_sound(moment: Maker) -> None:
    assert faults_of(moment((0.0, 0.0, 0.0), contact=False, directed=False)) == SILENCE


def test_what_the_practice_hides_is_not_heard_either(moment: Maker) -> None:
    wrong = moment((-34.0, 12.0, 20.0))
    hidden = PracticeLook(
        RunState.MOVING, "X", 1, 1, "x", 1, 1, "none",
        feedback_visible=False, instead="", say="", card=None, may_ask=False,
    )  # fmt: skip

    assert faults_of(replace(wrong, practice=hidden)) == SILENCE
    assert faults_of(replace(wrong, practice=replace(hidden, feedback_visible=True))) != SILENCE


def test_a_call_to_stop_is_heard_alone_whatever_is_hidden(moment: Maker) -> None:
    called = DrillLook(DrillState.CALLED, CALL, None, ())

    assert faults_of(replace(moment((-34.0, 12.0, 20.0)), drill=called)) == Faults(call=1.0)


def test_a_switch_says_what_became_of_it_and_how_late_it_will_be() -> None:
    sound = Sound(Pulled)

    assert switched(sound) == (f"sound on, {LATENCY_MS} ms late", True)
    assert switched(sound) == ("sound off", True)


def test_a_lesson_goes_on_where_there_is_no_device(bench: Maker) -> None:
    def broken() -> Pulled:
        raise OSError("no card")

    one = bench("virtual:?trainee=T01&seed=7")
    one.trainer.sound = Sound(broken)

    one.trainer.toggle_sound()

    assert "no sound" in one.go_on(0.5).health.banner
    one.trainer.close()
