"""What the checks look at, and how they say what they found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from acquisition.recording.model import Recording, StreamData
from analysis.orientation import Orientation
from analysis.sample_times import LineFit, fit_line, segments_of
from analysis.short_returns import ShortReturn
from analysis.timebase import Grid
from analysis.trial import QualityFinding, Severity
from analysis.zero import Zero


class Recorded(Protocol):
    """What a check looks at that needs nothing resolved."""

    @property
    def recording(self) -> Recording:
        """What the wire said."""
        ...


@dataclass(frozen=True, slots=True)
class Unresolved:
    """Evidence of a recording that cannot be resolved.

    Attributes:
        recording: What the wire said.
    """

    recording: Recording


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that the checks look at.

    Attributes:
        recording: What the wire said.
        grid: What is known when.
        orientation: Of the arm, and its rests.
        zero: Of the cell.
        strongest_n: Largest push, NaN if none is known.
        stabilising_known: The force of the stabilising hand could be told.
        short_returns: Where the arm turned back near home within a repetition.
    """

    recording: Recording
    grid: Grid
    orientation: Orientation
    zero: Zero
    strongest_n: float
    stabilising_known: bool
    short_returns: tuple[ShortReturn, ...]


def finding(
    key: str, value: str, limit: str, *, ok: bool, advice: str, worse: Severity = Severity.WARNING
) -> QualityFinding:
    """Return a finding: fine if *ok*, else *worse*."""
    return QualityFinding(key, Severity.FINE if ok else worse, value, limit, advice)


def losses(stream: StreamData) -> tuple[int, float]:
    """Return how many samples are missing between first and last, and the longest gap, seconds.

    Only inside segments: what passed while the line was down cannot be counted.
    """
    if len(stream.sample_number) < 2:
        return 0, 0.0
    lost, longest = 0, 0
    for _, rows in segments_of(stream):
        step = np.diff(stream.sample_number[rows])
        jumps = step[step > 1] - 1
        lost += int(jumps.sum())
        longest = max(longest, int(jumps.max(initial=0)))
    return lost, longest / stream.spec.rate_hz


def longest_line(stream: StreamData) -> LineFit | None:
    """Return time against sample number over the longest segment, None if it is too short."""
    segments = [rows for _, rows in segments_of(stream)]
    if not segments:
        return None
    longest = max(segments, key=lambda rows: rows.stop - rows.start)
    return fit_line(
        stream.device_time_us[longest], stream.sample_number[longest], stream.spec.rate_hz
    )


def effective_rate_hz(stream: StreamData) -> float | None:
    """Return samples per second of the rig's clock over the longest segment, None if too short."""
    line = longest_line(stream)
    return None if line is None else line.rate_hz
