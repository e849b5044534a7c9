"""How figures look: colours that colour-blind readers can tell apart, and small clean axes.

Blue and orange differ in lightness too; whatever a colour says is said by a line's style or a
word as well.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure

INK = "#1d2733"
QUIET = "#8a94a0"
RAISE = "#0b5cad"
LOWER = "#c75d00"
BAND = "#dfe9e4"
LIMIT = "#5b6672"

STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 9.5,
    "axes.titlelocation": "left",
    "lines.linewidth": 1.3,
    "legend.frameon": False,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    # Text as outlines would make files of half a megabyte; as text they stay small and searchable.
    "svg.fonttype": "none",
    # The same input gives the same bytes.
    "svg.hashsalt": "perpend",
}


@contextmanager
def drawing(width_in: float, height_in: float) -> Iterator[Figure]:
    """Give an empty figure in our style."""
    with mpl.rc_context(STYLE):
        yield Figure(figsize=(width_in, height_in), layout="constrained")


def as_svg(figure: Figure, title: str) -> str:
    """Return a figure as an SVG element, for a page, read out as *title*."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Title": title})
    text = out.getvalue()
    return text[text.index("<svg") :]
