"""What is kept of a measured recording: plain values, no samples."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from acquisition.recording.model import Recording
from analysis.trial import Severity, Trial


def plain_result(recording: Recording, trial: Trial) -> dict[str, Any]:
    """Return facts, target, failed checks, measures and reasons, fit for JSON."""
    warnings = [one.key for one in trial.quality if one.severity is Severity.WARNING]
    return {
        "recording": {**trial.recording, "trial": recording.label.trial},
        "target": trial.target.to_dict(),
        "warnings": warnings,
        "repetitions": [repetition.to_dict() for repetition in trial.repetitions],
    }


def as_line(result: dict[str, Any]) -> str:
    """Return a result as one line of JSON: the same result, the same line."""
    return json.dumps(result, sort_keys=True, allow_nan=False, separators=(",", ":"))


def target_hash(target: Mapping[str, Any]) -> str:
    """Return a short name for a target: the same target, the same name."""
    return hashlib.sha256(json.dumps(target, sort_keys=True).encode()).hexdigest()[:12]
