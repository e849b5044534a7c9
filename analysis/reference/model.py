"""A reference as it stands in its file: what the experts did, and where all of it came from."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import msgspec
import numpy as np
from msgspec import Meta
from numpy.typing import NDArray

from analysis.reference.arc_curves import QUANTITIES, WAYS
from analysis.reference.bands import Scope
from analysis.target import Target
from analysis.trial import PhaseName

Floats = NDArray[np.float64]
Line = tuple[float | None, ...]
"""One value for each bin; None where nothing is known."""
Curves = dict[str, dict[PhaseName, Line]]
"""By quantity and way."""

FORMAT, VERSION = "perpend reference", 2


class _Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A table of the file: a misspelt key is an error, not a default."""


class ReferenceSettings(_Table, frozen=True, kw_only=True):
    """How a reference is made. "Ours" marks a choice that no source gives.

    Attributes:
        level: Chance that a whole further repetition stays in the band of one quantity.
        resamples: How many worlds are drawn for a band.
        seed: Of the drawing.
        least_repetitions: An expert with fewer does not show how far repetitions differ. Ours:
            ten, over two occasions, are better.
        least_experts: With fewer the band is for these experts only. Ours: below four the
            factor that would hold another expert is too wide to teach anything.
        least_share_percent: The band covers the part of the arc that this share of all
            repetitions has; a repetition that lacks a part of it is left out. Ours.
        apart_chance: That in a large group of experts alike anybody is named as standing apart
            in any quantity.
    """

    level: Annotated[float, Meta(gt=0.5, lt=1)] = 0.95
    resamples: Annotated[int, Meta(ge=200, le=100_000)] = 2000
    seed: Annotated[int, Meta(ge=0)] = 0
    least_repetitions: Annotated[int, Meta(ge=3)] = 5
    least_experts: Annotated[int, Meta(ge=3)] = 4
    least_share_percent: Annotated[float, Meta(ge=50, le=100)] = 90.0
    apart_chance: Annotated[float, Meta(gt=0, lt=1)] = 0.05


class LeftOut(_Table, frozen=True, kw_only=True):
    """A repetition that was not used, and why."""

    repetition: int
    reason: str


class UsedRecording(_Table, frozen=True, kw_only=True):
    """A recording the reference rests on.

    Attributes:
        file: Its name.
        uuid: Its identifier.
        sha256: Of its content, None if it was in no file.
        person: The expert.
        started_utc: When.
        side: Of the rig.
        used: Numbers of the repetitions used.
        left_out: Of those not.
    """

    file: str
    uuid: str
    sha256: str | None
    person: str
    started_utc: str
    side: str
    used: tuple[int, ...]
    left_out: tuple[LeftOut, ...]


class Summary(_Table, frozen=True, kw_only=True):
    """A measure over the repetitions of one person; *sd* is None of a single one."""

    mean: float
    sd: float | None
    count: int


class Expert(_Table, frozen=True, kw_only=True):
    """One expert.

    Attributes:
        code: Of the person.
        repetitions: How many were used.
        mean: Mean curves.
        measures: By key.
    """

    code: str
    repetitions: int
    mean: Curves
    measures: dict[str, Summary]


class WayBand(_Table, frozen=True, kw_only=True):
    """The band on one way; a value for each bin, None outside of the arc of the band.

    Attributes:
        mean: Of the experts' means.
        sd_within: Between repetitions of one expert, over all sessions.
        sd_between: Between experts; None throughout for one expert.
        low: Lower edge.
        high: Upper edge.
    """

    mean: Line
    sd_within: Line
    sd_between: Line
    low: Line
    high: Line


class Apart(_Table, frozen=True, kw_only=True):
    """An expert beside the others.

    Attributes:
        code: Of the person.
        difference: From the mean of the others who do not stand apart, on average over the arc.
    """

    code: str
    difference: float


class QuantityBand(_Table, frozen=True, kw_only=True):
    """The band of one quantity: *level* holds for both ways together.

    Attributes:
        unit: Of its values.
        factor: How many SD wide to either side.
        half_width: From the mean to an edge, on average over the arc.
        limit: If it is greater, the band is too wide to judge by.
        apart: Experts who stand apart by more than chance, the furthest first.
        furthest: The expert furthest from the others; None of one expert.
        ways: By way.
    """

    unit: str
    factor: float
    half_width: float
    limit: float
    apart: tuple[Apart, ...]
    furthest: Apart | None
    ways: dict[PhaseName, WayBand]

    @property
    def too_wide(self) -> bool:
        """Whether what lies in it tells nothing."""
        return self.half_width > self.limit


class Reference(_Table, frozen=True, kw_only=True):
    """What the experts did.

    Attributes:
        format: What the file is.
        version: Of its layout.
        software: What made it.
        libraries: Whose numbers it rests on, with their versions.
        scope: Whose further repetition the band is for.
        meaning: The same in a sentence.
        settings: How it was made.
        analysis: Parameters of the analysis of the recordings.
        target: What they were measured against.
        recordings: Where it came from.
        elevation_deg: Middles of the bins.
        bands: By quantity.
        experts: By code, in order.
    """

    format: Literal["perpend reference"] = "perpend reference"
    version: Literal[2] = 2
    software: str
    libraries: dict[str, str]
    scope: Scope
    meaning: str
    settings: ReferenceSettings
    analysis: dict[str, Any]
    target: Target
    recordings: tuple[UsedRecording, ...]
    elevation_deg: tuple[float, ...]
    bands: dict[str, QuantityBand]
    experts: tuple[Expert, ...]

    def __post_init__(self) -> None:
        keys = {quantity.key for quantity in QUANTITIES}
        if set(self.bands) != keys:
            raise ValueError(f"bands must be of {', '.join(sorted(keys))}")
        if not self.experts or not self.recordings:
            raise ValueError("experts and recordings must not be empty")
        if list(self.elevation_deg) != sorted(set(self.elevation_deg)):
            raise ValueError("elevation_deg must rise")
        for key, band in self.bands.items():
            _check_ways(f"bands.{key}", band.ways)
            for way, lines in band.ways.items():
                for name in WayBand.__struct_fields__:
                    self._check_line(f"bands.{key}.{way.value}.{name}", getattr(lines, name))
        for expert in self.experts:
            for key, ways in expert.mean.items():
                _check_ways(f"experts.{expert.code}.mean.{key}", ways)
                for way, line in ways.items():
                    self._check_line(f"experts.{expert.code}.mean.{key}.{way.value}", line)

    def _check_line(self, name: str, line: Line) -> None:
        if len(line) != len(self.elevation_deg):
            raise ValueError(f"{name} must have a value for each of elevation_deg")


def _check_ways(name: str, ways: dict[PhaseName, Any]) -> None:
    if set(ways) != set(WAYS):
        raise ValueError(f"{name} must have raise and lower")


def as_line(values: Floats) -> Line:
    """Return values (bins,) as they stand in the file: a millionth is finer than any of them."""
    return tuple(round(float(one), 6) + 0.0 if np.isfinite(one) else None for one in values)


def as_array(line: Line) -> Floats:
    """Return a line of the file as values (bins,), NaN where nothing is known."""
    return np.array([np.nan if one is None else one for one in line], dtype=np.float64)
