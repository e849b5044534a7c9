"""What a study found, in plain sentences and rows of text, for terminal and report alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.comparison.effect_sizes import Interval
from analysis.study.days import FEW_DAYS
from analysis.study.findings import MeasureFindings, wanted
from analysis.study.groups import Contrast
from analysis.study.laboratories import FACTOR
from analysis.study.learning import LAST, Learning, Tested
from analysis.study.sample import Done, Sample
from analysis.study.variance import Component, Components
from analysis.tidy.practice import BASELINE, PRACTICE, RETENTION, TRANSFER
from ui.compared import NAMED, measure_name
from ui.numbers import count_of, shown

CHIEF = (
    "superior_angle_mean_deg", "off_axis_mean_deg", "force_mean_N", "force_cv_percent",
    "hold_coverage_percent",
)  # fmt: skip
"""The measures of the class overview."""
TOLD = 0.05
"""A corrected chance below tells a difference."""
PEOPLE = {"E": "experts", "T": "trainees"}
"""What codes begin with; any other letter stands for itself."""


@dataclass(frozen=True, slots=True)
class Overview:
    """A line of the class overview.

    Attributes:
        person: Code.
        sessions: How many.
        practised: Repetitions of practice.
        cells: For each of `CHIEF` the first and the last of practice.
    """

    person: str
    sessions: int
    practised: int
    cells: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ContrastWords:
    """A comparison in words.

    Attributes:
        who: Is compared.
        difference: With its interval, or why there is none.
        size: Standardised, with its interval.
        chances: If there is no difference: of this comparison, and corrected for all.
        told: Whether the corrected one tells a difference.
    """

    who: str
    difference: str
    size: str
    chances: str
    told: str


def overview(done: Sequence[Done]) -> list[Overview]:
    """Return a line for each person, by code."""
    people: dict[str, list[Done]] = {}
    for one in done:
        people.setdefault(one.person, []).append(one)
    return [_line(person, own) for person, own in sorted(people.items())]


def notices(sample: Sample) -> list[str]:
    """Return what a reader must know of who counts and who does not."""
    return list(_notices(sample))


def _notices(sample: Sample) -> Iterator[str]:
    kind = kind_of(sample.kind)
    others = [one for one in sample.people if not one.startswith(sample.kind)]
    if others:
        yield (
            f"Variability, reliability and learning are those of the {kind}; in the table of the "
            f"class and among the groups alone: {', '.join(others)}."
        )
    if len(sample.sides) > 1:
        sides = ", ".join(f"{number} {side}" for side, number in sample.sides.items())
        yield (
            f"Practice was on both sides ({count_of(sum(sample.sides.values()), 'repetition')}: "
            f"{sides}) and is taken together: a difference of sides counts as variability."
        )
    if sample.other_targets:
        yield (
            f"{count_of(sample.other_targets, 'repetition')} measured against another target "
            "count in the tables alone; --target measures all against one."
        )
    if sample.nameless_recordings:
        yield (
            f"{count_of(sample.nameless_recordings, 'recording')} without a person's code "
            f"({count_of(sample.nameless, 'repetition')}) count in the tables alone: nobody knows "
            "whose they are."
        )
    if sample.unfinished or sample.set_aside:
        yield (
            f"{count_of(sample.unfinished, 'unfinished repetition')} and {sample.set_aside} set "
            "aside count in the tables alone."
        )
    if sample.absent:
        yield f"No repetition that counts: {', '.join(sample.absent)}."
    if sample.ungrouped:
        yield f"No group was given for {', '.join(sample.ungrouped)}."
    if sample.unknown:
        yield f"A group was given, but there is no recording, for {', '.join(sample.unknown)}."


def sentences(found: Sequence[MeasureFindings]) -> list[str]:
    """Return what the variability and the learning mean, the chief measures first."""
    chief = [one for one in found if one.key in CHIEF]
    return [*(line for one in chief for line in _variability(one)), *_learned(chief)]


def component_in_words(key: str, part: Component) -> str:
    """Return the SD of a part; a part below zero is said to be so."""
    value, low, high = (_sd(key, one) for one in (part.variance, part.low, part.high))
    if part.negative:
        return f"0 (estimate negative; up to {high})"
    return f"{value} ({low} to {high})"


def mixed_in_words(key: str, part: Component) -> str:
    """Return the SD of a part by the mixed model."""
    return "—" if part.reml is None else _sd(key, part.reml)


def _sd(key: str, variance: float) -> str:
    return shown(float(np.sqrt(variance)), _decimals(key))


def variance_in_words(key: str, variance: float) -> str:
    """Return the SD of a component; one below zero is said to be so."""
    if variance < 0.0:
        return "0 (estimate negative)"
    return amount(key, float(np.sqrt(variance)))


def contrast_in_words(key: str, one: Contrast) -> ContrastWords:
    """Return who is compared, and by how much they differ."""
    which = f"{people(one.people[0])}, each with both"
    if not one.within:
        which = f"{one.people[0]} and {people(one.people[1])}; {one.at}"
    who = f"{kind_of(one.second)} minus {kind_of(one.first)} ({which})"
    if one.difference is None or one.p is None or one.p_of_all is None:
        return ContrastWords(who, one.reason, "—", "—", "—")
    size = one.difference.standardised
    return ContrastWords(
        who,
        _signed(one.difference.mean, _decimals(key)),
        _signed(size, 1),
        f"{chance(one.p)}, {chance(one.p_of_all)}",
        "yes" if one.p_of_all < TOLD else "no",
    )


def chance(p: float) -> str:
    """Return a chance in words."""
    return "below 0.001" if p < 0.001 else shown(p, 3)


def _plain(one: Interval, decimals: int) -> str:
    value, low, high = (shown(each, decimals) for each in (one.value, one.low, one.high))
    return f"{value} ({low} to {high})"


def _signed(one: Interval, decimals: int) -> str:
    value, low, high = (shown(each, decimals, sign="+") for each in (one.value, one.low, one.high))
    return f"{value} ({low} to {high})"


def plan_in_words(one: MeasureFindings) -> tuple[str, str]:
    """Return how many repetitions, and how many sessions of ten, a precision takes."""
    if one.plan is None:
        return "—", "—"
    many = "over 1000"
    sessions = many if one.plan.sessions is None else str(one.plan.sessions)
    if one.variability is not None and one.variability.session is None:
        sessions = "not known: nobody had two sessions"
    return (many if one.plan.repetitions is None else str(one.plan.repetitions)), sessions


def amount(key: str, value: float) -> str:
    """Return a value of a measure with its unit."""
    _, unit, _ = NAMED[key]
    space = "" if unit.startswith("°") else " "
    return f"{shown(value, _decimals(key))}{space}{unit}"


def _decimals(key: str) -> int:
    return max(1, NAMED[key][2])


def _sentence(text: str) -> str:
    """Return a text that begins a sentence; abbreviations in it stay."""
    return text[:1].upper() + text[1:]


def kind_of(letter: str) -> str:
    """Return what people are whose codes begin so; a group that was given keeps its name."""
    return PEOPLE.get(letter, letter)


def _line(person: str, own: Sequence[Done]) -> Overview:
    practice = [one for one in own if one.role == PRACTICE]
    first = [one for one in own if one.role == BASELINE] or practice[:LAST]
    return Overview(
        person=person,
        sessions=len({one.session for one in own}),
        practised=len(practice),
        cells=tuple((_mean(key, first), _mean(key, practice[-LAST:])) for key in CHIEF),
    )


def _mean(key: str, done: Sequence[Done]) -> str:
    values = [one.values[key] for one in done if np.isfinite(one.values[key])]
    return shown(float(np.mean(values)), NAMED[key][2]) if values else "—"


def _variability(one: MeasureFindings) -> Iterator[str]:
    found = one.variability
    if found is None:
        return
    name = _sentence(NAMED[one.key][0])
    if not found.varies:
        yield f"{name}: no variability, every repetition has {amount(one.key, found.mean)}."
        return
    largest = max(found.parts, key=lambda part: part.variance)
    share = found.share_percent(largest)
    lies = LIES[largest.name]
    if found.session is None and largest is found.person:
        lies = ONE_DAY
    yield f"{name}: {share:.0f} % of the variability lies {lies}. {_means(one.key, found)}"


ONE_DAY = (
    "between people or between their days, which cannot be told apart: everybody came on one day"
)
LIES = {
    "person": "between people: teach the person",
    "session": "between the sessions of a person (learning is part of it): measure on several days",
    "repetition": "between repetitions of a session: more repetitions make a mean surer",
}


def _means(key: str, found: Components) -> str:
    days = ""
    if found.session is not None:
        days = f"on different days by less than {amount(key, FACTOR * found.intermediate_sd)}; "
    return (
        "Two repetitions of one person on one day differ by less than "
        f"{amount(key, FACTOR * found.repeatability_sd)} in 19 of 20 cases; {days}"
        f"of two people by less than {amount(key, FACTOR * found.reproducibility_sd)}."
    )


def _learned(found: Sequence[MeasureFindings]) -> Iterator[str]:
    for one in found:
        seen = [each.curve for each in one.learning if each.curve is not None]
        if not seen and not any(each.retention or each.transfer for each in one.learning):
            continue
        falling = sum(each.falling for each in seen)
        ways = [f"{falling} falling"] * (falling > 0)
        ways += [f"{len(seen) - falling} rising"] * (len(seen) > falling)
        which = f" ({', '.join(ways)}{GOOD.get(one.key, '')})" if ways else ""
        told = "".join(_kept(one, role) for role in (RETENTION, TRANSFER))
        yield (
            f"{_sentence(NAMED[one.key][0])}: a learning curve is to be seen in {len(seen)} "
            f"of {people(len(one.learning))}{which}{told}."
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
        return LearnerWords(one.person, one.reason, "—", "—", *tests)
    if curve.change is None:
        change = f"{'falling' if curve.falling else 'rising'}; {FEW_DAYS}"
    else:
        change = _signed(curve.change, _decimals(key))
    if curve.one_day:
        change += ", on that one day"
    plateau, pace = "not reached in practice", "—"
    if curve.plateau is not None and curve.pace is not None:
        plateau, pace = _plain(curve.plateau, _decimals(key)), _plain(curve.pace, 0)
    return LearnerWords(one.person, change, plateau, pace, *tests)


def _tested(key: str, one: Tested | None) -> str:
    if one is None:
        return "—"
    if one.difference is None:
        return one.reason
    return _signed(one.difference, _decimals(key))


def _kept(one: MeasureFindings, role: str) -> str:
    """Return how many were tested for something and how many differed, as part of a sentence."""
    all_tested = [each.retention if role == RETENTION else each.transfer for each in one.learning]
    tested = [each for each in all_tested if each is not None]
    if not tested:
        return ""
    told = [each for each in tested if each.difference is not None]
    if not told:
        return f"; {len(tested)} tested for {role}, of whom nothing can be told: {tested[0].reason}"
    differed = sum(each.differs for each in told)
    of = f"{len(told)} tested for {role}"
    if len(told) < len(tested):
        of = f"{len(told)} of {len(tested)} tested for {role} of whom it can be told"
    return (
        f"; of {of}, {differed} differed from their last practice by more than chance and days do"
    )


def people(count: int) -> str:
    """Return so many people in words."""
    return count_of(count, "person", "people")


def title_of(key: str) -> str:
    """Return the name of a measure with its unit and phase."""
    return measure_name(key)


def wanted_in_words(key: str) -> str:
    """Return the precision that is planned for."""
    return f"± {amount(key, wanted(key))}"
