"""What a recording can be trusted for: named findings, each with a limit and what to do.

A new finding is one function and one line in `CHECKS`.
"""

from __future__ import annotations

from collections.abc import Callable

from analysis.quality import line, noise, reported, rest, sensors
from analysis.quality.evidence import Evidence, effective_rate_hz, losses
from analysis.trial import QualityFinding, Severity

__all__ = ["CHECKS", "Evidence", "assess", "effective_rate_hz", "losses"]

CHECKS: tuple[Callable[[Evidence], list[QualityFinding]], ...] = (
    line.status,
    line.content,
    line.identity,
    reported.reported,
    line.lost,
    line.missing,
    line.segments,
    sensors.saturation,
    line.link,
    sensors.spikes,
    rest.zero,
    noise.noise,
    sensors.gravity,
    rest.home_pose,
    rest.bumped,
    rest.heading,
    sensors.gyro_bias,
    line.rate,
    line.jitter,
    sensors.scales,
    sensors.calibration_age,
    sensors.calibration_range,
    sensors.second_cell,
)


def assess(evidence: Evidence) -> tuple[QualityFinding, ...]:
    """Return every finding, worst first, otherwise in the order of `CHECKS`."""
    order = {Severity.WARNING: 0, Severity.NOTE: 1, Severity.FINE: 2}
    found = [one for check in CHECKS for one in check(evidence)]
    return tuple(sorted(found, key=lambda one: order[one.severity]))
