"""Who counts in the statistics of a study and who does not, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.study.sample import Sample
from ui.numbers import count_of
from ui.study_words import kind_of


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
    if any(one.group != one.kind for one in sample.done):
        yield f"Variability and learning are those of all {kind} together, whatever their group."
    if len(sample.sides) > 1:
        sides = ", ".join(f"{number} {side}" for side, number in sample.sides.items())
        yield (
            f"Practice was on both sides ({count_of(sum(sample.sides.values()), 'repetition')}: "
            f"{sides}) and is taken together: a difference of sides counts as variability."
        )
    tables = list(_in_tables_alone(sample))
    if tables:
        yield f"In the tables and not in the statistics: {'; '.join(tables)}."
    if sample.absent:
        yield f"No repetition that counts: {', '.join(sample.absent)}."
    if sample.ungrouped:
        yield f"No group was given for {', '.join(sample.ungrouped)}."
    if sample.unknown:
        yield f"A group was given, but there is no recording, for {', '.join(sample.unknown)}."


def _in_tables_alone(sample: Sample) -> Iterator[str]:
    if sample.other_targets:
        yield (
            f"{count_of(sample.other_targets, 'repetition')} measured against another target "
            "(--target measures all against one)"
        )
    if sample.nameless_recordings:
        yield (
            f"{count_of(sample.nameless_recordings, 'recording')} without a person's code "
            f"({count_of(sample.nameless, 'repetition')}): nobody knows whose"
        )
    if sample.unfinished:
        yield count_of(sample.unfinished, "unfinished repetition")
    if sample.set_aside:
        yield f"{count_of(sample.set_aside, 'repetition')} set aside"
