"""A trial's repetitions against their criteria, gathered as table and report tell them."""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass

from analysis.criteria import Criterion, Verdict, judge, one_thing
from analysis.said import listed, said
from analysis.trial import Measured, Repetition, Trial

SIGNS = {Verdict.MET: "✓", Verdict.NOT_MET: "✗", Verdict.UNDECIDED: "?", Verdict.UNKNOWN: "—"}
"""A sign for each verdict, so that colour never carries it alone."""
MEANINGS = {
    Verdict.MET: "met",
    Verdict.NOT_MET: "not met",
    Verdict.UNDECIDED: "undecided: nearer to its limit than twice its standard uncertainty",
    Verdict.UNKNOWN: "not known",
}


@dataclass(frozen=True, slots=True)
class Judged:
    """A repetition and how it stands against its criteria, in the order in which to change."""

    repetition: Repetition
    criteria: tuple[Criterion, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """What to change first, in which repetitions.

    Attributes:
        advice: In plain words.
        places: Number of the repetition and where on the arc it went wrong, which may be empty.
    """

    advice: str
    places: tuple[tuple[int, str], ...]

    @property
    def told(self) -> tuple[str, ...]:
        """The places in words; repetitions without one share a line."""
        lines = [said("repetition {}: {}", number, where) for number, where in self.places if where]
        anywhere = [str(number) for number, where in self.places if not where]
        if anywhere:
            lines.append(said("repetition {}: throughout", listed(", ", anywhere)))
        return tuple(lines)


def judged(trial: Trial) -> tuple[Judged, ...]:
    """Return every repetition of a trial with its criteria."""
    return tuple(
        Judged(repetition, judge(repetition, trial.series, trial.target))
        for repetition in trial.repetitions
    )


def changes(repetitions: Iterable[Judged]) -> tuple[Change, ...]:
    """Return the one thing to change of each repetition, those that agree together."""
    places: dict[str, list[tuple[int, str]]] = {}
    for one in repetitions:
        first = one_thing(one.criteria)
        if first is not None:
            places.setdefault(first.advice, []).append((one.repetition.number, first.where))
    return tuple(Change(advice, tuple(where)) for advice, where in places.items())


def nothing_to_change(repetitions: Iterable[Judged]) -> str:
    """Return in words what it means that no repetition missed a criterion."""
    verdicts = {criterion.verdict for one in repetitions for criterion in one.criteria}
    if verdicts <= {Verdict.MET}:
        return "Nothing to change: every criterion was met."
    return "No criterion was missed, but not every one could be decided."


def tally(repetitions: Iterable[Judged]) -> dict[Verdict, dict[str, list[int]]]:
    """Return, by verdict and what is judged, the numbers of the repetitions it applies to.

    Verdicts that need attention come first; one that nothing has is left out.
    """
    order = (Verdict.NOT_MET, Verdict.UNDECIDED, Verdict.UNKNOWN, Verdict.MET)
    found: dict[Verdict, dict[str, list[int]]] = {verdict: {} for verdict in order}
    for one in repetitions:
        for criterion in one.criteria:
            numbers = found[criterion.verdict].setdefault(criterion.label, [])
            numbers.append(one.repetition.number)
    return {verdict: labels for verdict, labels in found.items() if labels}


def reasons(
    measured: Iterable[Measured], keys: Container[str] | None = None
) -> dict[str, list[str]]:
    """Return each reason for a missing value once, with the measures it stands for.

    Args:
        measured: What was measured.
        keys: The measures that matter, None if all do.
    """
    found: dict[str, list[str]] = {}
    for one in measured:
        for key, reason in one.reasons.items():
            missing = found.setdefault(reason, [])
            if key not in missing and (keys is None or key in keys):
                missing.append(key)
    return {reason: missing for reason, missing in found.items() if missing}


def interval_reasons(measured: Iterable[Measured]) -> dict[str, list[str]]:
    """Return each reason for a missing interval once, with the measures it stands for."""
    found: dict[str, list[str]] = {}
    for one in measured:
        for key, reason in one.interval_reasons.items():
            missing = found.setdefault(reason, [])
            if key not in missing:
                missing.append(key)
    return found


def all_measured(trial: Trial) -> Iterable[Measured]:
    """Yield everything that was measured: of each repetition as a whole, and of its phases."""
    for repetition in trial.repetitions:
        yield repetition.measured
        yield from repetition.phases.values()


def none_found(trial: Trial) -> str:
    """Return in words what it means that a trial has no repetition."""
    amplitude = trial.settings["repetitions"]["minimum_amplitude_deg"]
    return said(
        "No repetition was found: the arm never left home and passed {}°.", f"{amplitude:g}"
    )
