"""The finding about the noise of the cell: against its calibration's, where that is stated."""

from __future__ import annotations

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
    stated = evidence.recording.rig.cell.noise_n
    return [_by_itself(evidence) if stated is None else _against(evidence, np.array(stated))]


def _by_itself(evidence: Evidence) -> QualityFinding:
    sd_n = evidence.zero.noise_n
    return finding(
        "noise",
        f"{sd_n:.3f} N, filtered, one component",
        f"{NOISE_LIMIT_N:g} N, as the calibration states none (cell.noise_n)",
        ok=sd_n <= NOISE_LIMIT_N,
        advice=ADVICE,
    )


def _against(evidence: Evidence, stated_n: Floats) -> QualityFinding:
    """Compare the component that is noisiest for what is stated of it."""
    sd_n = untouched_noise_n(evidence)
    worst = int(np.argmax(sd_n / stated_n))
    limit_n = NOISE_RATIO * stated_n[worst]
    return finding(
        "noise",
        f"{sd_n[worst]:.3f} N, one sample, {COMPONENTS[worst]} of the cell",
        f"{limit_n:.3f} N, {NOISE_RATIO:g} times the calibration's {stated_n[worst]:g} N",
        ok=bool(sd_n[worst] <= limit_n),
        advice=ADVICE,
    )


def untouched_noise_n(evidence: Evidence) -> Floats:
    """Return the SD of the samples of each force component in the cell's frame, shape (3,).

    Of what the converter gave, not of the even grid, where an interpolated sample is quieter;
    the middle one of the windows that the zero comes from.
    """
    recording, grid, zero = evidence.recording, evidence.grid, evidence.zero
    stream = recording.streams[FORCE_STREAM]
    time_s = sample_times_s(stream, clock_offsets_us(recording.streams))
    begin_s = grid.origin_us * 1e-6 + zero.windows / grid.fs_hz
    end_s = begin_s + zero.window_size / grid.fs_hz
    rows = np.searchsorted(time_s, [begin_s, end_s])
    variances = [_force_n(recording, slice(*row)).var(axis=0) for row in rows.T if row[0] < row[1]]
    return np.asarray(np.sqrt(np.median(variances, axis=0)), dtype=np.float64)


def _force_n(recording: Recording, rows: slice) -> Floats:
    """Return some samples of the force in the cell's own frame, zero still in, shape (n, 3)."""
    matrix = np.asarray(recording.rig.cell.calibration_matrix, dtype=np.float64)[:3]
    counts = recording.streams[FORCE_STREAM].counts[rows]
    return np.asarray(np.einsum("ij,nj->ni", matrix, counts), dtype=np.float64)
