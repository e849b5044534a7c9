"""When each sample was taken: one clock for all segments, jitter of the stamps taken out.

The rig stamps blocks with its own ticks. Inside a segment samples come evenly, so a straight
line of time against sample number is truer than the stamps as long as it fits them; where it
does not, because the rig's oscillator wanders or a counter slipped, the stamps stay.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquisition.recording.model import StreamData
from analysis.filters import MAD_TO_SD

Floats = NDArray[np.float64]

SAME_CLOCK_S = 0.5
"""Segments whose clocks differ by less, seen by arrival, share one clock."""
JITTER_SHARE = 0.5
"""A line fits if nearly all stamps lie within this share of a sample's spacing. Ours: more, and
the grid would take the wrong neighbour."""
NEARLY_ALL = 0.999
OUTLIER_SDS = 4.0
MIN_LINE_SAMPLES = 20


@dataclass(frozen=True, slots=True)
class LineFit:
    """Time against sample number in one segment.

    Attributes:
        rate_hz: Samples per second of the rig's clock.
        jitter_s: SD of the stamps about the line.
        fits: Nearly all stamps lie near enough to be replaced.
        times_s: Shape (n,), the line at every sample.
    """

    rate_hz: float
    jitter_s: float
    fits: bool
    times_s: Floats


def clock_offsets_us(streams: Mapping[str, StreamData]) -> dict[int, float]:
    """Return, for each segment, what to add to its device times to get the first segment's.

    A rig that only lost its line keeps its clock; one that restarted begins again at zero. The
    least delay of any block tells the two apart and places the second.
    """
    least: dict[int, float] = {}
    for stream in streams.values():
        delay = stream.arrival_ns / 1e3 - stream.device_time_us
        for segment in np.unique(stream.segment):
            smallest = float(delay[stream.segment == segment].min())
            least[int(segment)] = min(smallest, least.get(int(segment), np.inf))
    if not least:
        return {}
    first = least[min(least)]
    return {
        segment: 0.0 if abs(delay - first) < SAME_CLOCK_S * 1e6 else delay - first
        for segment, delay in least.items()
    }


def sample_times_s(stream: StreamData, clocks: Mapping[int, float]) -> Floats:
    """Return the time of every sample, seconds, in the first segment's clock, shape (n,)."""
    times = np.empty(len(stream.segment))
    for segment, offset_us in clocks.items():
        here = stream.segment == segment
        if not here.any():
            continue
        stamps = stream.device_time_us[here]
        line = fit_line(stamps, stream.sample_number[here], stream.spec.rate_hz)
        cleaned = line.times_s if line is not None and line.fits else stamps * 1e-6
        times[here] = cleaned + offset_us * 1e-6
    return times


def fit_line(
    device_time_us: NDArray[np.int64], sample_number: NDArray[np.int64], nominal_hz: float
) -> LineFit | None:
    """Fit a line of time against sample number, robust against a few wrong stamps.

    Args:
        device_time_us: Shape (n,), of one segment.
        sample_number: Shape (n,).
        nominal_hz: Rate the rig says it has, for the size of what is tolerated.

    Returns:
        None if there are too few samples, or they do not advance.
    """
    if len(sample_number) < MIN_LINE_SAMPLES or sample_number[-1] == sample_number[0]:
        return None
    number = (sample_number - sample_number[0]).astype(np.float64)
    time_s = (device_time_us - device_time_us[0]) * 1e-6
    line = _least_squares(number, time_s)
    off = np.abs(time_s - line[0] - line[1] * number)
    near = off <= OUTLIER_SDS * MAD_TO_SD * np.median(off) + 1e-6
    line = _least_squares(number[near], time_s[near])
    fitted = line[0] + line[1] * number
    off = np.abs(time_s - fitted)
    if not line[1] > 0:
        return None
    return LineFit(
        rate_hz=float(1.0 / line[1]),
        jitter_s=float(np.sqrt(np.mean(off[near] ** 2))),
        fits=bool(np.quantile(off, NEARLY_ALL) <= JITTER_SHARE / nominal_hz),
        times_s=fitted + device_time_us[0] * 1e-6,
    )


def _least_squares(x: Floats, y: Floats) -> tuple[float, float]:
    """Return intercept and slope; both centred first, as both are long and nearly even."""
    centre_x, centre_y = float(x.mean()), float(y.mean())
    from_x = x - centre_x
    spread = float(from_x @ from_x)
    slope = float(from_x @ (y - centre_y)) / spread if spread > 0.0 else 0.0
    return centre_y - slope * centre_x, slope
