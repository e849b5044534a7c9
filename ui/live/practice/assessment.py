"""The outcome of an assessment: measured criteria over the repetitions that count, and ticks.

No score and no pass mark: each criterion stands for itself, met, not met or undecided, because a
number nearer to its limit than its uncertainty decides nothing. Whether a student has passed is
the instructor's word.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analysis.criteria import Criterion, Verdict
from analysis.quality.plan_events import KEY
from analysis.said import said
from analysis.trial import Severity, Trial
from ui.errors import UserError
from ui.judged import Judged, judged
from ui.live.practice.checklist import Checklist


class AssessmentError(UserError):
    """A recording cannot be assessed, for the reason given."""


@dataclass(frozen=True, slots=True)
class AssessedCriterion:
    """A criterion over all the repetitions that count.

    Attributes:
        each: It in each repetition, in order.
        verdict: Not met if it is so in any; else not known or undecided if it is so in any;
            met only if it is in all.
    """

    each: tuple[Criterion, ...]
    verdict: Verdict

    @property
    def label(self) -> str:
        """What is judged."""
        return self.each[0].label


@dataclass(frozen=True, slots=True)
class Assessment:
    """What a result sheet says.

    Attributes:
        trial: The recording, resolved and measured.
        repetitions: Those that count.
        left_out: Number and reason of each that does not.
        criteria: In the order in which to change things.
        checklist: As ticked.
        feedback: What could be seen during the repetitions that count, a warning if there was
            any; empty if there was none.
        unfinished: What the plan asks for and is not there, in words; empty if nothing.
    """

    trial: Trial
    repetitions: tuple[Judged, ...]
    left_out: tuple[tuple[int, str], ...]
    criteria: tuple[AssessedCriterion, ...]
    checklist: Checklist
    feedback: str
    unfinished: str

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON, and for the hash of what the sheet rests on."""
        trial = self.trial
        return {
            "recording": {key: trial.recording[key] for key in ("uuid", "sha256", "file")},
            "person": trial.recording["person"],
            "target": trial.target.to_dict(),
            "settings": dict(trial.settings),
            "repetitions": [one.repetition.number for one in self.repetitions],
            "left_out": [list(one) for one in self.left_out],
            "criteria": [
                {
                    "key": one.each[0].key,
                    "verdict": one.verdict.value,
                    "low": one.each[0].low,
                    "high": one.each[0].high,
                    "values": [each.value for each in one.each],
                    "verdicts": [each.verdict.value for each in one.each],
                }
                for one in self.criteria
            ],
            "checklist": self.checklist.to_dict(),
            "feedback": self.feedback,
            "unfinished": self.unfinished,
        }

    @property
    def parameters_sha256(self) -> str:
        """Of target and parameters of the analysis: another limit makes another sheet."""
        plain = {"target": self.trial.target.to_dict(), "settings": dict(self.trial.settings)}
        return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()


def assess_trial(trial: Trial, checklist: Checklist) -> Assessment:
    """Return the outcome of an assessment.

    Without a plan every complete repetition counts; with one, those of its last block that were
    not set aside: the blocks before it are for settling in. While some of them are missing no
    criterion is met: what was not done was not shown.

    Args:
        trial: The recording, resolved and measured.
        checklist: As ticked so far.

    Raises:
        AssessmentError: No repetition counts.
    """
    if any(one.key == KEY and one.severity is Severity.WARNING for one in trial.quality):
        raise AssessmentError(
            f"{trial.recording['file']}: what its plan noted cannot be read, so what the student "
            "saw is not known; assess it with the version that recorded it, or record it again"
        )
    counted, left_out = [], []
    last_block = max(
        (one.practice.of_blocks for one in trial.repetitions if one.practice), default=0
    )
    for one in judged(trial):
        why = _why_not(one, last_block)
        if why:
            left_out.append((one.repetition.number, why))
        else:
            counted.append(one)
    if not counted:
        where = trial.recording["file"] or trial.recording["uuid"]
        why = ", ".join(dict.fromkeys(why for _, why in left_out)) or "there is none"
        raise AssessmentError(f"{where}: no repetition counts ({why}); record what is missing")
    unfinished = _unfinished(counted)
    return Assessment(
        trial=trial,
        repetitions=tuple(counted),
        left_out=tuple(left_out),
        criteria=tuple(
            AssessedCriterion(each, _together([one.verdict for one in each], unfinished))
            for each in zip(*(one.criteria for one in counted), strict=True)
        ),
        checklist=checklist,
        feedback=_feedback(counted),
        unfinished=unfinished,
    )


def _why_not(one: Judged, last_block: int) -> str:
    """Return why a repetition does not count, empty if it does."""
    practice = one.repetition.practice
    if not one.repetition.spans.complete:
        return "it was not finished"
    if last_block and practice is None:
        return "it was no part of the plan"
    if practice is not None and practice.set_aside:
        return practice.set_aside
    if practice is not None and practice.block < last_block:
        return said("settling in ({})", practice.block_name)
    return ""


def _unfinished(counted: Sequence[Judged]) -> str:
    """Return how many repetitions of the plan's last block are missing, empty if none is."""
    plans = [one.repetition.practice for one in counted]
    done = {one.number for one in plans if one is not None}
    wanted = max((one.of_repetitions for one in plans if one is not None), default=0)
    if len(done) >= wanted:
        return ""
    return said("the plan asks for {} repetitions, {} of them counted", wanted, len(done))


def _together(verdicts: Sequence[Verdict], unfinished: str) -> Verdict:
    order = (Verdict.NOT_MET, Verdict.UNKNOWN, Verdict.UNDECIDED)
    best = Verdict.UNKNOWN if unfinished else Verdict.MET
    return next((verdict for verdict in order if verdict in verdicts), best)


def _feedback(counted: Sequence[Judged]) -> str:
    plans = [one.repetition.practice for one in counted]
    if not any(plans):
        return "no plan was followed: whether the student saw the picture is not known"
    seen = [one for one in plans if one is not None and (one.picture_percent or one.card)]
    if not seen:
        return ""
    numbers = ", ".join(str(one.number) for one in seen)
    return said(
        "feedback was given in repetition {} of the plan: this is no test without help", numbers
    )
