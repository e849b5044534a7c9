"""The stop drill: called when nobody can foresee it, answered by a person with a known reaction."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from acquisition.clock import NS_PER_S
from acquisition.recording.reader import read_recording
from analysis.pipeline import analyse
from analysis.stop_drill import STOP_EVENT
from ui.live.arc import ArcModel, Hold
from ui.live.moment import Moment
from ui.live.practice.look import RunState
from ui.live.practice.plan import Continuous, Plan
from ui.live.practice.run import PracticeRun
from ui.live.practice.stop_drill import (
    CALL,
    HIGHEST_DEG,
    LOWEST_DEG,
    DrillState,
    StopDrillModel,
)
from ui.live.verdict import VerdictModel

Maker = Callable[..., Any]


def go_on_until(bench: Any, wanted: Callable[[Moment], bool], at_most_s: float = 120.0) -> Moment:
    end_ns = bench.clock.now_ns() + int(at_most_s * NS_PER_S)
    next_ns = 0
    while bench.clock.now_ns() < end_ns:
        bench.clock.sleep(max(bench.feed.step(), 0.002))
        if bench.clock.now_ns() >= next_ns:
            next_ns = bench.clock.now_ns() + 25_000_000
            moment: Moment = bench.trainer.refresh()
            if wanted(moment):
                return moment
    raise AssertionError(f"not within {at_most_s} s")


def drilled(moment: Moment) -> bool:
    return moment.drill is not None and moment.drill.state is DrillState.DONE


@pytest.mark.parametrize(("reaction_ms", "seed"), [(250, 3), (700, 4)])
def test_a_drill_finds_the_reaction_live_and_again_in_the_recording(
    bench: Maker, tmp_path: Path, reaction_ms: int, seed: int
) -> None:
    """A hand that begins to ease after so long has eased 5 % after another 66 ms."""
    one = bench(f"virtual:?trainee=E01&seed={seed}&reps=0&top=100&stop_reaction_ms={reaction_ms}")
    one.feed.toggle_recording()
    one.trainer.arm_drill(seed)

    called = go_on_until(one, lambda m: m.drill is not None and bool(m.drill.call))
    done = go_on_until(one, drilled, 8.0)

    assert called.drill is not None
    assert called.drill.call == CALL
    assert done.drill is not None
    assert done.drill.result is not None
    live = done.drill.result.measured.values
    assert live["stop_reaction_ms"] == pytest.approx(reaction_ms + 66.0, abs=50.0)
    assert live["stop_off_ms"] == pytest.approx(reaction_ms + 300.0, abs=90.0)
    assert isinstance(live["stop_elevation_deg"], float)
    assert LOWEST_DEG - 1.0 < live["stop_elevation_deg"] < HIGHEST_DEG + 3.0
    assert done.drill.words[0].startswith("reaction: ")
    one.feed.close()
    (path,) = tmp_path.glob("**/*.h5")
    (drill,) = analyse(read_recording(path)).stop_drills
    recorded = drill.measured.values
    for key, size in (("stop_reaction_ms", 40.0), ("stop_off_ms", 60.0)):
        assert recorded[key] == pytest.approx(live[key], abs=size)
    assert recorded["stop_force_peak_N"] == pytest.approx(live["stop_force_peak_N"], abs=1.0)
    assert recorded["stop_superior_rise_N"] == pytest.approx(live["stop_superior_rise_N"], abs=0.5)


def test_who_lets_go_as_told_is_not_told_to_keep_the_hand_on(bench: Maker) -> None:
    one = bench("virtual:?trainee=E01&seed=3&reps=0&top=100&stop_reaction_ms=250")
    one.trainer.arm_drill(3)
    verdicts, arc = VerdictModel(), ArcModel()
    said: list[str] = []
    high_deg: list[float] = []

    def home_again(moment: Moment) -> bool:
        arc_look, text = arc.look(moment), verdicts.look(moment).text
        if moment.drill is None or not moment.drill.letting_go:
            return bool(said)
        said.append(text)
        high_deg.append(arc_look.elevation_deg)
        return False

    go_on_until(one, home_again)

    assert list(dict.fromkeys(said)) == [
        "ease off at once", "hand off: right; let the arm come down",
    ]  # fmt: skip
    assert np.nanmax(high_deg) > LOWEST_DEG
    assert high_deg[-1] < 10.0
    assert Hold.BAD not in arc.look(one.trainer.refresh()).lowering


def test_a_repetition_of_a_plan_that_is_called_does_not_count(bench: Maker) -> None:
    one = bench("virtual:?trainee=E01&seed=5&reps=0&top=100")
    plan = Plan(name="x", title="X", about="x", block=(Continuous(name="x", repetitions=9),))
    texts: list[str] = []
    one.trainer.practice = PracticeRun(
        plan, target=one.feed.target, side="right", note=lambda _, text: texts.append(text)
    )
    one.trainer.arm_drill(1)

    go_on_until(one, drilled)

    assert sum("stop drill" in text for text in texts) == 1


class Arm:
    """An arm that goes up and down under a drill's eyes."""

    def __init__(self, steady: Maker, moment: Maker, seed: int) -> None:
        self.called_deg: list[float] = []
        self.now_s = 0.0
        self._deg = 0.0
        self._steady = steady
        self._moment = moment
        self.drill = StopDrillModel(seed=seed, call=self._call)

    def _call(self, kind: str, text: str) -> float:
        assert (kind, text) == (STOP_EVENT, CALL)
        self.called_deg.append(self._deg)
        return self.now_s

    def see(self, elevation_deg: float, *, hand_on: bool = True) -> None:
        self._deg = elevation_deg
        made = self._moment(
            (-34.0, -3.0, 20.0),
            start_s=self.now_s,
            seconds=0.1,
            elevation_deg=elevation_deg,
            contact=hand_on,
            directed=hand_on,
        )
        self.now_s += 0.1
        self.drill.look(made)

    def repeat(self, *, hand_on: bool = True) -> None:
        for elevation_deg in (*[0.0] * 20, *range(0, 120, 2), *range(120, 0, -6), *[0.0] * 20):
            self.see(float(elevation_deg), hand_on=hand_on)


