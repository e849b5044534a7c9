"""People whose curves are known: level curves, an offset of each person, a little noise."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.comparison.performance import Performance, performance_of
from analysis.reference.arc_curves import QUANTITIES, RepetitionCurves
from analysis.reference.build import build_reference
from analysis.reference.evidence import COMPARED, RecordingEvidence
from analysis.reference.model import Reference, ReferenceSettings
from analysis.settings import AnalysisSettings
from analysis.target import Target

Floats = NDArray[np.float64]

MIDDLES: Floats = np.arange(20, dtype=np.float64) * 5.0 + 2.5
LEVELS = np.array([0.0, -5.0, 40.0, 20.0]).reshape(4, 1, 1)
SHAPE = (len(QUANTITIES), 2, len(MIDDLES))


def recording_of(person: str, values: Floats, file: str = "", **facts: object) -> RecordingEvidence:
    """Return a recording; *values* is (repetitions, quantities, ways, bins)."""
    file = file or f"{person}.h5"
    curves = tuple(
        RepetitionCurves(file, person, number, MIDDLES, one, np.full_like(one, 0.7))
        for number, one in enumerate(values, 1)
    )
    measures = tuple(
        {
            key: float(np.nanmean(one[min(i, 3)])) if np.isfinite(one[min(i, 3)]).any() else None
            for i, (key, _) in enumerate(COMPARED)
        }
        for one in values
    )
    known = {
        "file": file, "uuid": file, "sha256": "0" * 64, "person": person, "side": "right",
        "started_utc": "2026-01-01T00:00:00Z", "condition": "", "rig": "R01",
        "duration_s": 60.0, **facts,
    }  # fmt: skip
    return RecordingEvidence(known, Target(), AnalysisSettings().to_dict(), curves, measures, ())


def repetitions_of(rng: np.random.Generator, count: int, offset: float = 0.0) -> Floats:
    """Return level repetitions of one person, SD 1 between them, 0.1 along them."""
    noise = rng.normal(size=(count, *SHAPE[:2], 1)) + 0.1 * rng.normal(size=(count, *SHAPE))
    return np.asarray(LEVELS + offset + noise)


@pytest.fixture
def recording() -> Callable[..., RecordingEvidence]:
    """Return `recording_of`."""
    return recording_of


@pytest.fixture
def repetitions() -> Callable[..., Floats]:
    """Return `repetitions_of`."""
    return repetitions_of


@pytest.fixture(scope="session")
def reference() -> Reference:
    """Return a reference of six experts with six repetitions each."""
    rng = np.random.default_rng(1)
    experts = [
        recording_of(f"E{number:02}", repetitions_of(rng, 6, rng.normal()))
        for number in range(1, 7)
    ]
    return build_reference(experts, ReferenceSettings(resamples=300))


@pytest.fixture
def performance() -> Callable[..., Performance]:
    """Return a maker of performances out of repetitions by person."""

    def make(
        by_person: dict[str, Floats] | Sequence[Floats], label: str = "", *, day: int = 1
    ) -> Performance:
        if not isinstance(by_person, dict):
            by_person = {f"T{number:02}": one for number, one in enumerate(by_person, 1)}
        facts = {"started_utc": f"2026-01-{day:02}T00:00:00Z"}
        return performance_of(
            [
                recording_of(who, values, uuid=f"{who} on day {day}", **facts)
                for who, values in by_person.items()
            ],
            label,
        )

    return make
