"""Screens that ask: which rig, and who practises with what plan."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFormLayout, QLabel, QLineEdit, QListWidget, QListWidgetItem, QWidget

from acquisition.recording.model import TrialLabel
from ui.desktop.look import GOOD, INK, LINE, PAPER, QUIET, font
from ui.desktop.screens import MOST, Screen
from ui.desktop.words import tr
from ui.live.flow import Choice
from ui.live.practice.run import plans

SPACES = "spaces"
"""Property of a field in which a space is a space; elsewhere it goes on, as a foot switch does."""
CONDITIONS = "with_feedback, without_feedback, retention"


class ChooseScreen(Screen):
    """Lists where rigs may be."""

    title = "Where is the rig?"
    words = "Arrow keys choose. Ports are asked who is there; that takes a few seconds."
    go_on_words = "take this rig"
    keys = ("F5", "Ctrl++", "Ctrl+-", "Ctrl+D", "Ctrl+Q")

    def fill(self) -> None:
        """Put in the list, and room for an address and a description."""
        self.list = _list(tr("places of a rig"))
        self.address = _field(tr("another address"), "tcp://127.0.0.1:7788")
        self.description = _field(
            tr("rig description"), tr("else the one that the rig keeps"), spaces=True
        )
        self.room.addWidget(self.list, MOST)
        form = _form()
        form.addRow(_named(tr("another address"), self.address), self.address)
        form.addRow(_named(tr("rig description (TOML)"), self.description), self.description)
        self.room.addLayout(form)
        self._shown: tuple[Choice, ...] = ()
        self.forgets_what_was_wrong(self.address, self.description)

    def enter(self) -> None:
        """Ask who is there."""
        self.flow.find_ports()
        self.list.setFocus()

    def show_flow(self) -> None:
        """Show what has been found."""
        if self.flow.choices != self._shown:
            self._shown = self.flow.choices
            _show(self.list, [(one.url, f"{tr(one.words)}\n{one.url}") for one in self._shown])

    def go_on(self) -> None:
        """Take the address that was typed, else what is chosen in the list."""
        url = self.address.text().strip() or _chosen(self.list)
        described = self.description.text().strip()
        self.flow.choose(url, Path(described).expanduser() if described else None)


class WhoScreen(Screen):
    """Asks for code, condition and plan."""

    title = "Who practises?"
    words = "A code, never a name. Tab goes to the next field, the arrow keys choose a plan."
    go_on_words = "begin to practise"

    def fill(self) -> None:
        """Put in the fields."""
        self.person = _field(tr("code"), "T07")
        self.condition = _field(tr("condition"), CONDITIONS)
        self.note = _field(tr("note"), tr("no names"), spaces=True)
        form = _form()
        for words, field in (
            (tr("code"), self.person),
            (tr("condition"), self.condition),
            (tr("note"), self.note),
        ):
            form.addRow(_named(words, field), field)
        self.plan = _list(tr("plan"))
        form.addRow(_named(tr("plan"), self.plan), self.plan)
        self.room.addLayout(form, MOST)
        self.forgets_what_was_wrong(self.person, self.condition, self.note)

    def enter(self) -> None:
        """Propose what the flow proposes."""
        label = self.flow.label
        self.person.setText(label.person)
        self.condition.setText(label.condition)
        self.note.setText(label.note)
        known = [("", tr("practise freely, without a plan"))]
        known += [(name, tr(title)) for name, title in plans()]
        if self.flow.plan and self.flow.plan not in dict(known):
            known.append((self.flow.plan, self.flow.plan))
        _show(self.plan, known)
        self.plan.setCurrentRow([name for name, _ in known].index(self.flow.plan))
        self.person.setFocus()

    def go_on(self) -> None:
        """Begin, or be told what is wrong."""
        label = TrialLabel(
            person=self.person.text().strip(),
            condition=self.condition.text().strip(),
            note=self.note.text().strip(),
        )
        self.flow.begin(label, _chosen(self.plan))


def _form() -> QFormLayout:
    made = QFormLayout()
    made.setVerticalSpacing(10)
    made.setHorizontalSpacing(14)
    return made


def _field(name: str, hint: str, *, spaces: bool = False) -> QLineEdit:
    made = QLineEdit()
    made.setProperty(SPACES, spaces)
    made.setFont(font(14))
    made.setAccessibleName(name)
    made.setPlaceholderText(hint)
    made.setStyleSheet(
        f"QLineEdit {{ border: 1px solid {LINE.name()}; padding: 3px 6px; {_paper()}"
        f" placeholder-text-color: {QUIET.name()}; }}"
        f"QLineEdit:focus {{ border: 2px solid {GOOD.name()}; }}"
    )
    return made


def _named(words: str, field: QWidget) -> QLabel:
    made = QLabel(words)
    made.setFont(font(14))
    made.setStyleSheet(f"color: {INK.name()};")
    made.setAccessibleName(words)
    made.setBuddy(field)
    return made


def _list(name: str) -> QListWidget:
    made = QListWidget()
    made.setFont(font(13))
    made.setAccessibleName(name)
    made.setUniformItemSizes(False)
    made.setMinimumHeight(100)
    made.setStyleSheet(
        f"QListWidget {{ border: 1px solid {LINE.name()}; {_paper()} }}"
        f"QListWidget::item {{ padding: 5px; }}"
        f"QListWidget::item:selected {{ background: {GOOD.name()}; color: {PAPER.name()}; }}"
    )
    return made


def _paper() -> str:
    """Return what a style must say anew, for it forgets the palette."""
    return f"background: {PAPER.name()}; color: {INK.name()};"


def _show(where: QListWidget, rows: Sequence[tuple[str, str]]) -> None:
    """Fill a list; what was chosen stays chosen if it is still there."""
    before = _chosen(where)
    where.clear()
    for key, words in rows:
        item = QListWidgetItem(words)
        item.setData(Qt.ItemDataRole.UserRole, key)
        where.addItem(item)
    keys = [key for key, _ in rows]
    where.setCurrentRow(keys.index(before) if before in keys else 0)


def _chosen(where: QListWidget) -> str:
    item = where.currentItem()
    return "" if item is None else str(item.data(Qt.ItemDataRole.UserRole))