@pytest.fixture
def arm(steady: Maker, moment: Maker) -> Callable[[int], Arm]:
    return lambda seed: Arm(steady, moment, seed)


def test_the_moment_cannot_be_foreseen_but_comes_back_with_the_seed(
    arm: Callable[[int], Arm],
) -> None:
    found = []
    for seed in (1, 2, 3, 4, 1):
        one = arm(seed)
        one.drill.arm()
        for number in range(1, 4):
            one.repeat()
            if one.called_deg:
                found.append((number, one.called_deg[0]))
                break

    assert len(found) == 5
    assert found[0] == found[4]
    assert len(set(found)) == 4
    assert all(LOWEST_DEG <= degrees <= HIGHEST_DEG + 2.0 for _, degrees in found)


def test_nothing_is_called_unless_it_was_armed(arm: Callable[[int], Arm]) -> None:
    one = arm(1)
    for _ in range(3):
        one.repeat()
    one.drill.arm()
    one.drill.give_up()
    for _ in range(3):
        one.repeat()

    assert one.called_deg == []


def test_a_hand_that_is_not_on_is_not_called(arm: Callable[[int], Arm]) -> None:
    one = arm(1)
    one.drill.arm()
    for _ in range(4):
        one.repeat(hand_on=False)
    assert one.called_deg == []

    one.repeat()

    assert len(one.called_deg) == 1


def test_who_never_lets_go_is_told_so(arm: Callable[[int], Arm]) -> None:
    one = arm(1)
    one.drill.arm()
    for _ in range(4):
        one.repeat()
    for _ in range(60):
        one.see(0.0)

    assert one.drill.state is DrillState.DONE
    look = one.drill.look(one._moment((-34.0, -3.0, 20.0), start_s=one.now_s))
    assert look.result is not None
    assert "— (not within 5 s of the call)" in look.words[1]
    assert not np.isnan(look.result.called_s)


def test_a_call_while_the_plan_is_paused_undoes_nothing(bench: Maker) -> None:
    one = bench("virtual:?trainee=E01&seed=5&reps=0&top=100")
    plan = Plan(name="p", title="P", about="", block=(Continuous(name="c", repetitions=3),))
    run = PracticeRun(plan, target=one.feed.target, side="right", note=one.feed.note_event)
    one.trainer.practice = run
    go_on_until(one, lambda _: len(run.done) == 1)
    run.pause()
    one.trainer.arm_drill(5)

    go_on_until(one, drilled)

    assert (run.state, list(run.done)) == (RunState.PAUSED, [1])
