"""Does the rig's clock run as this computer's does? All times of samples come from it.

By the questions for its time and their answers; of a rig that answers none, by the arrival of
its blocks. Either gives bounds between which its rate lies for certain, however long anything
was under way; a fault is what lies beyond a limit with the whole of that.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np

from acquisition.clock_fit import SyncExchange, rate_bounds
from acquisition.recording.model import Recording
from analysis.sample_times import segments_of
from analysis.trial import QualityFinding, Severity

WARN_PPM = 500.0
"""A crystal keeps within 100 ppm; this computer's clock is steered by at most 500 (RFC 5905)."""
FAIL_PPM = 5_000.0
"""No crystal: speeds and times of everything would be wrong by half a percent or more."""
MIN_SPAN_S = 2.0
LATENCY_S = 0.02
"""The least late of many blocks differ by no more: adapters save up for 16 ms (common practice)."""
PARTS = 12


def rig_clock(recording: Recording) -> QualityFinding:
    """Compare the rig's clock with this computer's, as far as a recording shows it.

    Args:
        recording: Taken in real time.
    """
    by, exchanges = "its answers", _longest(recording.syncs)
    if _span_s(exchanges) < MIN_SPAN_S:
        by, exchanges = "the arrival of its blocks", _longest(tuple(_arrivals(recording)))
    try:
        low, high = _fast_ppm(exchanges)
    except ValueError:
        return _finding(Severity.NOTE, "not known: nothing came from it for long enough")
    middle, half = (low + high) / 2.0, abs(high - low) / 2.0
    uneven = low - high > WARN_PPM
    value = f"{'uneven: ' * uneven}{middle:+.0f} ± {half:.0f} ppm against this computer's, by {by}"
    proven = abs(middle) - half
    if proven > FAIL_PPM:
        return _finding(Severity.WARNING, value)
    if half > FAIL_PPM and not uneven:
        return _finding(Severity.NOTE, f"not known well enough: {value}")
    return _finding(Severity.NOTE if uneven or proven > WARN_PPM else Severity.FINE, value)


def _finding(severity: Severity, value: str) -> QualityFinding:
    return QualityFinding(
        "rig_clock",
        severity,
        value,
        f"{WARN_PPM:g} ppm, a fault beyond {FAIL_PPM:g} ppm",
        "Every time, rate and speed is as wrong as the rig's clock: look at its crystal and at "
        "how the firmware counts microseconds.",
    )


def _fast_ppm(exchanges: Sequence[SyncExchange]) -> tuple[float, float]:
    """Return by how much the rig's clock is too fast, at least and at most.

    Raises:
        ValueError: That cannot be told.
    """
    least, most = rate_bounds(exchanges)
    if least <= 0.0:
        raise ValueError("what came was under way for longer than it tells of")
    return (1.0 / most - 1.0) * 1e6, (1.0 / least - 1.0) * 1e6


def _span_s(exchanges: Sequence[SyncExchange]) -> float:
    return (exchanges[-1].asked_ns - exchanges[0].asked_ns) * 1e-9 if exchanges else 0.0


def _longest(exchanges: Sequence[SyncExchange]) -> Sequence[SyncExchange]:
    """Return those of the segment with the longest span."""
    parts: dict[int, list[SyncExchange]] = defaultdict(list)
    for one in exchanges:
        parts[one.segment].append(one)
    return max(parts.values(), key=_span_s, default=())


def _arrivals(recording: Recording) -> Iterator[SyncExchange]:
    """Yield the least late of the blocks in each part of the recording, as if it were an answer."""
    if not recording.streams:
        return
    stream = max(recording.streams.values(), key=lambda one: len(one.counts))
    for segment, rows in segments_of(stream):
        arrival_ns, time_us = stream.arrival_ns[rows], stream.device_time_us[rows]
        late_ns = arrival_ns - time_us * 1000
        for part in np.array_split(np.arange(len(late_ns)), PARTS):
            if len(part):
                row = part[np.argmin(late_ns[part])]
                came_ns, at_us = int(arrival_ns[row]), int(time_us[row])
                asked_ns = came_ns - round(LATENCY_S * 1e9)
                yield SyncExchange(asked_ns, at_us, at_us, came_ns, segment)
