"""The figures of a trial. A new kind is one file and one line in `FIGURES`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from analysis.trial import Trial
from ui.report.figures import arc, course, profile, target_maps


@dataclass(frozen=True, slots=True)
class FigureKind:
    """A kind of figure.

    Attributes:
        key: Stable name; the style sheet gives each kind its width.
        heading: Of its section.
        lead: From a trial to how to read it, in plain words.
        draw: From a trial to SVG elements; none if there is nothing to show.
    """

    key: str
    heading: str
    lead: Callable[[Trial], str]
    draw: Callable[[Trial], list[str]]


FIGURES: tuple[FigureKind, ...] = (
    FigureKind("map", "Where the push went", target_maps.lead, target_maps.draw),
    FigureKind("arc", "Along the arc", arc.lead, arc.draw),
    FigureKind("profile", "Step by step along the arc", profile.lead, profile.draw),
    FigureKind("course", "Over time", course.lead, course.draw),
)
"""In the order of the page."""
