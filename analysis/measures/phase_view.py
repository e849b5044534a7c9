"""One phase of one repetition, as the measures look at it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.directions import FisherStatistics, fisher_of, mean_direction, unit_vectors
from analysis.measure_settings import MeasureSettings
from analysis.memory import cell_means
from analysis.row_uncertainty import force_u
from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.trial import PhaseName, RepetitionSpans
from analysis.uncertainty import ForceUncertainty
from analysis.vectors import all_finite

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


SOME = 100
"""So many samples, evenly picked, tell how uncertain the force is: it hardly changes."""


class Withheld(Exception):
    """A measure cannot be had; the text is the reason, one sentence fit for people."""


@dataclass(frozen=True)
class PhaseView:
    """A phase with its samples picked out.

    Attributes:
        series: The whole series.
        spans: The repetition.
        name: Which phase.
        target: What to measure against.
        settings: Parameters.
    """

    series: ResolvedSeries
    spans: RepetitionSpans
    name: PhaseName
    target: Target
    settings: MeasureSettings

    @cached_property
    def slice(self) -> slice:
        """The phase's range in the series.

        Raises:
            Withheld: There is nothing of it.
        """
        span = self.spans.phase(self.name)
        if not len(span):
            raise Withheld("the phase is not in the recording")
        return span.slice

    def other(self, name: PhaseName) -> PhaseView:
        """Return another phase of the same repetition."""
        return replace(self, name=name)

    def part(self, values: Floats) -> Floats:
        """Return the phase's rows of an array of the series."""
        return values[self.slice]

    @cached_property
    def known(self) -> Flags:
        """Where the force is a number."""
        return all_finite(self.part(self.series.force_n))

    @cached_property
    def held(self) -> Flags:
        """Where the hand is on and the force is a number."""
        return self.known & self.series.contact[self.slice]

    @cached_property
    def directed(self) -> Flags:
        """Where the push has a direction."""
        return self.series.directed[self.slice]

    def when_held(self, values: Floats) -> Floats:
        """Return an array's rows where the hand is on.

        Raises:
            Withheld: There are too few.
        """
        return self._enough(values, self.held, "the hand was hardly on in this phase")

    def when_directed(self, values: Floats) -> Floats:
        """Return an array's rows where the push has a direction.

        Raises:
            Withheld: There are too few.
        """
        if self._are_enough(self.directed):
            return self._picked(values, self.directed)
        if not self._are_enough(self.known):
            raise Withheld("the force, or which way the arm faced, is not known in this phase")
        if not self._are_enough(self.held):
            raise Withheld("the hand was hardly on in this phase, so there is no direction")
        raise Withheld("the push was too light, or the data too poor, for a direction")

    def when_known(self, values: Floats) -> Floats:
        """Return an array's rows where the force is a number.

        Raises:
            Withheld: There are too few.
        """
        return self._enough(values, self.known, "the force is not known in this phase")

    @cached_property
    def mean_push(self) -> Floats:
        """Mean direction of the push, unit vector, shape (3,).

        Raises:
            Withheld: The push has a direction too seldom.
        """
        return self.push_statistics.mean

    @cached_property
    def mean_target(self) -> Floats:
        """Mean direction of the target while the push has one, unit vector, shape (3,).

        Raises:
            Withheld: The push has a direction too seldom.
        """
        if self.series.target_direction is None:
            return self.target.direction
        return mean_direction(self.when_directed(self.series.target_direction))

    @cached_property
    def arc_deg(self) -> Floats:
        """Elevation where the push has a direction, shape (m,), if that is over enough of the arc.

        Raises:
            Withheld: It has one too seldom, or over too little.
        """
        elevation_deg = np.rad2deg(self.when_directed(self.series.elevation_rad))
        if not np.isfinite(elevation_deg).all():
            raise Withheld("the elevation is not known wherever the push is")
        if np.ptp(elevation_deg) < self.settings.drift_range_deg:
            wanted = f"{self.settings.drift_range_deg:g}°"
            raise Withheld(f"the push has a direction over less than {wanted} of the arc")
        return elevation_deg

    @cached_property
    def directions(self) -> Floats:
        """The push where it has a direction, unit vectors, shape (m, 3).

        Raises:
            Withheld: It has one too seldom.
        """
        return unit_vectors(self.when_directed(self.series.force_n))

    @cached_property
    def direction_cells(self) -> Floats:
        """`cell_means` of `directions`, shape (CELLS, 3): what is linear in them needs no more."""
        return cell_means(self.directions)

    @cached_property
    def push_statistics(self) -> FisherStatistics:
        """Fisher's statistics of `directions`; raises `Withheld` likewise."""
        return fisher_of(self.directions)

    @cached_property
    def force_uncertainty(self) -> ForceUncertainty:
        """How uncertain the force is in `SOME` samples with the hand on.

        Raises:
            Withheld: It is not known, or the hand was hardly on.
        """
        rows = np.flatnonzero(self.held) + self.slice.start
        self.when_held(self.series.magnitude_n)  # or withheld
        found = force_u(self.series, rows[:: -(-len(rows) // SOME)], self.target)
        if found is None:
            raise Withheld("what the force is uncertain by is not known")
        return found

    def _enough(self, values: Floats, use: Flags, reason: str) -> Floats:
        if not self._are_enough(use):
            raise Withheld(reason)
        return self._picked(values, use)

    def _are_enough(self, use: Flags) -> bool:
        return bool(np.count_nonzero(use) >= least_samples(self.series, self.settings))

    def _picked(self, values: Floats, use: Flags) -> Floats:
        """Return the phase's rows where *use* is true; a view if it always is, as mostly."""
        here = self.part(values)
        return here if np.count_nonzero(use) == len(use) else here[use]


def least_samples(series: ResolvedSeries, settings: MeasureSettings) -> float:
    """Return how many samples a measure needs; a spread about a line needs three anyway."""
    return max(3.0, settings.shortest_s * series.fs_hz)


def percent(flags: Flags) -> float:
    """Return the share of true, percent."""
    return float(flags.mean() * 100.0)
