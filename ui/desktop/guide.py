"""The window around practice: leads from plugging in to the review, one screen at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import QEvent, QObject, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QKeyEvent
from PySide6.QtWidgets import QLineEdit, QMainWindow, QStackedWidget, QVBoxLayout, QWidget

from analysis.said import said
from ui.desktop import look
from ui.desktop.dressed import Dressed
from ui.desktop.keys import LOOK_KEYS, Key, action_of, keys_in_words
from ui.desktop.look import BAD, INK, QUIET, WARM
from ui.desktop.review_window import ReviewWindow
from ui.desktop.screens import (
    HomeScreen,
    ReviewScreen,
    Screen,
    SelfTestScreen,
    ZeroScreen,
    line,
    say,
    where,
)
from ui.desktop.screens_asking import SPACES, ChooseScreen, WhoScreen
from ui.desktop.view_body import CAUTION, scale_that_fits
from ui.desktop.window import TrainerWindow
from ui.desktop.words import tr
from ui.live.flow import Flow, Stage
from ui.live.preferences import Memory

FRAME_MS = 50
SCREENS: Mapping[Stage, Callable[[Flow], Screen]] = {
    Stage.CHOOSE: ChooseScreen,
    Stage.SELF_TEST: SelfTestScreen,
    Stage.ZERO: ZeroScreen,
    Stage.HOME: HomeScreen,
    Stage.WHO: WhoScreen,
    Stage.REVIEW: ReviewScreen,
}
"""A new one is a class and a line; practice itself has a window of its own."""

KEYS: tuple[Key, ...] = (
    Key(("F5",), "look for rigs again", lambda window: window.flow.find_ports()),
    Key(("Esc",), "back to choosing the rig", lambda window: window.flow.back()),
    Key(("N",), "next person", lambda window: window.next_person()),
    Key(("G",), "practise again", lambda window: window.practise_again()),
    *LOOK_KEYS,
    Key(("Ctrl+Q", "Q"), "quit", lambda window: window.close()),
)
GO_ON = (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter)


class GuideWindow(Dressed, QMainWindow):
    """Shows the stage that a flow has reached.

    Args:
        flow: Closed with the window, unless practice goes on in its own.
        memory: How windows look.

    Attributes:
        flow: The flow.
        practice: The window of practice, None while nobody practises.
        review: The window of review, None before the first.
    """

    def __init__(self, flow: Flow, memory: Memory | None = None) -> None:
        super().__init__()
        self.flow = flow
        self._memory = memory or Memory()
        self.practice: TrainerWindow | None = None
        self.review: ReviewWindow | None = None
        self.setWindowTitle("perpend")
        self.screens: dict[Stage, Screen] = {}
        self._at: Stage | None = None
        self.setMinimumSize(960, 640)
        self.resize(1280, 800)
        self.dress()
        self._timer = QTimer(self)
        self._timer.timeout.connect(self.refresh)
        self._timer.start(FRAME_MS)

    def dress(self) -> None:
        """Make every screen anew, in the colours and the size of text that are wanted."""
        self._dressed_for = self._memory.now
        look.use(dark=self._dressed_for.dark, text_scale=self.fitting_scale())
        self.screens = {stage: make(self.flow) for stage, make in SCREENS.items()}
        asked = self.screens[Stage.REVIEW]
        if isinstance(asked, ReviewScreen):
            asked.open_review = self.open_review
        self._stack = QStackedWidget()
        self._lay_out()
        self._at = None
        self.refresh()

    def fitting_scale(self) -> float:
        """Return the size of text that is wanted, or the largest that there is room for."""
        return scale_that_fits(self._memory.now.text_scale, self)

    @property
    def screen_shown(self) -> Screen:
        """The screen of the stage that is shown."""
        return self.screens[self._at or Stage.CHOOSE]

    def refresh(self) -> None:
        """Look at the flow and show how it stands."""
        if self._dressed_for != self._memory.now:
            self.dress()  # another window's keys changed it
        self.follow_the_size()
        self.flow.look()
        stage = self.flow.stage
        if stage is Stage.PRACTICE:
            self._practise()
            return
        if stage is not self._at:
            self._at = stage
            self._stack.setCurrentWidget(self.screens[stage])
            self.setFocus()
            self.screens[stage].enter()
            say(self._where, where(stage))
        self.screen_shown.show_flow()
        self._show_message()
        words = self.screen_shown.next_words
        foot = tr(said("Space or foot switch: {}", words)) if words else ""
        keys = [key for key in KEYS if key.keys[0] in self.screen_shown.keys]
        say(self._foot, " · ".join(filter(None, (foot, keys_in_words(keys)))))

    def go_on(self) -> None:
        """Ask for the next stage, unless something is being done."""
        if not self.flow.doing:
            self.screen_shown.go_on()
            self.refresh()

    def next_person(self) -> None:
        """Ask who practises next, once somebody has."""
        if self.flow.stage is Stage.REVIEW:
            self.flow.next_person()

    def practise_again(self) -> None:
        """Let the same person practise again."""
        if self.flow.stage is Stage.REVIEW:
            self.flow.practise_again()

    def open_review(self) -> None:
        """Open what was recorded last."""
        if self.flow.trial is not None:
            self._close_review()
            self.review = ReviewWindow(
                [self.flow.trial], out_dir=self.flow.out_dir, memory=self._memory
            )
            self.review.show()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in GO_ON:
            if not event.isAutoRepeat():
                self.go_on()
            return
        action = action_of(event, KEYS)
        if action is None:
            super().keyPressEvent(event)
        else:
            action(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Let Space and Enter go on wherever the cursor is, but type a space where one may be."""
        if isinstance(event, QKeyEvent) and event.type() is QEvent.Type.KeyPress:
            types = isinstance(watched, QLineEdit) and watched.property(SPACES)
            if event.key() in GO_ON and not (types and event.key() == Qt.Key.Key_Space):
                self.keyPressEvent(event)
                return True
        return super().eventFilter(watched, event)

    def closeEvent(self, event: QCloseEvent) -> None:
        self._timer.stop()
        self._close_review()
        if self.practice is not None:
            self.practice.close()
            self.practice.deleteLater()
            self.practice = None
        self.flow.close()
        super().closeEvent(event)

    def _practise(self) -> None:
        """Open the window of practice, and step back until it is left."""
        if self.practice is not None or self.flow.trainer is None:
            return
        self._close_review()
        self.practice = TrainerWindow(self.flow.trainer, self._memory, leave=self._practised)
        self.practice.setGeometry(self.geometry())
        self.practice.show()
        self._timer.stop()
        self._at = None
        self.hide()

    def _practised(self) -> None:
        """Come forward again; the line stays open."""
        left, self.practice = self.practice, None
        self.flow.end_practice()
        if self._dressed_for != self._memory.now:
            self.dress()
        self._timer.start(FRAME_MS)
        self.refresh()
        self.show()
        if left is not None:
            left.hide()
            left.deleteLater()

    def _close_review(self) -> None:
        """Close it and let Qt destroy it: Python's collector may run in any thread."""
        if self.review is not None:
            self.review.close()
            self.review.deleteLater()
            self.review = None

    def _show_message(self) -> None:
        if self.flow.doing:
            text = " · ".join(filter(None, (f"… {tr(self.flow.doing)}", tr(self.flow.message))))
        else:
            text = tr(self.flow.message)
        say(self._message, text)
        wrong = bool(text) and not self.flow.doing
        colour = BAD if wrong else INK
        style = f"color: {colour.name()}; padding: 4px 8px;"
        style += f" background: {WARM.name()};" if wrong else ""
        if style != self._message.styleSheet():
            self._message.setStyleSheet(style)

    def _lay_out(self) -> None:
        body = QWidget()
        body.setPalette(look.paper())
        body.setAutoFillBackground(True)
        body.setAccessibleName(tr("from plugging in to the review"))
        room = QVBoxLayout(body)
        room.setContentsMargins(48, 24, 48, 12)
        room.setSpacing(12)
        self._where = line("", 12, QUIET.name(), bold=True)
        self._where.setAccessibleName(tr("stage"))
        self._message = line("", 14, INK.name())
        self._message.setAccessibleName(tr("messages"))
        self._foot = line("", 11, INK.name())
        self._foot.setAccessibleName(tr("keys"))
        self._foot.setMinimumHeight(2 * self._foot.fontMetrics().lineSpacing())
        room.addWidget(self._where)
        room.addWidget(self._stack, 1)
        room.addWidget(self._message)
        room.addWidget(self._foot)
        room.addWidget(line(tr(CAUTION), 9, QUIET.name()))
        for screen in self.screens.values():
            self._stack.addWidget(screen)
            for child in screen.findChildren(QWidget):
                child.installEventFilter(self)
        self.setCentralWidget(body)
