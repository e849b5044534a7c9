"""A trial: a recording resolved, cut into repetitions and measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any

from analysis.cutoff import ResidualCurve
from analysis.series import ResolvedSeries
from analysis.target import Target

MeasureValue = float | int | bool | str | None
Interval = tuple[float, float]


class PhaseName(StrEnum):
    """The phases that are measured; `movement` is raise, top and lower together."""

    RAISE = "raise"
    LOWER = "lower"
    MOVEMENT = "movement"


@dataclass(frozen=True, slots=True)
class Measured:
    """Measures by key. A value that could not be had is None and has a reason.

    Attributes:
        values: By exact key of the measure tables.
        reasons: One sentence for each key whose value is None.
        intervals: 95 % interval of each chief measure, low and high, as far as it can be had.
        interval_reasons: One sentence for each chief measure that has a value and no interval.
    """

    values: Mapping[str, MeasureValue]
    reasons: Mapping[str, str]
    intervals: Mapping[str, Interval] = field(default_factory=dict)
    interval_reasons: Mapping[str, str] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        """Return the values and, under ``reasons``, why some are missing; ``intervals`` beside."""
        intervals = {key: list(ends) for key, ends in self.intervals.items()}
        beside: dict[str, Any] = {"intervals": intervals} if intervals else {}
        if self.interval_reasons:
            beside["interval_reasons"] = dict(self.interval_reasons)
        return {**self.values, "reasons": dict(self.reasons), **beside}


@dataclass(frozen=True, slots=True)
class Span:
    """A half-open range of samples of the series."""

    start: int
    stop: int

    def __len__(self) -> int:
        return max(0, self.stop - self.start)

    @property
    def slice(self) -> slice:
        """For indexing arrays."""
        return slice(self.start, self.stop)


@dataclass(frozen=True, slots=True)
class RepetitionSpans:
    """Where a repetition lies in the series.

    Attributes:
        setup: From contact (or, without, a moment before) to the start of the raise.
        raising: From leaving home to reaching the top.
        top: Between raise and lower, may be empty.
        lowering: From leaving the top to home.
        release: From home to the end of contact, may be empty.
        complete: The arm came home again within the recording.
    """

    setup: Span
    raising: Span
    top: Span
    lowering: Span
    release: Span
    complete: bool

    @property
    def movement(self) -> Span:
        """Raise, top and lower together."""
        return Span(self.raising.start, self.lowering.stop)

    def phase(self, name: PhaseName) -> Span:
        """Return the span of a measured phase."""
        spans = {PhaseName.RAISE: self.raising, PhaseName.LOWER: self.lowering}
        return spans.get(name, self.movement)


@dataclass(frozen=True, slots=True)
class Practice:
    """Under which condition a repetition was done: what a practice plan asked for.

    Attributes:
        plan: Name of the plan.
        plan_sha256: Of its content.
        block: Number of the block, from 1.
        block_name: For people.
        repetition: In the block, from 1.
        number: In the plan, from 1; a repetition that was done again has the same.
        of_blocks: How many blocks the plan has.
        of_repetitions: How many repetitions the block has.
        feedback: ``continuous``, ``bandwidth``, ``faded``, ``summary``, ``on_request``, ``none``.
        picture_percent: Share of the movement during which the picture could be seen.
        card: What was shown of it afterwards: ``repetition``, ``summary``, ``asked`` or nothing.
        set_aside: Why it does not count; empty if it does.
    """

    plan: str
    plan_sha256: str
    block: int
    block_name: str
    repetition: int
    number: int
    of_blocks: int
    of_repetitions: int
    feedback: str
    picture_percent: float
    card: str = ""
    set_aside: str = ""


@dataclass(frozen=True, slots=True)
class Repetition:
    """One excursion of the arm, measured.

    Attributes:
        number: From 1.
        spans: Where it lies.
        measured: The measures of the whole repetition.
        phases: The measures of each phase.
        practice: Under which condition it was done, None if no plan was followed.
    """

    number: int
    spans: RepetitionSpans
    measured: Measured
    phases: Mapping[PhaseName, Measured]
    practice: Practice | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "repetition": self.number,
            **self.measured.to_dict(),
            "practice": asdict(self.practice) if self.practice else None,
            "phases": {name.value: self.phases[name].to_dict() for name in PhaseName},
        }


@dataclass(frozen=True, slots=True)
class StopDrill:
    """A call that the movement has become uncomfortable, and how it was answered.

    Attributes:
        called_s: When it was called, on the series.
        measured: By the keys of `analysis.stop_drill.KEYS`.
    """

    called_s: float
    measured: Measured

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {"called_s": round(self.called_s, 3), **self.measured.to_dict()}


class Severity(StrEnum):
    """How much a quality finding matters."""

    FINE = "fine"
    NOTE = "note"
    WARNING = "warning"


@dataclass(frozen=True, slots=True)
class QualityFinding:
    """One line of data quality.

    Attributes:
        key: Stable name, such as ``lost_samples``.
        severity: `Severity.FINE` if within its limit.
        value: What was found, with its unit, for people.
        limit: The limit, for people, empty if none.
        advice: What it means and what to do, one sentence.
    """

    key: str
    severity: Severity
    value: str
    limit: str
    advice: str


@dataclass(frozen=True, slots=True)
class Trial:
    """A recording resolved and measured.

    Attributes:
        recording: Facts about the recording, plain values: file, uuid, sha256, started_utc,
            duration_s, rig, side, axes, calibrated_on, firmware, person, condition, note,
            software, status, rates_hz.
        target: What it was measured against.
        settings: Parameters of the analysis, plain values, as used.
        series: The resolved push.
        repetitions: In order, unfinished ones included.
        quality: Findings, worst first.
        stop_drills: In order.
        residuals: What low-passes of other cut-offs would have left of the force, newtons; None
            if too little of it is known.
    """

    recording: Mapping[str, Any]
    target: Target
    settings: Mapping[str, Any]
    series: ResolvedSeries
    repetitions: tuple[Repetition, ...]
    quality: tuple[QualityFinding, ...]
    stop_drills: tuple[StopDrill, ...] = ()
    residuals: ResidualCurve | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return what ``perpend analyse --json`` prints."""
        return {
            "recording": dict(self.recording),
            "target": self.target.to_dict(),
            "settings": dict(self.settings),
            "quality": [
                {
                    "key": finding.key,
                    "severity": finding.severity.value,
                    "value": finding.value,
                    "limit": finding.limit,
                    "advice": finding.advice,
                }
                for finding in self.quality
            ],
            "repetitions": [repetition.to_dict() for repetition in self.repetitions],
            "stop_drills": [drill.to_dict() for drill in self.stop_drills],
        }
