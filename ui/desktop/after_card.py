"""The card after a repetition, or after several: the one thing to change, and every criterion."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QLabel, QSizePolicy, QVBoxLayout

from analysis.criteria import Verdict
from analysis.target import Target
from ui.desktop.look import BAD, GOOD, INK, LINE, PAPER, QUIET, font
from ui.desktop.words import tr
from ui.judged import SIGNS
from ui.live.practice.card import Card, CardRow

MOST_COLUMNS = 12
"""More repetitions than that are cut off at the left: the newest matter."""


class AfterCard(QFrame):
    """Lies over the picture while there is a card; a sign stands beside each number."""

    points = (13.0, 28.0, 17.0, 17.0)
    """Of title, advice, place and table: to be read from the rig."""
    margin = 28

    def __init__(self, target: Target, side: str) -> None:
        super().__init__()
        self.setAccessibleName(tr("how the last repetition went"))
        self.setObjectName("card")
        self.setStyleSheet(
            f"#card {{ background: {PAPER.name()}; border: 2px solid {LINE.name()}; }}"
        )
        self._card: Card | None = None
        title, advice, where, table = self.points
        self._title = _line(title, QUIET.name())
        self._advice = _line(advice, INK.name(), bold=True)
        self._where = _line(where, INK.name())
        self._table = _line(table, INK.name())
        self._table.setTextFormat(Qt.TextFormat.RichText)
        inside = QVBoxLayout(self)
        inside.setContentsMargins(self.margin, self.margin // 2, self.margin, self.margin // 2)
        for one in (self._title, self._advice, self._where, self._table):
            inside.addWidget(one)
        inside.addStretch(1)
        # What lies over others must not push them about.
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
        self.setMinimumSize(1, 1)
        self.hide()

    @property
    def text(self) -> str:
        """What is said, without the table."""
        return "\n".join(one.text() for one in (self._title, self._advice, self._where))

    def show_look(self, card: Card | None) -> None:
        """Show a card, or go away."""
        if card == self._card:
            return
        self._card = card
        self.setVisible(card is not None)
        if card is None:
            return
        sign = "▲ " if card.change else "● "
        self._title.setText(tr(card.title))
        self._advice.setText(sign + tr(card.advice))
        self._advice.setStyleSheet(f"color: {(BAD if card.change else GOOD).name()};")
        self._where.setText(tr(card.where))
        self._where.setVisible(bool(card.where))
        self._table.setText(_table(card))
        self.raise_()


class CompactCard(AfterCard):
    """The same for the instructor, beside everything else."""

    points = (9.0, 14.0, 10.0, 10.0)
    margin = 14


def _line(points: float, colour: str, *, bold: bool = False) -> QLabel:
    made = QLabel()
    made.setFont(font(points, bold=bold))
    made.setStyleSheet(f"color: {colour};")
    made.setWordWrap(True)
    made.setTextFormat(Qt.TextFormat.PlainText)
    made.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
    return made


def _table(card: Card) -> str:
    numbers = card.numbers[-MOST_COLUMNS:]
    head = ""
    if len(numbers) > 1:
        cells = "".join(f"<td align='right'>{number}</td>" for number in numbers)
        head = f"<tr style='color: {QUIET.name()}'><td></td>{cells}<td></td></tr>"
    rows = "".join(_row(row, several=len(numbers) > 1) for row in card.rows)
    return f"<table cellspacing='0' cellpadding='3'>{head}{rows}</table>"


def _row(row: CardRow, *, several: bool) -> str:
    cells = ""
    for verdict, found in list(zip(row.verdicts, row.found, strict=True))[-MOST_COLUMNS:]:
        colour = {Verdict.MET: GOOD, Verdict.NOT_MET: BAD}.get(verdict, QUIET).name()
        number = "" if found == SIGNS[verdict] else f" {escape(found)}"
        cells += (
            f"<td align='right'><span style='color: {colour}; font-weight: bold'>"
            f"{SIGNS[verdict]}</span>{number}</td>"
        )
    remark = "" if several or not row.remarks[0] else f" · {escape(tr(row.remarks[0]))}"
    return (
        f"<tr><td>{escape(tr(row.label))}</td>{cells}"
        f"<td style='color: {QUIET.name()}'>{escape(tr(row.wanted))}{remark}</td></tr>"
    )
