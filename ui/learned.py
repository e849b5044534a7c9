"""What people learned in a study, kept, and lost: in words, for everyone together and for each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analysis.study.days import FEW_DAYS
from analysis.study.findings import MeasureFindings
from analysis.study.learning import NOTHING_TOLD, Learning, Tested
from analysis.tidy.practice import RETENTION, TRANSFER
from ui.measure_words import NAMED
from ui.study_words import decimals_of, people, sentence, with_interval


def learned(found: Sequence[MeasureFindings]) -> Iterator[str]:
    """Yield of each measure how many people learned it, and what tests say."""
    for one in found:
        seen = [each.curve for each in one.learning if each.curve is not None]
        if not seen and not any(each.retention or each.transfer for each in one.learning):
            continue
        falling = sum(each.falling for each in seen)
        ways = [f"{falling} falling"] * (falling > 0)
        ways += [f"{len(seen) - falling} rising"] * (len(seen) > falling)
        which = f" ({', '.join(ways)}{GOOD.get(one.key, '')})" if ways else ""
        yield (
            f"{sentence(NAMED[one.key][0])}: a learning curve is to be seen in {len(seen)} "
            f"of {people(len(one.learning))}{which}{_kept(one)}."
        )


GOOD = {
    "superior_angle_mean_deg": "; less upward is better",
    "off_axis_mean_deg": "; less is better",
    "force_cv_percent": "; less is better",
    "hold_coverage_percent": "; more is better",
}
"""Which way is good, of measures that have one."""


@dataclass(frozen=True, slots=True)
class LearnerWords:
    """What one person learned of a measure, in words.

    Attributes:
        person: Code.
        change: By the curve, from the first repetition to the last, or why there is no curve.
        plateau: Where it leads to.
        pace: Repetitions in which 63 % of the way is gone.
        retention: Test minus the last of practice, or why nothing can be told.
        transfer: The same of transfer.
    """

    person: str
    change: str
    plateau: str
    pace: str
    retention: str
    transfer: str


def learner_in_words(key: str, one: Learning) -> LearnerWords:
    """Return what a person learned, with intervals."""
    tests = [_tested(key, each) for each in (one.retention, one.transfer)]
    curve = one.curve
    if curve is None:
        reason = "none to be told" if one.reason == NOTHING_TOLD else one.reason
        return LearnerWords(one.person, reason, "—", "—", *tests)
    if curve.change is None:
        change = f"{'falling' if curve.falling else 'rising'}; {FEW_DAYS}"
    else:
        change = with_interval(curve.change, decimals_of(key), sign="+")
    if curve.one_day:
        change += ", on that one day"
    plateau, pace = "not to be told", "—"
    if curve.plateau is not None and curve.pace is not None:
        plateau, pace = with_interval(curve.plateau, decimals_of(key)), with_interval(curve.pace, 0)
    return LearnerWords(one.person, change, plateau, pace, *tests)


def _tested(key: str, one: Tested | None) -> str:
    if one is None:
        return "—"
    if one.difference is None:
        return one.reason
    return with_interval(one.difference, decimals_of(key), sign="+")


def _kept(one: MeasureFindings) -> str:
    """Return what the tests say, as the end of a sentence."""
    told, silent = [], []
    for role in (RETENTION, TRANSFER):
        tested = [
            each for each in (getattr(person, role) for person in one.learning) if each is not None
        ]
        able = [each for each in tested if each.difference is not None]
        if able:
            differed = sum(each.differs for each in able)
            told.append(f"{role} in {differed} of {len(able)} tested")
        if len(able) < len(tested):
            reason = next(each.reason for each in tested if each.difference is None)
            count = people(len(tested) - len(able))
            silent.append(f"; of the {role} of {count} nothing can be told: {reason}")
    differs = ""
    if told:
        differs = (
            f"; {' and '.join(told)} differed from the last practice by more than chance and days"
        )
    return differs + "".join(silent)
