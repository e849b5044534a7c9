"""How two methods agree, at a terminal: what it means first, then the numbers."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from analysis.comparison.methods import AgreementOfMethods
from ui.agreed import agreement_cells, agreement_sentences, agreement_title
from ui.cli.tables import titled
from ui.measure_words import measure_name


def agreement_table(found: AgreementOfMethods) -> RenderableType:
    """Return what the numbers mean, and bias and limits of agreement of every measure."""
    table = titled("bias and limits of agreement")
    for name in ("bias", "lower limit", "upper limit", "pairs"):
        table.add_column(name, justify="right")
    for one in found.measures:
        cells = (cell.replace(" (", "\n(") for cell in agreement_cells(one))
        table.add_row(measure_name(one.key), *cells)
    said = [Text(f"• {sentence}") for sentence in agreement_sentences(found)]
    return Group(Text(agreement_title(found), style="bold"), *said, Text(), table)
