"""The experts' band where the arm is."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from acquisition.record import record_trial
from acquisition.recording.model import Recording, TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.virtual_rig import default_rig
from analysis.pipeline import analyse
from analysis.reference.build import build_reference
from analysis.reference.evidence import evidence_of
from analysis.reference.model import Reference, ReferenceSettings, as_array
from analysis.resolve import push_angles
from analysis.scapula import ScapularRhythm
from analysis.series import rows_of
from analysis.target import Target
from analysis.trial import PhaseName, Trial
from ui.live.corridor import Corridor, CorridorModel, outline_deg

TARGET = Target()


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Recording:
    outcome = record_trial(
        "virtual:?trainee=E01&seed=3&reps=5&top=60&speed=max",
        tmp_path_factory.mktemp("expert") / "E01.h5",
        rig=default_rig(),
        target_json=TARGET.to_json(),
        label=TrialLabel(person="E01"),
    )
    return read_recording(outcome.path)


@pytest.fixture(scope="module")
def trial(recording: Recording) -> Trial:
    return analyse(recording)


@pytest.fixture(scope="module")
def reference(trial: Trial) -> Reference:
    return build_reference([evidence_of(trial)], ReferenceSettings(resamples=200))


def corridors(trial: Trial, reference: Reference) -> list[tuple[int, Corridor | None]]:
    """Walk through the first repetition; return row and corridor of each step."""
    model, spans = CorridorModel(reference), trial.repetitions[0].spans
    found, seen = [], max(0, spans.setup.start - 500)
    for stop in range(seen + 50, spans.release.stop + 1500, 50):
        height = float(np.rad2deg(trial.series.elevation_rad[stop - 1]))
        look = model.look(rows_of(trial.series, slice(seen, stop)), height, TARGET.direction)
        found.append((stop - 1, look))
        seen = stop
    return found


def test_an_expert_stays_in_the_corridor_on_both_ways(trial: Trial, reference: Reference) -> None:
    series, spans = trial.series, trial.repetitions[0].spans
    known = [(row, look) for row, look in corridors(trial, reference) if look is not None]

    inside = [
        look.superior_deg[0] <= np.rad2deg(series.superior_angle_rad[row]) <= look.superior_deg[1]
        and look.azimuth_deg[0] <= np.rad2deg(series.azimuth_rad[row]) <= look.azimuth_deg[1]
        and look.force_n is not None
        and look.force_n[0] <= series.magnitude_n[row] <= look.force_n[1]
        for row, look in known
        if spans.raising.start + 500 < row < spans.lowering.stop - 500
    ]
    assert len(inside) > 100
    assert np.mean(inside) > 0.95


def test_a_band_too_wide_to_judge_by_is_not_shown(trial: Trial, reference: Reference) -> None:
    bands = {
        key: replace(band, limit=0.0) if key in ("force_N", "superior_angle_deg") else band
        for key, band in reference.bands.items()
    }

    (_, look), *_ = [
        (row, look)
        for row, look in corridors(trial, replace(reference, bands=bands))
        if look is not None
    ]

    assert look.force_n is None
    assert look.speed_deg_s is not None
    assert look.outline_deg.shape == (0, 2)


def test_at_rest_there_is_no_corridor(trial: Trial, reference: Reference) -> None:
    found, spans = corridors(trial, reference), trial.repetitions[0].spans

    assert found[0][1] is None
    assert [look for row, look in found if row > spans.release.stop + 1200] == [None] * 6


def test_the_edges_are_those_of_the_bin_and_the_way(trial: Trial, reference: Reference) -> None:
    raised = trial.repetitions[0].spans.raising
    row, look = next(
        (row, look)
        for row, look in corridors(trial, reference)
        if row > (raised.start + raised.stop) // 2
    )
    at = np.array(reference.elevation_deg)
    place = int(np.argmin(np.abs(at - np.rad2deg(trial.series.elevation_rad[row]))))
    band = reference.bands["force_N"].ways[PhaseName.RAISE]

    assert look is not None
    assert look.force_n == (as_array(band.low)[place], as_array(band.high)[place])


def test_where_no_expert_ever_was_there_is_none(trial: Trial, reference: Reference) -> None:
    model, raised = CorridorModel(reference), trial.repetitions[0].spans.raising
    rows = rows_of(trial.series, slice(0, raised.stop - 1000))

    assert model.look(rows, 40.0, TARGET.direction) is not None
    assert model.look(None, 150.0, TARGET.direction) is None
    assert model.look(None, float("nan"), TARGET.direction) is None


def test_the_outline_on_the_map_is_where_pushes_of_its_edges_fall() -> None:
    outline = outline_deg((20.0, 40.0), (-10.0, 0.0), TARGET.direction)

    middle = outline.mean(axis=0)
    assert middle == pytest.approx([0.0, 0.0], abs=0.2)
    assert np.ptp(outline[:, 1]) == pytest.approx(10.0, abs=0.3)
    push = np.array([[-np.cos(np.deg2rad(40.0)), 0.0, np.sin(np.deg2rad(40.0))]])
    assert np.rad2deg(push_angles(push, TARGET.direction).azimuth_rad) == pytest.approx([40.0])
    assert outline[:, 0].max() == pytest.approx(10.0, abs=0.3)


def test_experts_measured_against_a_moving_target_have_the_same_corridor(
    recording: Recording, trial: Trial, reference: Reference
) -> None:
    """What they did is the same; only their error is counted from elsewhere."""
    rhythm = ScapularRhythm(external_rotation_per_upward=1.0)
    moving = analyse(recording, Target(scapula=rhythm))
    of_moving = build_reference([evidence_of(moving)], ReferenceSettings(resamples=200))

    apart = [
        np.mean(one.azimuth_deg) - np.mean(other.azimuth_deg)
        for (_, one), (_, other) in zip(
            corridors(trial, reference), corridors(trial, of_moving), strict=True
        )
        if one is not None and other is not None
    ]

    assert len(apart) > 100
    # Within a bin of five degrees of elevation the target turns by one and a half.
    assert np.max(np.abs(apart)) < 1.6
