"""The same place of two movements of different pace, height and length."""

from __future__ import annotations

import numpy as np
import pytest

from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.virtual_rig import default_rig
from analysis.pipeline import analyse
from analysis.target import Target
from analysis.trial import Trial
from ui.live.alignment import same_place_s


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[Trial, Trial]:
    """A slow trainee and a fast one."""
    folder = tmp_path_factory.mktemp("pair")
    found = []
    for name in ("E01", "T05"):
        outcome = record_trial(
            f"virtual:?trainee={name}&seed=3&reps=1&speed=max",
            folder / f"{name}.h5",
            rig=default_rig(),
            target_json=Target().to_json(),
            label=TrialLabel(person=name),
        )
        found.append(analyse(read_recording(outcome.path)))
    return found[0], found[1]


def height_deg(trial: Trial, time_s: float) -> float:
    return float(np.interp(time_s, trial.series.time_s, np.rad2deg(trial.series.elevation_rad)))


def there(pair: tuple[Trial, Trial], time_s: float) -> float:
    one, other = pair
    return same_place_s(time_s, one, one.repetitions[0], other, other.repetitions[0])


@pytest.mark.parametrize("phase", ["raising", "lowering"])
def test_on_the_way_both_arms_are_as_high_and_move_the_same_way(
    pair: tuple[Trial, Trial], phase: str
) -> None:
    one, other = pair
    mine, theirs = (getattr(trial.repetitions[0].spans, phase) for trial in pair)
    highest = np.rad2deg(np.nanmax(other.series.elevation_rad[theirs.slice]))
    for row in np.linspace(mine.start, mine.stop - 1, 12).astype(int):
        time_s = float(one.series.time_s[row])
        found = there(pair, time_s)

        inside = other.series.time_s[[theirs.start, theirs.stop - 1]]
        assert inside[0] <= found <= inside[1]
        if 5.0 < height_deg(one, time_s) < highest - 1.0:
            assert height_deg(other, found) == pytest.approx(height_deg(one, time_s), abs=0.5)


def test_time_never_runs_back(pair: tuple[Trial, Trial]) -> None:
    one, _ = pair
    found = [there(pair, time_s) for time_s in one.series.time_s[::100].tolist()]

    assert (np.diff(found) >= 0.0).all()


@pytest.mark.parametrize(("edge", "shift"), [("raise", -0.5), ("home", 0.5)])
def test_before_and_after_the_movement_time_is_the_same(
    pair: tuple[Trial, Trial], edge: str, shift: float
) -> None:
    one, other = pair

    def at(trial: Trial) -> float:
        spans = trial.repetitions[0].spans
        row = spans.raising.start if edge == "raise" else spans.lowering.stop
        return float(trial.series.time_s[row])

    assert there(pair, at(one) + shift) == pytest.approx(at(other) + shift, abs=0.002)


def test_a_recording_stands_beside_itself_at_the_same_time(pair: tuple[Trial, Trial]) -> None:
    one, _ = pair
    for time_s in one.series.time_s[::500].tolist():
        row = int(np.searchsorted(one.series.time_s, time_s))
        found = there((one, one), time_s)

        assert height_deg(one, found) == pytest.approx(
            float(np.rad2deg(one.series.elevation_rad[row])), abs=0.5
        )
