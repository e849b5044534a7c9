"""How figures look: colours that colour-blind readers can tell apart, and small clean axes.

Blue and orange differ in lightness too; whatever a colour says is said by a line's style, a
hatch or a word as well.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from html import escape
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure

INK = "#1d2733"
QUIET = "#8a94a0"
RAISE = "#0b5cad"
LOWER = "#c75d00"
ALLOWED = "#dcebe3"
LIMIT = "#4c5661"

STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "hatch.linewidth": 0.6,
    "lines.linewidth": 1.2,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    # Text as outlines would make files of half a megabyte; as text they stay small and searchable.
    "svg.fonttype": "none",
}

METADATA = re.compile(r"\s*<metadata>.*?</metadata>", re.DOTALL)
GROUP_NAME = re.compile(r'<g id="[^"]*">')
FINE_DIGITS = re.compile(r"(\d\.\d\d)\d+")
"""A hundredth of a point is finer than any print, and halves the file."""
NAMESPACES = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
SIZE = re.compile(r'<svg [^>]*?(viewBox="[^"]*")[^>]*>', re.DOTALL)


@contextmanager
def drawing(width_in: float, height_in: float) -> Iterator[Figure]:
    """Give an empty figure in our style."""
    with mpl.rc_context(STYLE):
        yield Figure(figsize=(width_in, height_in), layout="constrained")


def as_svg(figure: Figure, title: str) -> str:
    """Return a figure as an SVG element for a page, which gives it its size.

    Args:
        figure: The figure.
        title: What it shows, for those who hear the page instead of seeing it. Two figures of
            one page must not have the same: names inside the drawing are made from it.
    """
    _fix_layout(figure)
    out = io.StringIO()
    # Names from a salt and no date: the same input gives the same bytes.
    with mpl.rc_context({"svg.hashsalt": f"perpend {title}"}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = METADATA.sub("", text[text.index("<svg") :])
    text = GROUP_NAME.sub("<g>", text)
    text = FINE_DIGITS.sub(r"\1", text)
    opening = rf'<svg {NAMESPACES} \1 role="img"><title>{escape(title)}</title>'
    return SIZE.sub(opening, text, count=1)


def _fix_layout(figure: Figure) -> None:
    """Lay a figure out once and keep the result, rounded.

    The layout solver's last digits change from call to call, and names in the drawing are made
    from them.
    """
    figure.draw_without_rendering()
    figure.set_layout_engine("none")
    for ax in figure.axes:
        left, bottom, width, height = ax.get_position(original=True).bounds
        ax.set_position((round(left, 4), round(bottom, 4), round(width, 4), round(height, 4)))
