"""The agreement of two methods as one HTML page: what it means, pictures, numbers."""

from __future__ import annotations

from importlib.metadata import version

from markupsafe import Markup

from acquisition.software import software
from analysis.comparison.methods import AgreementOfMethods
from ui.agreed import agreement_cells, agreement_sentences, agreement_title, has_no_scatter
from ui.measure_words import measure_name
from ui.numbers import count_of
from ui.report.figures.agreement import agreement_figure
from ui.report.page import page

LIBRARIES = ("numpy", "scipy", "vqf")


def build_agreement(found: AgreementOfMethods) -> str:
    """Return the page. The same agreement gives the same bytes."""
    figures = [
        agreement_figure(one) for one in found.measures if one.points and not has_no_scatter(one)
    ]
    return page(
        "agreement.html.j2",
        found=found,
        title=agreement_title(found),
        sentences=agreement_sentences(found),
        pairs=count_of(len(found.recordings), "pair of recordings", "pairs of recordings"),
        people=[who or "no code" for who in found.people],
        svgs=[Markup(svg) for svg in figures],  # noqa: S704, RUF100 - our own
        rows=[(measure_name(one.key), *agreement_cells(one)) for one in found.measures],
        versions=", ".join((software(), *(f"{name} {version(name)}" for name in LIBRARIES))),
    )
