"""What a recording can be trusted for: named findings, each with a limit and what to do.

A new finding is one function and one line in `CHECKS`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from acquisition.recording.model import Recording
from analysis.quality import line, noise, plan_events, reported, rest, returns, sensors
from analysis.quality.evidence import (
    Evidence,
    Recorded,
    Unresolved,
    effective_rate_hz,
    losses,
)
from analysis.trial import QualityFinding, Severity

__all__ = ["CHECKS", "Evidence", "assess", "assess_unresolved", "effective_rate_hz", "losses"]

CHECKS: tuple[Callable[[Evidence], list[QualityFinding]], ...] = (
    line.status,
    line.content,
    line.identity,
    reported.faults,
    plan_events.readable,
    line.lost,
    line.missing,
    line.silent,
    line.segments,
    sensors.saturation,
    sensors.stuck,
    line.link,
    sensors.spikes,
    rest.zero,
    noise.noise,
    sensors.gravity,
    rest.home_pose,
    rest.bumped,
    rest.heading,
    returns.incomplete,
    sensors.gyro_bias,
    line.rate,
    line.jitter,
    sensors.scales,
    sensors.calibration_age,
    sensors.calibration_range,
    sensors.second_cell,
)
UNRESOLVED_CHECKS: tuple[Callable[[Recorded], list[QualityFinding]], ...] = (
    line.status,
    line.content,
    line.identity,
    reported.faults,
    line.lost,
    line.silent,
    line.segments,
    sensors.stuck,
    line.link,
    line.rate,
    line.jitter,
    sensors.calibration_age,
)
"""Those of them that can be asked of a recording which cannot be resolved."""


def assess(evidence: Evidence) -> tuple[QualityFinding, ...]:
    """Return every finding, worst first, otherwise in the order of `CHECKS`."""
    return worst_first(one for check in CHECKS for one in check(evidence))


def assess_unresolved(recording: Recording) -> tuple[QualityFinding, ...]:
    """Return the findings that a recording allows which cannot be resolved, worst first."""
    evidence = Unresolved(recording)
    return worst_first(one for check in UNRESOLVED_CHECKS for one in check(evidence))


def worst_first(findings: Iterable[QualityFinding]) -> tuple[QualityFinding, ...]:
    """Return findings by severity, otherwise in their order."""
    order = {Severity.WARNING: 0, Severity.NOTE: 1, Severity.FINE: 2}
    return tuple(sorted(findings, key=lambda one: order[one.severity]))
