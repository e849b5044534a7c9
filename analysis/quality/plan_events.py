"""Whether what a practice plan noted in a recording can be read."""

from __future__ import annotations

from analysis.practice import PRACTICE_EVENT, read_event
from analysis.quality.evidence import Recorded, finding
from analysis.trial import QualityFinding

KEY = "practice_events"


def readable(evidence: Recorded) -> list[QualityFinding]:
    """Tell how many practice events say nothing, being damaged or of another version."""
    texts = [one.text for one in evidence.recording.events if one.kind == PRACTICE_EVENT]
    lost = sum(read_event(text) is None for text in texts)
    return [
        finding(
            KEY,
            f"{lost} of {len(texts)} cannot be read" if texts else "no plan was followed",
            "none",
            ok=not lost,
            advice="They are damaged, or of another version: what was seen of these repetitions "
            "is not known. Count none of them as done with, or without, help."
            if lost
            else "What the plan noted can be read.",
        )
    ]
