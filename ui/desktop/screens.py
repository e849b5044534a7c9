"""What is seen before and after practice: one screen for each stage of a session.

Each shows what the flow says and has one way to go on: Space, Enter, or a foot switch that types
one of them. Messages are lines of text; nothing opens in front of the screen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QFrame,
    QLabel,
    QLineEdit,
    QProgressBar,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from analysis.trial import QualityFinding, Severity
from ui.desktop.look import BAD, GOOD, INK, QUIET, font
from ui.desktop.words import tr
from ui.live.flow import AT_HOME_S, Flow, Stage
from ui.live.target_map import SHOULDERS

SIGNS: Mapping[Severity, tuple[str, str]] = {
    Severity.FINE: ("✓", "fine"),
    Severity.NOTE: ("○", "note"),
    Severity.WARNING: ("▲", "wrong"),
}
MOST = 100
"""Stretch of what takes nearly all of the room."""
ALWAYS_SHOWN = ("self_test", "versions", "rig_identity", "sign_and_side", "zero_offset", "noise")
"""Findings whose value is shown even when they are fine."""


class Screen(QWidget):
    """One stage.

    Args:
        flow: What it shows and what it asks.
    """

    title = ""
    """What is to be done here."""
    words = ""
    """How."""
    go_on_words = ""
    """What going on means here."""
    keys: tuple[str, ...] = ("Esc", "Ctrl+Q")
    """What else is of use here, by the first key of each line of the table."""

    def __init__(self, flow: Flow) -> None:
        super().__init__()
        self.flow = flow
        self.setAccessibleName(tr(self.title))
        self.room = QVBoxLayout(self)
        self.room.setContentsMargins(0, 0, 0, 0)
        self.room.setSpacing(10)
        self.room.addWidget(line(tr(self.title), 26, INK.name(), bold=True))
        self.room.addWidget(line(tr(self.words), 14, QUIET.name()))
        self.fill()
        self.room.addStretch(1)

    def fill(self) -> None:
        """Put in what only this stage has."""

    def enter(self) -> None:
        """Do what is done when the stage is reached."""

    def forgets_what_was_wrong(self, *fields: QLineEdit) -> None:
        """Let typing into any of these take the message away."""
        for field in fields:
            field.textEdited.connect(lambda _: self.flow.forget_message())

    def show_flow(self) -> None:
        """Show how it stands; called on every frame."""

    def go_on(self) -> None:
        """Ask for the next stage."""

    @property
    def next_words(self) -> str:
        """What going on does now."""
        return tr(self.go_on_words)


class SelfTestScreen(Screen):
    """Tests the rig and lists what was found as it comes."""

    title = "Is the rig well?"
    words = (
        "The rig tests itself, then it is listened to for eight seconds: three with the hands "
        "off and the arm hanging, then push backward and a little outward with about 30 N."
    )

    def fill(self) -> None:
        """Put in a line for each finding."""
        self.busy = QProgressBar()
        self.busy.setRange(0, 0)
        self.busy.setTextVisible(False)
        self.busy.setFixedHeight(6)
        self.busy.setAccessibleName(tr("a test runs"))
        self.found = line("", 12, INK.name())
        self.found.setTextFormat(Qt.TextFormat.RichText)
        self.found.setAccessibleName(tr("findings"))
        self.found.setAlignment(Qt.AlignmentFlag.AlignTop)
        rolled = QScrollArea()
        rolled.setWidgetResizable(True)
        rolled.setFrameShape(QFrame.Shape.NoFrame)
        rolled.setAccessibleName(tr("findings"))
        rolled.setWidget(self.found)
        rolled.viewport().setAutoFillBackground(False)
        self.found.setAutoFillBackground(False)
        self.room.addWidget(self.busy)
        self.room.addWidget(rolled, MOST)

    def show_flow(self) -> None:
        """Show what has been found so far."""
        self.busy.setVisible(bool(self.flow.doing))
        say(self.found, _table(self.flow.findings))

    def go_on(self) -> None:
        """Test, or go on when that is done; an instructor decides about what was found."""
        if self.flow.tested:
            self.flow.open_line()
        else:
            self.flow.test()

    @property
    def next_words(self) -> str:
        """What going on does now."""
        return tr("open the line") if self.flow.tested else tr("test the rig")


class ZeroScreen(Screen):
    """Takes the zero."""

    title = "Take the hand away"
    words = (
        "Let the arm hang, touch nothing, and wait a second. What the cell shows then is zero. "
        "While a hand rests on it there is no zero."
    )
    go_on_words = "take the zero"

    def go_on(self) -> None:
        """Take it, or show why not."""
        self.flow.zero()


class HomeScreen(Screen):
    """Says which side it is, and waits for the arm to rest at home."""

    title = "Side and home"
    words = (
        "Is this the side that stands there? If not, go back with Esc and name another "
        "description. Let the arm hang still: that is home."
    )
    go_on_words = "this is right"

    def fill(self) -> None:
        """Put in side and home."""
        self.side = line("", 22, GOOD.name(), bold=True)
        self.side.setAccessibleName(tr("side"))
        self.home = line("", 16, INK.name())
        self.home.setAccessibleName(tr("home"))
        self.room.addWidget(self.side)
        self.room.addWidget(self.home)

    def show_flow(self) -> None:
        """Show the side, and whether the arm is at home."""
        if self.flow.rig is not None:
            rig = self.flow.rig.rig
            say(self.side, f"{tr(SHOULDERS[rig.side])} · {tr('rig')} {rig.id}")
        at_home = self.flow.home_age_s <= AT_HOME_S
        say(self.home, f"✓ {tr('at home')}" if at_home else f"○ {tr('not at home yet')}")

    def go_on(self) -> None:
        """Go on if home is known."""
        self.flow.confirm_home()


class ReviewScreen(Screen):
    """Says what was recorded, and opens it."""

    title = "What was recorded"
    words = "Look at it, then let the next person practise, or practise again."
    keys = ("N", "G", "Ctrl+Q")

    def __init__(self, flow: Flow, open_review: Callable[[], None] = lambda: None) -> None:
        super().__init__(flow)
        self.open_review = open_review

    def fill(self) -> None:
        """Put in the name of the file."""
        self.file = line("", 16, INK.name(), bold=True)
        self.file.setAccessibleName(tr("recording"))
        self.room.addWidget(self.file)

    def show_flow(self) -> None:
        """Show which file, and how many repetitions are in it."""
        trial, path = self.flow.trial, self.flow.recorded
        if trial is None:
            say(self.file, "" if path is None else path.name)
        elif path is not None:
            say(self.file, f"{path.name} · {tr('repetitions')}: {len(trial.repetitions)}")

    def go_on(self) -> None:
        """Open it."""
        if self.flow.trial is not None:
            self.open_review()

    @property
    def next_words(self) -> str:
        """What going on does now."""
        return tr("look at it") if self.flow.trial is not None else ""


def line(text: str, points: float, colour: str, *, bold: bool = False) -> QLabel:
    """Return words that are broken into lines where they do not fit."""
    made = QLabel(text)
    made.setFont(font(points, bold=bold))
    made.setStyleSheet(f"color: {colour};")
    made.setWordWrap(True)
    made.setAccessibleName(text)
    return made


def say(label: QLabel, text: str) -> None:
    """Show a text if it is not there already."""
    if text != label.text():
        label.setText(text)


def where(stage: Stage) -> str:
    """Return the line that says which stage it is."""
    order = tuple(Stage)
    return f"{order.index(stage) + 1} / {len(order)} · {tr(stage.value)}"


def _table(findings: tuple[QualityFinding, ...]) -> str:
    """Return what is not fine line by line, and how much is."""
    fine = [finding for finding in findings if finding.severity is Severity.FINE]
    rows = [_row(finding) for finding in findings if finding.severity is not Severity.FINE]
    rows += [_row(finding) for finding in fine if finding.key in ALWAYS_SHOWN]
    names = ", ".join(
        tr(finding.key.replace("_", " ")) for finding in fine if finding.key not in ALWAYS_SHOWN
    )
    rest = f"<p>✓ {tr('looked at, and nothing wrong')}: {_safe(names)}</p>" if names else ""
    return f"<table cellpadding='3'>{''.join(rows)}</table>{rest}" if findings else ""


def _row(finding: QualityFinding) -> str:
    sign, word = SIGNS[finding.severity]
    colour = BAD if finding.severity is Severity.WARNING else INK
    advice = "" if finding.severity is Severity.FINE else f"<br>{_safe(finding.advice)}"
    return (
        f"<tr style='color:{colour.name()}'><td>{sign} {tr(word)}</td>"
        f"<td>{_safe(tr(finding.key.replace('_', ' ')))}</td>"
        f"<td>{_safe(finding.value)}{advice}</td></tr>"
    )


def _safe(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")
