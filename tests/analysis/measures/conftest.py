"""One repetition of 150 degrees, 6 s up and 6 s down, with a push that each test makes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.measure_settings import MeasureSettings
from analysis.measures import measure_repetitions
from analysis.repetitions import find_repetitions
from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.trial import MeasureValue, PhaseName, Repetition

Floats = NDArray[np.float64]

FS_HZ = 200.0


@dataclass(frozen=True)
class Made:
    """A measured repetition and what it was made of."""

    series: ResolvedSeries
    repetition: Repetition

    def phase(self, key: str, name: PhaseName = PhaseName.MOVEMENT) -> MeasureValue:
        return self.repetition.phases[name].values[key]

    def number(self, key: str, name: PhaseName = PhaseName.MOVEMENT) -> float:
        value = self.phase(key, name)
        assert isinstance(value, float), self.reason(key, name)
        return value

    def reason(self, key: str, name: PhaseName = PhaseName.MOVEMENT) -> str:
        return self.repetition.phases[name].reasons[key]

    def whole(self, key: str) -> MeasureValue:
        return self.repetition.measured.values[key]

    def whole_number(self, key: str) -> float:
        value = self.whole(key)
        assert isinstance(value, float), self.whole_reason(key)
        return value

    def whole_reason(self, key: str) -> str:
        return self.repetition.measured.reasons[key]


@pytest.fixture(scope="session")
def elevation(lift: Callable[..., Floats]) -> Floats:
    """Return the arc: shape (n,), degrees, at 200 Hz."""
    return lift()


@pytest.fixture(scope="session")
def make(series: Callable[..., ResolvedSeries], elevation: Floats) -> Callable[..., Made]:
    """Return a maker of measured repetitions.

    Its arguments: push (n, 3) in B; changes to the series by name; target, settings, arc.
    """

    def made(
        push: Floats | None = None,
        *,
        target: Target | None = None,
        settings: MeasureSettings | None = None,
        arc: Floats | None = None,
        **changes: Any,
    ) -> Made:
        target = target or Target()
        resolved = series(elevation if arc is None else arc, push, target)
        resolved = replace(resolved, **changes)
        spans = find_repetitions(resolved)
        (one,) = measure_repetitions(resolved, spans, target, settings, side="left")
        return Made(resolved, one)

    return made


def pushing(azimuth_deg: Floats, superior_deg: Floats, size_n: Floats | float = 40.0) -> Floats:
    """Return pushes (n, 3) in B by their angles."""
    a, b = np.deg2rad(azimuth_deg), np.deg2rad(superior_deg)
    unit = np.stack([-np.cos(b) * np.cos(a), np.sin(b), np.cos(b) * np.sin(a)], axis=-1)
    return np.asarray(unit * np.asarray(size_n)[..., np.newaxis])


@pytest.fixture(scope="session")
def push_at() -> Callable[..., Floats]:
    """Return `pushing`."""
    return pushing
