"""The methods text of a report: what was done, from the parameters used, with citations.

A passage is a function from the trial to its sentences; one that does not apply gives none. It
cites as ``{slope}``, by the key in `REFERENCES`. A new method is one function and one line in
`PASSAGES`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

from acquisition.software import software
from analysis.bumps import AGREE_RAD, BUMP_RAD, STAYS_NEEDED
from analysis.filters import LowPass, live_delay_s
from analysis.memory import LEAST_EFFECTIVE, MEMORIES, WAVES
from analysis.smoothness import AMPLITUDE_LIMIT, PAD_POWERS, SPECTRUM_LIMIT_HZ
from analysis.timebase import MAX_GAP_SAMPLES
from analysis.trial import Trial
from ui.report.references import REFERENCES

CITATION = re.compile(r"\{(\w+(?:,\w+)*)\}")

Passage = Callable[[Trial], str]


@dataclass(frozen=True, slots=True)
class Methods:
    """A text to adapt.

    Attributes:
        paragraphs: Name and sentences of each, citing by number in brackets.
        works: What is cited, in the order of the numbers, from 1.
    """

    paragraphs: tuple[tuple[str, str], ...]
    works: tuple[str, ...]


def methods_of(trial: Trial) -> Methods:
    """Return the text for *trial*. The same trial gives the same text."""
    numbers: dict[str, int] = {}

    def cited(match: re.Match[str]) -> str:
        keys = match[1].split(",")
        for key in keys:
            numbers.setdefault(key, len(numbers) + 1)
        return "[" + ", ".join(str(numbers[key]) for key in keys) + "]"

    told = [
        (name, " ".join(filter(None, (passage(trial) for passage in passages))))
        for name, passages in PASSAGES.items()
    ]
    paragraphs = tuple((name, CITATION.sub(cited, text)) for name, text in told)
    return Methods(paragraphs, tuple(REFERENCES[key] for key in numbers))


def _number(value: object) -> str:
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _of(trial: Trial, *path: str) -> str:
    """Return a parameter as used, by its path."""
    value: Any = trial.settings
    for key in path:
        value = value[key]
    return _number(value)


def _rig(trial: Trial) -> str:
    facts = trial.recording
    rates: Mapping[str, float] = facts["rates_hz"]
    streams = " and ".join(f"{name} at {rate:.0f} Hz" for name, rate in rates.items())
    return (
        f"The push of the hand on a mock upper arm ({facts['side']} side) was measured with a "
        f"{facts['axes']}-axis load cell between the shell that is pressed and the shaft, and with "
        f"an inertial sensor on the shaft ({streams})."
    )


def _axes(trial: Trial) -> str:
    mirrored = " Data of the left rig were mirrored in the sagittal plane first."
    return (
        "Axes follow the recommendation of the International Society of Biomechanics {axes}: X "
        "anterior, Y superior, Z lateral, fixed to the scapula block."
        f"{mirrored if trial.recording['side'] == 'left' else ''}"
    )


def _time_base(trial: Trial) -> str:
    rate = trial.series.fs_hz
    return (
        f"Device time stamps were brought to an even grid of {rate:.4g} Hz; spacings of more than "
        f"{_bridged(trial)} were left as gaps. Single samples more than "
        f"{_of(trial, 'spike_sds')} robust standard deviations from the median of their "
        "neighbours were replaced by it {spikes}."
    )


def _bridged(trial: Trial) -> str:
    """Return the longest spacing that is no gap, by stream where they differ."""
    least_s = float(trial.settings["max_gap_s"])
    rates: Mapping[str, float] = trial.recording["rates_hz"]
    told = {
        name: f"{max(least_s, MAX_GAP_SAMPLES / rate) * 1000:.0f} ms"
        for name, rate in rates.items()
    }
    if len(set(told.values())) == 1:
        return next(iter(told.values()))
    return " and ".join(f"{longest} ({name})" for name, longest in told.items())


def _shell(trial: Trial) -> str:
    return (
        "Weight and inertia of the shell were removed by adding its mass times the specific force "
        "at its centre of mass, taken from the inertial sensor; the zero of the cell was found "
        f"while nobody touched the rig (SD below {_of(trial, 'quiet_sd_n')} N for "
        f"{_of(trial, 'quiet_window_s')} s)."
    )


def _low_pass(trial: Trial) -> str:
    order, cutoff = trial.settings["filter_order"], trial.settings["cutoff_hz"]
    delay = live_delay_s(LowPass(cutoff_hz=cutoff, order=order))
    return (
        f"Forces were low-pass filtered with a Butterworth filter of order {order}, applied "
        f"forward and back, its cut-off corrected for the two passes so that {cutoff:g} Hz is the "
        "−3 dB point of both {low_pass}; vectors were filtered, never angles. (On screen the same "
        f"filter runs forward only, with a delay of {delay * 1000:.0f} ms.){_residuals(trial)}"
    )


def _residuals(trial: Trial) -> str:
    found = trial.residuals
    if found is None or not math.isfinite(found.cutoff_hz):
        return ""
    return (
        " Residual analysis of the force {low_pass} gave a noise of "
        f"{found.noise_rms:.2g} N and a balanced cut-off of {found.cutoff_hz:.0f} Hz."
    )


def _orientation(trial: Trial) -> str:
    return (
        "Orientation came from angular rate and specific force by an inertial filter without "
        "magnetometer, in its offline form with estimation of the gyroscope’s bias {orientation}. "
        "Its heading was tied to the rig at rests of the arm at home (slower than "
        f"{_of(trial, 'rest_speed_deg_s')}°/s for at least {_of(trial, 'rest_min_s')} s) and "
        "interpolated between them; gaps of the inertial sensor of up to "
        f"{_of(trial, 'orientation_gap_s')} s were bridged."
    )


def _bumps(trial: Trial) -> str:
    found = next((line.value for line in trial.quality if line.key == "rig_bumped"), "never")
    shown = "This was never so." if found == "never" else f"Found: {found}."
    return (
        f"The base counted as leaning anew where, hand off, {STAYS_NEEDED} successive stays at "
        f"home agreed within {_degrees(AGREE_RAD)} on a vertical more than {_degrees(BUMP_RAD)} "
        "from the one before and no later rest showed that one again; from there on the vertical "
        "seen at home was used, and repetitions that reached into what lies between were not "
        "measured. "
        f"{shown}"
    )


def _target(trial: Trial) -> str:
    target = trial.target
    moving = ""
    if target.scapula is not None:
        moving = (
            f" at home; from there it {target.scapula.in_words} (rotations in the ISB order of "
            "scapula against thorax {axes}; scapulohumeral rhythms as in {rhythm})"
        )
    return (
        f"The target direction lay {_number(target.glide_azimuth_deg)}° lateral of straight "
        f"backward and {_number(target.inferior_tilt_deg)}° downward{moving}. Elevation is the "
        "angle of the shaft from hanging; azimuth and superior angle are those of the force "
        "vector, the off-axis angle is its angle from the target."
    )


def _repetitions(trial: Trial) -> str:
    def cut(key: str) -> str:
        return _of(trial, "repetitions", key)

    return (
        "A repetition is an excursion of the arm from home past "
        f"{cut('minimum_amplitude_deg')}° and back; its limits were set where the speed of "
        f"elevation was {float(cut('onset_share')) * 100:g} % of its peak (5 %, "
        "common practice, is passed at 5.9 % of the duration of a minimum-jerk movement "
        "{onset}), the top "
        f"being all within {cut('top_deg')}° of the highest elevation. The hand counted as on "
        f"above {_of(trial, 'contact_on_n')} N and as off again below "
        f"{_of(trial, 'contact_off_n')} N; a loss of contact of up to "
        f"{_of(trial, 'contact_gap_s')} s did not end a hold, and a force unknown for longer was "
        f"none. A smaller excursion that began within {cut('refractory_s')} s of coming home "
        "was a bounce and part of it; one in which the elevation was unknown for more than "
        f"{cut('unknown_s')} s counted as unfinished."
    )


def _directions(trial: Trial) -> str:
    limit = _number(trial.target.direction_u_limit_deg)
    return (
        "Directions were averaged as unit vectors and their scatter described by Fisher’s "
        "concentration {directions}. Samples whose direction had a standard uncertainty of more "
        f"than {limit}° were left out and counted."
    )


def _on_target(trial: Trial) -> str:
    target = trial.target
    return (
        "A sample was on target if its direction lay within "
        f"{_number(target.cone_deg)}° of the target and not more than "
        f"{_number(target.superior_limit_deg)}° upward, and its force was between "
        f"{_number(target.force_band.low_n)} and {_number(target.force_band.high_n)} N; samples "
        "without a direction counted as off it."
    )


def _stabilising(trial: Trial) -> str:
    if trial.series.stabiliser_n is None:
        return ""
    return (
        "The stabilising hand pressed on a second load cell under the scapula block; the magnitude "
        "of its force, zeroed at rests at home, was filtered like the first and that hand counted "
        "as on by the same thresholds."
    )


def _drift(trial: Trial) -> str:
    share = float(_of(trial, "measures", "drift_outer_share")) * 100
    return (
        "Superior drift is the median of the slopes between all pairs of "
        f"{_of(trial, 'measures', 'drift_points')} evenly picked samples of superior angle against "
        "elevation {slope,slope_with_ties}, for phases of at least "
        f"{_of(trial, 'measures', 'drift_range_deg')}° of elevation, and the difference of "
        f"the means over its outer {share:g} %."
    )


def _intervals(_: Trial) -> str:
    return (
        "Intervals are 95 %. As samples of a push are not independent, and a phase is short beside "
        f"what a hand remembers, they rest on the {WAVES} lowest half waves of each phase, level "
        "and what changes in proportion to time or elevation left out {strongly_autocorrelated}, "
        "and allow for every memory of a first-order process from "
        f"{100 * MEMORIES[0]:g} to {100 * MEMORIES[-1]:g} % of the phase, "
        "equally likely in the logarithm, weighted by its likelihood; measures that are not means "
        "were made linear about their value. The interval of the drift and the cone of confidence "
        "of the mean direction were found likewise. None is given for phases that very likely hold "
        f"fewer than {LEAST_EFFECTIVE:g} independent values."
    )


def _tremor(trial: Trial) -> str:
    low, high = (_of(trial, "measures", f"tremor_{end}_hz") for end in ("low", "high"))
    return (
        f"Tremor is the root of the power of the force from {low} to {high} Hz, by averaged "
        "periodograms {spectrum} of one second, with the gain of the low-pass divided out."
    )


def _smoothness(trial: Trial) -> str:
    return (
        "Smoothness of the elevation is the spectral arc length (up to "
        f"{SPECTRUM_LIMIT_HZ:g} Hz, amplitudes of {AMPLITUDE_LIMIT:g} of the greatest and more, "
        f"{PAD_POWERS} powers of two of padding) {{arc_length}} and the logarithm of "
        "dimensionless jerk {jerk}, the latter of the speed low-passed at "
        f"{_of(trial, 'measures', 'jerk_cutoff_hz')} Hz; both of each way while its speed was "
        f"above {float(_of(trial, 'measures', 'limb_share')) * 100:g} % of its peak."
    )


def _contact(trial: Trial) -> str:
    if trial.recording["axes"] != 6:
        return ""
    return (
        "The point of contact is where the line of action of the wrench meets the spherical head "
        "on the pressed side {contact}."
    )


def _uncertainty(trial: Trial) -> str:
    return (
        "Standard uncertainties of angles and forces were propagated to first order {uncertainty} "
        "from the calibration, the noise seen at rest, the zero and how far the rests at home "
        "showed it moved, the orientation with what those rests showed of its inclination and the "
        f"age of its heading (growing by {_of(trial, 'heading_drift_deg_s')}°/s), the mass of the "
        f"shell and the mounting of the sensors.{_put_in(trial)}"
    )


def _put_in(trial: Trial) -> str:
    """Return the standard uncertainties of the inputs, as they were for this trial."""
    sources = trial.series.sources
    if sources is None:
        return ""
    force_n = f"{math.sqrt(sources.force_variance_n2):.2g} N"
    of_force = "noise and zero" if sources.cell_covariance_n2 is not None else "all three"
    told = [f"{force_n} in each component of the force ({of_force})"]
    if sources.cell_covariance_n2 is not None:
        told.append("the covariance of the calibration")
    if sources.force_share:
        told.append(f"{100 * sources.force_share:.2g} % of each coefficient of the calibration")
    told += [
        f"{1000 * sources.mass_kg:.2g} g in the mass",
        f"{_degrees(sources.inclination_rad)} in the inclination about each level axis",
        f"{_degrees(sources.heading_rad)} in the heading at a rest",
    ]
    mounting = f"{_degrees(sources.mounting_rad)} in the mounting about each axis"
    return f" Put in were {', '.join(told)} and {mounting}."


def _degrees(angle_rad: float) -> str:
    return f"{math.degrees(angle_rad):.2g}°"


def _software(_: Trial) -> str:
    numpy, scipy, vqf = (version(name) for name in ("numpy", "scipy", "vqf"))
    return (
        f"The analysis was done with {software()}, NumPy {numpy} {{numpy}}, SciPy {scipy} "
        f"{{scipy}} and vqf {vqf}."
    )


PASSAGES: dict[str, tuple[Passage, ...]] = {
    "Measurement": (_rig, _axes, _target),
    "Processing": (_time_base, _shell, _low_pass, _orientation, _bumps, _contact),
    "Measures": (_repetitions, _directions, _on_target, _stabilising, _drift, _tremor, _smoothness),
    "Uncertainty": (_intervals, _uncertainty),
    "Software": (_software,),
}
"""By paragraph, in the order of the text."""
