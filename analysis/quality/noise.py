"""The finding about the noise of the cell: against its calibration's, where that is stated."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from acquisition.recording.model import Recording
from analysis.quality.evidence import Evidence, finding
from analysis.sample_times import clock_offsets_us, sample_times_s
from analysis.trial import QualityFinding
from firmware_protocol.messages import FORCE_STREAM

Floats = NDArray[np.float64]

NOISE_LIMIT_N = 0.1
"""Half the calibration uncertainty of a good cell; an untouched one is quiet up to 0.15 N. Ours."""
NOISE_RATIO = 1.5
"""Noise so much larger than at calibration is no chance: the SD of a second of samples is certain
to some per cent. Ours."""
COMPONENTS = ("x", "y", "z")
ADVICE = "The cell is noisy: look at shielding, supply and vibration of the bench."


def noise(evidence: Evidence) -> list[QualityFinding]:
    """Say how noisy the untouched cell is, against what its calibration states."""
    against = noise_against_calibration(evidence.recording, _untouched(evidence))
    return [_by_itself(evidence.zero.noise_n) if against is None else against]


def noise_against_calibration(
    recording: Recording, untouched: Iterable[slice]
) -> QualityFinding | None:
    """Compare the force component that is noisiest for what is stated of it.

    Args:
        recording: With samples of the force.
        untouched: Rows of its force stream while nobody touches, some windows.

    Returns:
        None if the calibration states no noise.
    """
    if recording.rig.cell.noise_n is None:
        return None
    stated_n, sd_n = np.array(recording.rig.cell.noise_n), _noise_n(recording, untouched)
    worst = int(np.argmax(sd_n / stated_n))
    limit_n = NOISE_RATIO * stated_n[worst]
    return finding(
        "noise",
        f"{sd_n[worst]:.3f} N, one sample, {COMPONENTS[worst]} of the cell",
        f"{limit_n:.3f} N, {NOISE_RATIO:g} times the calibration's {stated_n[worst]:g} N",
        ok=bool(sd_n[worst] <= limit_n),
        advice=ADVICE,
    )


def _by_itself(sd_n: float) -> QualityFinding:
    return finding(
        "noise",
        f"{sd_n:.3f} N, filtered, one component",
        f"{NOISE_LIMIT_N:g} N, as the calibration states none (cell.noise_n)",
        ok=sd_n <= NOISE_LIMIT_N,
        advice=ADVICE,
    )


def _untouched(evidence: Evidence) -> Iterator[slice]:
    """Yield the rows of the force stream in the windows that the zero comes from."""
    recording, grid, zero = evidence.recording, evidence.grid, evidence.zero
    time_s = sample_times_s(recording.streams[FORCE_STREAM], clock_offsets_us(recording.streams))
    begin_s = grid.origin_us * 1e-6 + zero.windows / grid.fs_hz
    end_s = begin_s + zero.window_size / grid.fs_hz
    for start, stop in np.searchsorted(time_s, [begin_s, end_s]).T.tolist():
        if start < stop:
            yield slice(start, stop)


def _noise_n(recording: Recording, windows: Iterable[slice]) -> Floats:
    """Return the SD of the samples of each force component in the cell's frame, shape (3,).

    Of what the converter gave, not of the even grid, where an interpolated sample is quieter;
    that of the middle window.
    """
    matrix = np.asarray(recording.rig.cell.calibration_matrix, dtype=np.float64)[:3]
    counts = recording.streams[FORCE_STREAM].counts
    variances = [np.einsum("ij,nj->ni", matrix, counts[rows]).var(axis=0) for rows in windows]
    return np.asarray(np.sqrt(np.median(variances, axis=0)), dtype=np.float64)
