"""Invented experts whose curves are known: a smooth course, offsets of people, and repetitions."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.reference.arc_curves import QUANTITIES, RepetitionCurves
from analysis.reference.evidence import COMPARED, RecordingEvidence
from analysis.settings import AnalysisSettings
from analysis.target import Target

Floats = NDArray[np.float64]

BINS = 12
MIDDLES: Floats = np.arange(BINS, dtype=np.float64) * 5.0 + 2.5
LEVELS = np.array([0.0, -5.0, 40.0, 20.0])
"""Of azimuth error, superior angle, force and speed."""


def smooth_curves(rng: np.random.Generator, count: int, points: int, width: float) -> Floats:
    """Return normal curves of SD 1 with a Gaussian correlation; *width* 1 is the whole arc."""
    x = np.linspace(0.0, 1.0, points)
    covariance = np.exp(-0.5 * ((x[:, np.newaxis] - x) / width) ** 2) + 1e-9 * np.eye(points)
    return np.asarray(rng.normal(size=(count, points)) @ np.linalg.cholesky(covariance).T)


def evidence(
    person: str,
    values: Floats,
    *,
    file: str = "",
    target: Target | None = None,
    unfinished: Sequence[int] = (),
) -> RecordingEvidence:
    """Return a recording of one person; *values* is (repetitions, quantities, ways, bins)."""
    file = file or f"{person}.h5"
    curves = tuple(
        RepetitionCurves(file, person, number, MIDDLES, one, np.full_like(one, 0.7))
        for number, one in enumerate(values, 1)
    )
    measures = tuple(
        {key: float(np.nanmean(one[min(i, 3)])) for i, (key, _) in enumerate(COMPARED)}
        for one in values
    )
    facts = {
        "file": file,
        "uuid": f"uuid of {file}",
        "sha256": "0" * 64,
        "person": person,
        "started_utc": "2026-01-01T00:00:00Z",
        "side": "right",
        "condition": "",
        "rig": "R01",
    }
    settings = AnalysisSettings().to_dict()
    return RecordingEvidence(
        facts, target or Target(), settings, curves, measures, tuple(unfinished)
    )


@pytest.fixture
def people() -> Callable[..., list[RecordingEvidence]]:
    """Return a maker of experts, each in a recording of some repetitions."""

    def make(count: int = 5, repetitions: int = 6, seed: int = 1) -> list[RecordingEvidence]:
        rng = np.random.default_rng(seed)
        shape = (repetitions, len(QUANTITIES), 2, BINS)
        made = []
        for number in range(1, count + 1):
            offset = rng.normal(size=(len(QUANTITIES), 1, 1))
            noise = rng.normal(size=(*shape[:3], 1)) + 0.1 * rng.normal(size=shape)
            values = LEVELS[:, np.newaxis, np.newaxis] + offset + noise
            made.append(evidence(f"E{number:02}", values))
        return made

    return make


@pytest.fixture
def recording() -> Callable[..., RecordingEvidence]:
    """Return `evidence`."""
    return evidence


@pytest.fixture
def curves() -> Callable[..., Floats]:
    """Return `smooth_curves`."""
    return smooth_curves
