"""Recordings of experts to a reference, or the reason why they make none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version

import numpy as np
from numpy.typing import NDArray

from acquisition.software import software
from analysis.errors import NotComparable
from analysis.reference.arc_curves import QUANTITIES, WAYS, Quantity
from analysis.reference.bands import Scope, band_of
from analysis.reference.doubts import difference_from_others, furthest, standing_apart
from analysis.reference.evidence import COMPARED, RecordingEvidence
from analysis.reference.model import (
    Apart,
    Expert,
    LeftOut,
    QuantityBand,
    Reference,
    ReferenceSettings,
    Summary,
    UsedRecording,
    WayBand,
    as_line,
)
from analysis.target import Target

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
LIBRARIES = ("numpy", "scipy", "vqf")
"""Those whose numbers a reference rests on."""


def build_reference(
    recordings: Iterable[RecordingEvidence], settings: ReferenceSettings | None = None
) -> Reference:
    """Return the reference that recordings of experts make.

    The same recordings in any order, with the same settings, give the same reference. Recordings
    of one expert are pooled: what differs from session to session counts as spread within.

    Args:
        recordings: Each with the code of its expert.
        settings: Parameters; None takes the defaults.

    Raises:
        NotComparable: They do not fit together, or are too few; the text says which and how many
            are needed.
    """
    settings = settings or ReferenceSettings()
    given = sorted(recordings, key=lambda one: (one.person, one.facts["started_utc"], one.name))
    _check_fit(given)
    people = [one.person for one in given for _ in one.curves]
    values = _stacked(given)
    arc = _arc(values, settings)
    usable = _usable(values, arc)
    by_expert = {
        code: [row for row, who in enumerate(people) if who == code and usable[row]]
        for code in dict.fromkeys(one.person for one in given)
    }
    _check_numbers(by_expert, settings)
    scope = Scope.ANY_EXPERT if len(by_expert) >= settings.least_experts else Scope.THESE_EXPERTS
    return Reference(
        software=software(),
        libraries={name: version(name) for name in LIBRARIES},
        scope=scope,
        meaning=meaning_of(scope, len(by_expert), settings),
        settings=settings,
        analysis=dict(given[0].settings),
        target=given[0].target,
        recordings=tuple(_recordings(given, usable)),
        elevation_deg=tuple(given[0].curves[0].elevation_deg.tolist()),
        bands={
            quantity.key: _band(
                {code: values[rows][:, index, arc] for code, rows in by_expert.items()},
                _Making(scope, settings, given[0].target, arc),
                quantity,
            )
            for index, quantity in enumerate(QUANTITIES)
        },
        experts=tuple(_experts(given, values, arc, by_expert)),
    )


@dataclass(frozen=True, slots=True)
class _Making:
    """What the bands of all quantities have in common; *arc* has shape (ways × bins,)."""

    scope: Scope
    settings: ReferenceSettings
    target: Target
    arc: Flags


def meaning_of(scope: Scope, experts: int, settings: ReferenceSettings) -> str:
    """Return in a sentence what the band says."""
    share = f"{settings.level * 100:g} of 100"
    if scope is Scope.ANY_EXPERT:
        return (
            f"Of further repetitions by experts like these {experts}, {share} stay inside the "
            "band of a quantity over the whole arc, on the way up and on the way down."
        )
    who = "this one expert" if experts == 1 else f"these {experts} experts"
    return (
        f"Of further repetitions by {who}, {share} stay inside the band of a quantity over the "
        "whole arc. It says nothing about other experts: for that at least "
        f"{settings.least_experts} are needed."
    )


def _check_fit(given: Sequence[RecordingEvidence]) -> None:
    if not given:
        raise NotComparable("no recording could be used")
    first = given[0]
    seen: dict[str, str] = {}
    for one in given:
        if not one.person:
            raise NotComparable(f"{one.name}: has no code of a person, so nobody's spread is known")
        if one.target != first.target:
            raise NotComparable(
                f"{one.name} and {first.name} have different targets; name one with --target"
            )
        if one.settings != first.settings:
            raise NotComparable(f"{one.name} and {first.name} were analysed in different ways")
        if not one.curves:
            raise NotComparable(f"{one.name}: has no finished repetition; leave it out")
        if one.facts["uuid"] in seen:
            raise NotComparable(
                f"{seen[one.facts['uuid']]} and {one.name} are the same recording; name it once"
            )
        seen[one.facts["uuid"]] = one.name


def _stacked(given: Sequence[RecordingEvidence]) -> Floats:
    """Return all curves, shape (repetitions, quantities, ways × bins)."""
    values = np.stack([curves.values for one in given for curves in one.curves])
    return values.reshape(*values.shape[:2], -1)


def _arc(values: Floats, settings: ReferenceSettings) -> Flags:
    """Return which points of the two ways the band has, shape (ways × bins,)."""
    known = np.isfinite(values).all(axis=1)
    arc = np.asarray(known.mean(axis=0) >= settings.least_share_percent / 100.0)
    if not arc.any():
        raise NotComparable("the repetitions have no part of the arc in common")
    return arc


def _usable(values: Floats, arc: Flags) -> Flags:
    """Return which repetitions have the whole arc, shape (repetitions,)."""
    return np.asarray(np.isfinite(values[:, :, arc]).all(axis=(1, 2)))


def _check_numbers(by_expert: Mapping[str, Sequence[int]], settings: ReferenceSettings) -> None:
    least = settings.least_repetitions
    few = {code: len(rows) for code, rows in by_expert.items() if len(rows) < least}
    if few:
        told = ", ".join(f"{code} has {count}" for code, count in few.items())
        raise NotComparable(
            f"too few usable repetitions: {told}; at least {least} of each expert are needed: "
            "record more, or leave the expert out"
        )


def _recordings(given: Sequence[RecordingEvidence], usable: Flags) -> Iterable[UsedRecording]:
    row = 0
    for one in given:
        here = usable[row : row + len(one.curves)]
        row += len(one.curves)
        numbers = [curves.number for curves in one.curves]
        left_out = [(number, "unfinished") for number in one.unfinished]
        left_out += [
            (number, "no direction on a part of the arc that the others have")
            for number, good in zip(numbers, here, strict=True)
            if not good
        ]
        yield UsedRecording(
            file=one.name,
            uuid=str(one.facts["uuid"]),
            sha256=one.facts["sha256"],
            person=one.person,
            started_utc=str(one.facts["started_utc"]),
            side=str(one.facts["side"]),
            used=tuple(number for number, good in zip(numbers, here, strict=True) if good),
            left_out=tuple(LeftOut(repetition=n, reason=why) for n, why in sorted(left_out)),
        )


def _band(experts: Mapping[str, Floats], making: _Making, quantity: Quantity) -> QuantityBand:
    """Return the band of one quantity from each expert's curves, shape (repetitions, points)."""
    settings = making.settings
    band = band_of(
        list(experts.values()),
        making.scope,
        level=settings.level,
        resamples=settings.resamples,
        # Anew for each quantity, so that one more quantity leaves the others as they are.
        rng=np.random.default_rng(settings.seed),
    )
    apart, furthest_one = _apart(experts, settings)
    spread = band.spread
    rows = (spread.mean, spread.sd_within, spread.sd_between, band.low, band.high)
    every = np.full((len(rows), len(making.arc)), np.nan)
    every[:, making.arc] = rows
    lines = [_lines(row) for row in every]
    return QuantityBand(
        unit=quantity.unit,
        factor=round(band.factor, 6),
        half_width=round(float(np.mean(band.high - band.low)) / 2.0, 6),
        limit=round(quantity.limit(making.target, float(spread.mean.mean())), 6),
        apart=apart,
        furthest=furthest_one,
        ways={
            way: WayBand(**dict(zip(WayBand.__struct_fields__, of_way, strict=True)))
            for way, of_way in zip(WAYS, zip(*lines, strict=True), strict=True)
        },
    )


