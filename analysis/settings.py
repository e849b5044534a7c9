"""Every parameter of the analysis, with its reason. A report prints them as used."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from msgspec import Meta

from analysis.measure_settings import MeasureSettings
from analysis.repetition_settings import RepetitionSettings

Positive = Annotated[float, Meta(gt=0)]
NotNegative = Annotated[float, Meta(ge=0)]


class AnalysisSettings(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a recording is resolved. "Ours" marks a choice that no source gives.

    Attributes:
        grid_rate_hz: Rate of the even grid; None takes the nominal rate of the force stream.
        max_gap_s: Longest spacing of samples that is bridged, or `timebase.MAX_GAP_SAMPLES` of
            the stream if that is longer; more stays a gap. Ours: at slow elevation (30 deg/s)
            the arm turns 0.6 degrees meanwhile.
        orientation_gap_s: Longest gap of the inertial samples over which the orientation is
            carried on. Ours: a quarter of a second of slow elevation is 7 degrees, guessed from
            both sides to about one.
        cutoff_hz: -3 dB point of the low-pass, of both passes together. Ours: voluntary force
            and tremor lie below 12 Hz, sensor noise mostly above.
        filter_order: Of one pass. 2 is common practice in biomechanics.
        spike_sds: A sample this many robust SDs from the median of its neighbours is a spike.
        contact_on_n: Push at which the hand counts as on.
        contact_off_n: Push below which it counts as off again.
        contact_gap_s: A shorter loss of contact is a tremble, not a release; a force unknown
            for longer is no contact.
        rest_speed_deg_s: Slower than this is still.
        rest_min_s: A home rest lasts at least this long.
        quiet_window_s: Length of the windows searched for an untouched cell.
        quiet_sd_n: Largest SD of the filtered force in an untouched window. Ours: a pushing
            hand's tremor is 1 % of the force or more, an empty rig's noise a few hundredths.
        quiet_cluster_n: Windows within this of each other show the same zero.
        plane_min_elevation_deg: Below it the plane of elevation is not defined.
        heading_drift_deg_s: Growth of the heading's uncertainty between home rests, from about
            0.12 deg/min measured with the filter used, doubled.
        repetitions: How the trial is cut.
        measures: How the repetitions are measured.
    """

    grid_rate_hz: Positive | None = None
    max_gap_s: Positive = 0.02
    orientation_gap_s: Positive = 0.25
    cutoff_hz: Positive = 10.0
    filter_order: Annotated[int, Meta(ge=1, le=8)] = 2
    spike_sds: Positive = 8.0
    contact_on_n: Positive = 5.0
    contact_off_n: Positive = 3.0
    contact_gap_s: NotNegative = 0.1
    rest_speed_deg_s: Positive = 3.0
    rest_min_s: Positive = 0.4
    quiet_window_s: Positive = 0.25
    quiet_sd_n: Positive = 0.15
    quiet_cluster_n: Positive = 0.5
    plane_min_elevation_deg: Positive = 10.0
    heading_drift_deg_s: NotNegative = 0.004
    repetitions: RepetitionSettings = RepetitionSettings()
    measures: MeasureSettings = MeasureSettings()

    def __post_init__(self) -> None:
        if self.contact_off_n > self.contact_on_n:
            raise ValueError("contact_off_n must not exceed contact_on_n")

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON and the report."""
        plain: dict[str, Any] = msgspec.to_builtins(self)
        return plain
