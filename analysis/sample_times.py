"""When each sample was taken: one clock for all segments, jitter of the stamps taken out.

The rig stamps blocks with its own ticks. Inside a segment samples come evenly, so a straight
line of time against sample number is truer than the stamps as long as it fits them; where it
does not, because the rig's oscillator wanders, a sensor paused or a counter slipped, the stamps
stay.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from acquisition.recording.model import StreamData
from analysis.filters import MAD_TO_SD

Floats = NDArray[np.float64]

SAME_CLOCK_S = 0.5
"""Segments whose clocks differ by less, seen by arrival, share one clock."""
SEGMENT_GAP_S = 2.0
"""Where arrivals cannot place a segment it is put so far behind the one before: no repetition
goes on across a restart."""
JITTER_SHARE = 0.5
"""A line fits if nearly all stamps lie within this share of a sample's spacing. Ours: more, and
the grid would take the wrong neighbour."""
NEARLY_ALL = 0.999
OUTLIER_SDS = 4.0
MIN_LINE_SAMPLES = 20
MAX_LINE_SAMPLES = 100_000
"""Of a longer segment every second, third … stamp is looked at: a line needs no more."""
STAMP_S = 1e-6
"""Resolution of the rig's clock."""


@dataclass(frozen=True, slots=True)
class LineFit:
    """Time against sample number in one segment.

    Attributes:
        first_s: Time of sample 0.
        spacing_s: From one sample to the next.
        jitter_s: SD of the stamps about the line.
        fits: Nearly all stamps lie near enough to be replaced.
    """

    first_s: float
    spacing_s: float
    jitter_s: float
    fits: bool

    @property
    def rate_hz(self) -> float:
        """Samples per second of the rig's clock."""
        return 1.0 / self.spacing_s

    def times_s(self, sample_number: NDArray[np.int64]) -> Floats:
        """Return when samples (n,) were taken."""
        times: Floats = sample_number * np.float64(self.spacing_s)
        times += self.first_s
        return times


def clock_offsets_us(streams: Mapping[str, StreamData]) -> dict[int, float]:
    """Return, for each segment, what to add to its device times to get the first segment's.

    A rig that only lost its line keeps its clock; one that restarted begins again at zero. The
    least delay of any block tells the two apart and places the second; no segment begins before
    the one ahead of it has ended, whatever a recording made faster than time says of arrivals.
    """
    stretches = _stretches(streams)
    offsets: dict[int, float] = {}
    first_delay, ended_us = 0.0, -np.inf
    for segment in sorted(stretches):
        begin_us, end_us, delay = stretches[segment]
        if not offsets:
            first_delay = delay
        late = delay - first_delay
        offset = 0.0 if abs(late) < SAME_CLOCK_S * 1e6 else late
        if begin_us + offset <= ended_us:
            offset = ended_us + SEGMENT_GAP_S * 1e6 - begin_us
        offsets[segment] = offset
        ended_us = end_us + offset
    return offsets


def _stretches(streams: Mapping[str, StreamData]) -> dict[int, tuple[float, float, float]]:
    """Return first and last device time and least delay of every segment, all streams together."""
    found: dict[int, tuple[float, float, float]] = {}
    for stream in streams.values():
        for segment, rows in segments_of(stream):
            times = stream.device_time_us[rows]
            delay = float((stream.arrival_ns[rows] / 1e3 - times).min())
            begin, end, least = found.get(segment, (np.inf, -np.inf, np.inf))
            found[segment] = (
                min(begin, float(times.min())),
                max(end, float(times.max())),
                min(least, delay),
            )
    return found


def segments_of(stream: StreamData) -> Iterator[tuple[int, slice]]:
    """Yield the number of each segment and where it lies in the stream."""
    if not len(stream.segment):
        return
    edges = np.flatnonzero(stream.segment[1:] != stream.segment[:-1]) + 1
    for start, stop in pairwise([0, *edges.tolist(), len(stream.segment)]):
        yield int(stream.segment[start]), slice(start, stop)


def sample_times_s(stream: StreamData, clocks: Mapping[int, float]) -> Floats:
    """Return the time of every sample, seconds, in the first segment's clock, shape (n,)."""
    times = np.empty(len(stream.segment))
    for segment, here in segments_of(stream):
        stamps, number = stream.device_time_us[here], stream.sample_number[here]
        line = fit_line(stamps, number, stream.spec.rate_hz)
        cleaned = line.times_s(number) if line is not None and line.fits else stamps * 1e-6
        times[here] = cleaned
        times[here] += clocks[segment] * 1e-6
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
    some = slice(None, None, -(-len(sample_number) // MAX_LINE_SAMPLES))
    first, first_s = sample_number[0], device_time_us[0] * 1e-6
    number = (sample_number[some] - first).astype(np.float64)
    time_s = (device_time_us[some] - device_time_us[0]) * 1e-6
    begin, spacing = _least_squares(number, time_s)
    off = np.abs(time_s - begin - spacing * number)
    near = off <= OUTLIER_SDS * MAD_TO_SD * np.median(off) + STAMP_S
    begin, spacing = _least_squares(number[near], time_s[near])
    if not spacing > 0.0:
        return None
    off = np.abs(time_s - begin - spacing * number)
    return LineFit(
        first_s=float(first_s + begin - spacing * first),
        spacing_s=spacing,
        jitter_s=float(np.sqrt(np.mean(off[near] ** 2))),
        fits=_fits(off, JITTER_SHARE / nominal_hz),
    )


def _fits(off: Floats, limit: float) -> bool:
    """Tell whether nearly all stamps lie near, and those at both ends too.

    A stream that paused shortly before its end is off only there, and every stamp of it is right.
    """
    ends = off[:MIN_LINE_SAMPLES], off[-MIN_LINE_SAMPLES:]
    nearly_all = bool(np.quantile(off, NEARLY_ALL) <= limit)
    return nearly_all and all(float(np.median(end)) <= limit for end in ends)


def _least_squares(x: Floats, y: Floats) -> tuple[float, float]:
    """Return intercept and slope; both centred first, as both are long and nearly even."""
    centre_x, centre_y = float(x.mean()), float(y.mean())
    from_x = x - centre_x
    # Sums, not dot products: the last digits of those depend on the number of cores.
    spread = float(np.sum(from_x * from_x))
    slope = float(np.sum(from_x * (y - centre_y))) / spread if spread > 0.0 else 0.0
    return centre_y - slope * centre_x, slope
