"""What changed from before to after, in plain sentences and cells of tables."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.comparison.change import Basis, Change, Changes
from ui.measure_words import (
    NAMED,
    compared_decimals,
    interval_in_words,
    measure_label,
    names_in_words,
    p_alone,
    p_in_words,
    sds_in_words,
    with_unit,
)
from ui.numbers import count_of, shown

MANY_SESSIONS = 8
"""With fewer, before and after together, only large changes stand out. Ours."""


def change_values(one: Change) -> tuple[str, str]:
    """Return what a measure was before and after, as exactly as their difference is told."""
    decimals = compared_decimals(one.key, one.found.mean if one.found else None)
    return shown(one.before, decimals), shown(one.after, decimals)


def changed(changes: Changes | None) -> Iterator[str]:
    """Yield who is left out, of whom the rest holds, what changed, and what was not compared."""
    if changes is None:
        return
    yield from _not_on_both_sides(changes)
    if "" in changes.people:
        yield "Before and after have recordings without a code; they are taken to be of one person."
    if changes.basis is Basis.OCCASIONS:
        yield _two_occasions(changes)
    if changes.basis is Basis.SESSIONS:
        before, after = changes.counts
        few = "; so few tell large changes only" if before + after < MANY_SESSIONS else ""
        yield (
            f"Before and after are held beside each other by sessions: "
            f"{count_of(before, 'session')} before, {after} after{few}."
        )
    told = [one for one in changes.measures if one.told]
    for change in told:
        yield _change(change, changes)
    if not told and any(one.found for one in changes.measures):
        yield {
            Basis.PEOPLE: "Of the measures none changed on average, beyond chance and by an "
            "amount worth telling.",
            Basis.SESSIONS: "Of the measures none changed beyond what sessions differ by, and by "
            "an amount worth telling.",
        }.get(
            changes.basis or Basis.OCCASIONS,
            "On these two occasions no measure differed beyond the scatter of repetitions and by "
            "an amount worth telling.",
        )
    yield from _not_compared(changes)


def _not_on_both_sides(changes: Changes) -> Iterator[str]:
    if changes.basis is None:
        return
    for people, side in ((changes.only_before, "before"), (changes.only_after, "after")):
        if people:
            verb = "was" if len(people) == 1 else "were"
            who = names_in_words(people)
            yield f"Before and after leave out {who}, who {verb} recorded {side} only."


def _two_occasions(changes: Changes) -> str:
    who = changes.people[0] or "the person"
    asked = "Record several sessions before and several after to tell."
    if changes.one_sitting:
        return (
            f"Before and after were recorded within one session: what follows holds for these two "
            f"occasions, and nothing here says that {who} has changed. {asked}"
        )
    return (
        f"There is one session before and one after: by how much {who} differs from one day to "
        f"the next is not known, so nothing here says that {who} has changed. {asked}"
    )


def _change(change: Change, changes: Changes) -> str:
    assert change.found is not None
    before, after = (with_unit(change.key, value) for value in change_values(change))
    words = with_unit(change.key, interval_in_words(change.key, change.found.mean))
    what = f"{measure_label(change.key)}: {before} before, {after} after"
    if changes.basis is Basis.OCCASIONS:
        return f"On these two occasions, {what}; a difference of {words}, by repetitions alone."
    average = " on average" if changes.basis is Basis.PEOPLE else ""
    chance = f"{p_in_words(change.p)} with all measures together"
    return f"{what[0].upper()}{what[1:]}; changed{average} by {words}, {chance}."


def _not_compared(changes: Changes) -> Iterator[str]:
    reasons: dict[str, list[str]] = {}
    for one in changes.measures:
        if one.reason:
            reasons.setdefault(one.reason, []).append(NAMED[one.key][0])
    for reason, labels in reasons.items():
        whole = len(labels) == len(changes.measures)
        of = "" if whole else f" ({', '.join(labels)})"
        yield f"Before and after not compared{of}: {reason}."


def change_in_words(one: Change) -> tuple[str, str, str]:
    """Return a difference with its interval, in SDs, and its p; the reason if there is none."""
    if one.found is None:
        return one.reason, "", ""
    told = interval_in_words(one.key, one.found.mean)
    return told, sds_in_words(one.found.standardised), p_alone(one.p)


def changes_note(changes: Changes) -> str:
    """Return what the table of changes is about."""
    least = ", ".join(dict.fromkeys(_least(one) for one in changes.measures))
    of = {
        Basis.PEOPLE: f"by {count_of(changes.counts[0], 'person', 'people')}, each with a mean "
        "before and after",
        Basis.SESSIONS: f"by sessions, {changes.counts[0]} before and {changes.counts[1]} after, "
        "so that they hold what differs from one to the next",
        Basis.OCCASIONS: "by the repetitions of two occasions: they hold for these occasions only "
        "and say nothing about other days",
        None: "",
    }[changes.basis]
    return (
        f"Intervals are {of}. p is for all measures together (Holm). Told in words is what is "
        f"below 0.05 and at least {least}."
    )


def _least(one: Change) -> str:
    unit = NAMED[one.key][1]
    return f"{shown(one.least, 1)}{'' if unit.startswith('°') else ' '}{unit}"
