"""A finding at the repetitions: whether each is one lift."""

from __future__ import annotations

from analysis.quality.evidence import Evidence, finding
from analysis.trial import QualityFinding


def incomplete(evidence: Evidence) -> list[QualityFinding]:
    """Say which repetitions hold a return that ended short of home."""
    when = [
        f"number {one.repetition} came down to {one.lowest_deg:.0f}° only at "
        f"{evidence.grid.time_s[one.at]:.0f} s"
        for one in evidence.short_returns
    ]
    return [
        finding(
            "incomplete_return",
            ", ".join(when) or "never",
            "never",
            ok=not when,
            advice="The arm went up again without having been home, so two lifts count as one "
            "repetition and are measured together: let the arm hang before the next one.",
        )
    ]