def _apart(
    experts: Mapping[str, Floats], settings: ReferenceSettings
) -> tuple[tuple[Apart, ...], Apart | None]:
    """Return who stands apart, and who is furthest from the others if there are any.

    The chance of naming anybody as standing apart is shared by the quantities.
    """
    codes, means = list(experts), np.stack([curves.mean(axis=0) for curves in experts.values()])
    found = standing_apart(means, settings.apart_chance / len(QUANTITIES))

    def told(who: int) -> Apart:
        difference = difference_from_others(means, who, found)
        return Apart(code=codes[who], difference=round(difference, 6))

    return tuple(map(told, found)), told(furthest(means)) if len(means) > 1 else None


def _experts(
    given: Sequence[RecordingEvidence],
    values: Floats,
    arc: Flags,
    by_expert: Mapping[str, Sequence[int]],
) -> Iterable[Expert]:
    measures = [one for recording in given for one in recording.measures]
    for code, rows in by_expert.items():
        mean = np.where(arc, values[list(rows)].mean(axis=0), np.nan)
        yield Expert(
            code=code,
            repetitions=len(rows),
            mean={
                quantity.key: dict(zip(WAYS, _lines(mean[index]), strict=True))
                for index, quantity in enumerate(QUANTITIES)
            },
            measures=summaries([measures[row] for row in rows]),
        )


def _lines(curve: Floats) -> list[tuple[float | None, ...]]:
    """Return a curve over both ways, shape (ways × bins,), as a line for each way."""
    return [as_line(part) for part in curve.reshape(len(WAYS), -1)]


def summaries(repetitions: Sequence[Mapping[str, float | None]]) -> dict[str, Summary]:
    """Return mean and SD of each compared measure that any of some repetitions has."""
    found: dict[str, Summary] = {}
    for key, _ in COMPARED:
        values = [value for one in repetitions if (value := one[key]) is not None]
        if values:
            sd = float(np.std(values, ddof=1)) if len(values) > 1 else None
            found[key] = Summary(
                mean=round(float(np.mean(values)), 6),
                sd=None if sd is None else round(sd, 6),
                count=len(values),
            )
    return found
