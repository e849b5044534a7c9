"""The low-pass: what it does to each frequency, and what it leaves over."""

from __future__ import annotations

import numpy as np

from analysis.cutoff import ResidualCurve
from analysis.filter_response import frequency_response
from analysis.filters import LowPass
from analysis.trial import Trial
from ui.report.look import INK, LIMIT, LOWER, QUIET, RAISE, as_svg, drawing

SIZE_IN = (4.6, 3.0)


def draw(trial: Trial) -> list[str]:
    """Return the figures: the frequency response, and the residuals if they are known."""
    drawn = [_response(trial)]
    if trial.residuals is not None:
        drawn.append(_residuals(trial.residuals, float(trial.settings["cutoff_hz"])))
    return drawn


def _response(trial: Trial) -> str:
    cutoff, order = trial.settings["cutoff_hz"], trial.settings["filter_order"]
    spec = LowPass(cutoff_hz=cutoff, order=order)
    found = frequency_response(spec, fs_hz=trial.series.fs_hz)
    with drawing(*SIZE_IN) as figure:
        ax = figure.subplots()
        ax.semilogx(found.hz, 20 * np.log10(found.offline_gain), color=RAISE, label="report")
        ax.semilogx(
            found.hz, 20 * np.log10(found.live_gain), color=LOWER, ls="--",
            label=f"on screen, {1000 * found.live_delay_s[0]:.0f} ms late",
        )  # fmt: skip
        ax.axvline(cutoff, color=LIMIT, lw=0.9)
        ax.axhline(-3.0, color=QUIET, lw=0.7, ls=":")
        ax.annotate(f"{cutoff:g} Hz, −3 dB", (cutoff, -3.0), xytext=(4, 3),
                    textcoords="offset points", color=INK)  # fmt: skip
        ax.set(ylim=(-60.0, 6.0), xlim=(found.hz[0], found.hz[-1]), xlabel="frequency in Hz",
               ylabel="gain in dB", title="What the low-pass lets through")  # fmt: skip
        ax.xaxis.set_major_formatter("{x:g}")
        ax.legend(loc="lower left")
        return as_svg(figure, "Frequency response of the low-pass")


def _residuals(found: ResidualCurve, used_hz: float) -> str:
    with drawing(*SIZE_IN) as figure:
        ax = figure.subplots()
        ax.plot(found.cutoffs_hz, found.residual_rms, color=RAISE, marker=".", ms=4)
        top = float(found.residual_rms.max())
        if np.isfinite(found.noise_rms):
            along = np.array([0.0, found.cutoffs_hz[-1]])
            ax.plot(along, found.noise_rms + found.slope_per_hz * along, color=LOWER, ls="--", lw=1)
            ax.annotate(f"noise {found.noise_rms:.2g} N", (found.cutoffs_hz[-1], found.noise_rms),
                        xytext=(0, 3), textcoords="offset points", ha="right")  # fmt: skip
            top = min(top, 5.0 * found.noise_rms)
        ax.axvline(used_hz, color=LIMIT, lw=0.9)
        ax.annotate("used", (used_hz, 0.96), xycoords=("data", "axes fraction"), xytext=(-3, 0),
                    textcoords="offset points", va="top", ha="right")  # fmt: skip
        if np.isfinite(found.cutoff_hz):
            ax.plot([found.cutoff_hz], [found.noise_rms], "o", mfc="none", mec=INK, ms=7)
            ax.annotate(f"balanced at {found.cutoff_hz:.0f} Hz", (found.cutoff_hz, found.noise_rms),
                        xytext=(8, 8), textcoords="offset points")  # fmt: skip
        ax.set(xlim=(0.0, found.cutoffs_hz[-1]), ylim=(0.0, 1.05 * top or 1.0),
               xlabel="cut-off in Hz", ylabel="what is left, rms in N",
               title="What other cut-offs would leave over")  # fmt: skip
        return as_svg(figure, "Residuals of the force against the cut-off")
