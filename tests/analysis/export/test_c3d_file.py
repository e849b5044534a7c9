"""C3D files, read back by an independent reader (the package c3d, pure Python)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import c3d
import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.errors import ExportError
from analysis.export.c3d_file import ANALOG, MOST_FRAMES, POINTS, THINNINGS, _thinning, write_c3d
from analysis.export.phase_events import phase_events
from analysis.trial import Trial
from analysis.vectors import all_finite

Floats = NDArray[np.float64]

FINE_N, FINE_DEG = 1e-4, 1e-3
"""What single precision leaves of tens of newtons and hundreds of degrees."""


class ReadBack:
    """What the other reader finds."""

    def __init__(self, path: Path) -> None:
        with path.open("rb") as file:
            reader = c3d.Reader(file)
            self.analog_rate, self.point_rate = reader.analog_rate, reader.point_rate
            self.analog_names = [name.strip() for name in reader.analog_labels]
            self.point_names = [name.strip() for name in reader.point_labels]
            frames = list(reader.read_frames())
            self.points: Floats = np.array([points for _, points, _ in frames])
            self.analog: Floats = np.concatenate([analog for _, _, analog in frames], axis=1)
            self.events = events_of(reader)
            self.subject = reader.get("SUBJECTS").get("NAMES").string_array[0].strip()


def events_of(reader: Any) -> list[tuple[str, str, float]]:
    event = reader.get("EVENT")
    if event is None:
        return []
    labels, told = (event.get(name).string_array for name in ("LABELS", "DESCRIPTIONS"))
    minutes, seconds = np.asarray(event.get("TIMES").float_array).reshape(-1, 2).T
    times = minutes * 60.0 + seconds
    return [(a.strip(), b.strip(), float(t)) for a, b, t in zip(labels, told, times, strict=True)]


@pytest.fixture(scope="module")
def back(trial: Trial, tmp_path_factory: pytest.TempPathFactory) -> ReadBack:
    path = tmp_path_factory.mktemp("c3d") / "trial.c3d"
    write_c3d(trial, path)
    assert [one.name for one in path.parent.iterdir()] == ["trial.c3d"]
    return ReadBack(path)


def test_force_comes_back_at_the_rate_of_the_grid(trial: Trial, back: ReadBack) -> None:
    force = trial.series.force_n
    known = np.isfinite(force).all(axis=1)
    count = len(force)

    assert back.analog_names == list(ANALOG)
    assert back.analog_rate == trial.series.fs_hz
    assert back.analog[:3, :count].T[known] == pytest.approx(force[known], abs=FINE_N)


def test_what_is_not_known_is_said_so_and_is_no_number(trial: Trial, back: ReadBack) -> None:
    known = all_finite(trial.series.force_n)

    assert np.count_nonzero(~known) > 0
    assert np.array_equal(back.analog[3, : len(known)] == 1.0, known)
    assert not back.analog[:3, : len(known)][:, ~known].any()
    assert not back.analog[3, len(known) :].any()


def test_directions_are_points_where_there_is_one(trial: Trial, back: ReadBack) -> None:
    series, thinning = trial.series, THINNINGS[0]
    angles = np.rad2deg(
        np.stack([series.azimuth_rad, series.superior_angle_rad, series.off_axis_rad], axis=1)
    )[::thinning]
    directed = series.directed[::thinning]
    push = back.points[:, back.point_names.index(POINTS[0])]

    assert back.point_rate == series.fs_hz / thinning
    assert push[directed, :3] == pytest.approx(angles[directed], abs=FINE_DEG)
    assert (push[~directed, 3] == -1.0).all()
    assert (push[directed, 3] == 0.0).all()


def test_elevation_is_a_point(trial: Trial, back: ReadBack) -> None:
    elevation = np.rad2deg(trial.series.elevation_rad)[:: THINNINGS[0]]
    arm = back.points[:, back.point_names.index(POINTS[1])]
    known = arm[:, 3] == 0.0

    assert known.mean() > 0.9
    assert arm[known, 0] == pytest.approx(elevation[known], abs=FINE_DEG)


def test_phases_are_events(trial: Trial, back: ReadBack) -> None:
    wanted = list(phase_events(trial))

    assert len(wanted) >= 8
    assert [(phase, told) for phase, told, _ in back.events] == [
        (one.phase, f"repetition {one.repetition}") for one in wanted
    ]
    assert [at for *_, at in back.events] == pytest.approx(
        [one.onset_s for one in wanted], abs=1e-3
    )


def test_the_person_is_a_code(trial: Trial, back: ReadBack) -> None:
    assert back.subject == (trial.recording["person"] or "unknown")


def test_a_trial_without_repetitions_has_no_events(trial: Trial, tmp_path: Path) -> None:
    write_c3d(replace(trial, repetitions=()), tmp_path / "none.c3d")

    assert ReadBack(tmp_path / "none.c3d").events == []


def test_longer_recordings_have_thinner_points_and_endless_ones_do_not_fit() -> None:
    hour = 3_600_000

    assert _thinning(MOST_FRAMES * 10, Path("a.c3d")) == 10
    assert _thinning(hour, Path("a.c3d")) == 100
    with pytest.raises(ExportError, match=r"a\.c3d: 7200000 samples are more than C3D can number"):
        _thinning(2 * hour, Path("a.c3d"))
