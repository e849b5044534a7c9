"""The repetitions of a recording with their criteria; the one looked at is chosen."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QLabel, QListWidget, QSizePolicy, QVBoxLayout, QWidget

from analysis.criteria import Verdict, one_thing
from analysis.said import said
from analysis.trial import Trial
from ui.desktop.look import INK, font
from ui.desktop.words import tr
from ui.judged import SIGNS, Judged, judged, none_found

ROWS, LINES = 6, 10
"""Repetitions shown at once; lines of criteria beside them, advice included."""


class RepetitionList(QWidget):
    """Lists repetitions and tells of the chosen one how each criterion stands.

    Args:
        trial: The recording.
        chosen: Called with the row that a person chooses.
        beside: The criteria stand beside the list, not below it.
    """

    def __init__(
        self, trial: Trial, chosen: Callable[[int], object], *, beside: bool = False
    ) -> None:
        super().__init__()
        self._judged = judged(trial)
        self._rows = QListWidget()
        self._rows.setAccessibleName(tr("repetitions"))
        self._rows.setFont(font(10))
        self._rows.setFocusPolicy(Qt.FocusPolicy.NoFocus)  # its keys are the window's
        self._rows.addItems([row_in_words(trial, one) for one in self._judged])
        self._rows.itemClicked.connect(lambda item: chosen(self._rows.row(item)))
        row_height = max(1, self._rows.sizeHintForRow(0))
        self._rows.setFixedHeight(row_height * min(ROWS, max(1, len(self._judged))) + 6)
        self._detail = QLabel("" if self._judged else tr(none_found(trial)))
        self._detail.setAccessibleName(tr("criteria of the repetition"))
        self._detail.setFont(font(10))
        self._detail.setStyleSheet(f"color: {INK.name()};")
        self._detail.setTextFormat(Qt.TextFormat.PlainText)
        self._detail.setWordWrap(True)
        self._detail.setAlignment(Qt.AlignmentFlag.AlignTop)
        self._detail.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Expanding)
        room = QHBoxLayout(self) if beside else QVBoxLayout(self)
        room.setContentsMargins(0, 0, 0, 0)
        room.addWidget(self._rows, 2 if beside else 0, Qt.AlignmentFlag.AlignTop)
        room.addWidget(self._detail, 3 if beside else 1)
        if beside:
            # The same for both recordings, so that their views stand level.
            self._detail.setFixedHeight(LINES * self._detail.fontMetrics().lineSpacing())

    def show_chosen(self, row: int) -> None:
        """Show the criteria of a repetition, by its place in the trial."""
        if 0 <= row < len(self._judged) and row != self._rows.currentRow():
            self._rows.setCurrentRow(row)
            self._detail.setText(criteria_in_words(self._judged[row]))

    @property
    def detail(self) -> str:
        """What is told of the chosen repetition."""
        return self._detail.text()


def row_in_words(trial: Trial, one: Judged) -> str:
    """Return a repetition in one line: when, and how many criteria stand how."""
    span = one.repetition.spans.movement
    begins_s = float(trial.series.time_s[span.start])
    counts = dict.fromkeys(Verdict, 0)
    for criterion in one.criteria:
        counts[criterion.verdict] += 1
    signs = "  ".join(f"{SIGNS[verdict]} {count}" for verdict, count in counts.items() if count)
    whole = "" if one.repetition.spans.complete else f"  ({tr('unfinished')})"
    lasts_s = len(span) / trial.series.fs_hz
    when = tr(said("{} s, {} s long", f"{begins_s:.0f}", f"{lasts_s:.0f}"))
    return f"{one.repetition.number}   {when}   {signs}{whole}"


def criteria_in_words(one: Judged) -> str:
    """Return the one thing to change, then every criterion with its number."""
    first = one_thing(one.criteria)
    lines = [
        f"{SIGNS[criterion.verdict]} {tr(criterion.label)}: {criterion.found}  ({criterion.wanted})"
        for criterion in one.criteria
    ]
    if first is None:
        return "\n".join(lines)
    where = f" ({tr(first.where)})" if first.where else ""
    return "\n".join([f"▲ {tr(first.advice)}{where}", *lines])
