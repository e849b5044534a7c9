"""The tables of measures: a new one is a function and one line here.

Keys are exact: they are the JSON, the table columns and the report.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

from analysis.measures import direction, force, hold, stabiliser, superior, timing
from analysis.measures.phase_view import PhaseView
from analysis.measures.timing import RepetitionView

View = TypeVar("View")


@dataclass(frozen=True, slots=True)
class Measure(Generic[View]):
    """One measure.

    Attributes:
        key: Exact name in JSON and tables.
        label: Short name for people.
        unit: Empty if it has none.
        decimals: How many are worth printing.
        compute: From a view to the value; raises `Withheld` with the reason if it cannot. The
            first line of its docstring is the measure's line in the data dictionary.
    """

    key: str
    label: str
    unit: str
    decimals: int
    compute: Callable[[View], float | bool | str]

    @property
    def meaning(self) -> str:
        """One sentence for the data dictionary."""
        first = (self.compute.__doc__ or "").strip().splitlines()[0]
        sentence = first.removeprefix("Return ")
        return sentence[:1].upper() + sentence[1:]


PHASE_MEASURES: tuple[Measure[PhaseView], ...] = tuple(
    Measure(*row)
    for row in (
        ("force_mean_N", "force", "N", 1, force.force_mean),
        ("force_sd_N", "force SD", "N", 2, force.force_sd),
        ("force_cv_percent", "force CV", "%", 1, force.force_cv),
        ("force_detrended_sd_N", "force SD, detrended", "N", 2, force.force_detrended_sd),
        ("force_tremor_rms_N", "force tremor, 8 to 12 Hz", "N", 2, force.force_tremor),
        ("force_in_band_percent", "force in band", "%", 0, force.force_in_band),
        ("glide_mean_N", "glide", "N", 1, force.glide_mean),
        ("azimuth_mean_deg", "azimuth", "°", 1, direction.azimuth_mean),
        ("azimuth_error_mean_deg", "azimuth error", "°", 1, direction.azimuth_error_mean),
        ("superior_angle_mean_deg", "superior angle", "°", 1, superior.superior_angle_mean),
        ("superior_angle_p95_deg", "superior angle, 95th pct", "°", 1, superior.superior_angle_p95),
        ("superior_force_mean_N", "superior force", "N", 1, superior.superior_force_mean),
        ("superior_force_p95_N", "superior force, 95th pct", "N", 1, superior.superior_force_p95),
        (
            "superior_drift_deg_per_10deg",
            "superior drift",
            "°/10°",
            2,
            superior.superior_drift_per_10deg,
        ),
        ("superior_drift_deg", "superior drift, late − early", "°", 1, superior.superior_drift),
        ("off_axis_mean_deg", "off-axis", "°", 1, direction.off_axis_mean),
        ("off_axis_rms_deg", "off-axis, RMS", "°", 1, direction.off_axis_rms),
        ("off_axis_p95_deg", "off-axis, 95th pct", "°", 1, direction.off_axis_p95),
        ("direction_dispersion_deg", "dispersion", "°", 1, direction.direction_dispersion),
        ("direction_kappa", "concentration κ", "", 0, direction.direction_kappa),
        ("direction_cone95_deg", "95 % cone of the mean", "°", 2, direction.direction_cone),
        ("on_target_percent", "on target", "%", 0, direction.on_target),
        ("hold_coverage_percent", "hold coverage", "%", 0, hold.hold_coverage),
        ("valid_percent", "valid", "%", 0, hold.valid),
        ("gated_percent", "too light for a direction", "%", 0, hold.gated),
        ("missing_percent", "missing", "%", 1, hold.missing),
        ("saturated_percent", "saturated", "%", 1, hold.saturated),
        ("force_u_N", "u(force)", "N", 2, force.force_u),
        ("glide_u_N", "u(glide)", "N", 2, force.glide_u),
        ("superior_force_u_N", "u(superior force)", "N", 2, force.superior_force_u),
        ("azimuth_u_deg", "u(azimuth)", "°", 1, direction.azimuth_u),
        ("superior_angle_u_deg", "u(superior angle)", "°", 1, direction.superior_angle_u),
        ("off_axis_u_deg", "u(off-axis)", "°", 1, direction.off_axis_u),
        ("contact_shift_mm", "contact shift", "mm", 1, hold.contact_shift),
        ("stabiliser_present", "stabilising hand", "", 0, stabiliser.stabiliser_present),
        (
            "stabiliser_force_mean_N",
            "stabilising force",
            "N",
            1,
            stabiliser.stabiliser_force_mean,
        ),
        (
            "stabiliser_coverage_percent",
            "stabilising coverage",
            "%",
            0,
            stabiliser.stabiliser_coverage,
        ),
    )
)
"""In the order of the report; each is computed for raise, lower and movement."""

REPETITION_MEASURES: tuple[Measure[RepetitionView], ...] = tuple(
    Measure(*row)
    for row in (
        ("side", "side", "", 0, timing.side),
        ("start_s", "start", "s", 2, timing.start),
        ("top_s", "top", "s", 2, timing.top),
        ("end_s", "end", "s", 2, timing.end),
        ("complete", "complete", "", 0, timing.complete),
        ("elevation_top_deg", "highest elevation", "°", 0, timing.elevation_top),
        ("elevation_top_u_deg", "u(highest elevation)", "°", 1, timing.elevation_top_u),
        ("raise_duration_s", "raise", "s", 1, timing.raise_duration),
        ("lower_duration_s", "lower", "s", 1, timing.lower_duration),
        ("elevation_speed_mean_deg_s", "mean speed", "°/s", 0, timing.elevation_speed_mean),
        ("elevation_speed_peak_deg_s", "peak speed", "°/s", 0, timing.elevation_speed_peak),
        ("smoothness_sparc", "SPARC", "", 2, timing.sparc),
        ("smoothness_ldlj", "LDLJ", "", 2, timing.ldlj),
        ("time_to_hold_s", "time to hold", "s", 2, timing.time_to_hold),
        ("released_before_down", "released early", "", 0, timing.released_before_down),
        ("release_elevation_deg", "elevation at release", "°", 0, timing.release_elevation),
        (
            "release_elevation_u_deg",
            "u(elevation at release)",
            "°",
            1,
            timing.release_elevation_u,
        ),
    )
)
"""Once for each repetition."""
