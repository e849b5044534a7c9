"""The trainer window: one session in two views, moved by one timer, ruled by keys."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from typing import TypeVar

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QCloseEvent, QGuiApplication, QKeyEvent
from PySide6.QtWidgets import QMainWindow, QStackedWidget, QWidget

from analysis.said import said
from ui.desktop import look
from ui.desktop.dressed import Dressed
from ui.desktop.keys import action_of, keys_for_the_trainee, keys_in_words
from ui.desktop.panels import PANELS
from ui.desktop.pictures import save_picture_of
from ui.desktop.second_window import SecondWindow
from ui.desktop.view_body import View, ViewBody, scale_that_fits
from ui.desktop.words import tr
from ui.live.looks import Looks
from ui.live.moment import Moment, Trainer
from ui.live.practice.look import RunState
from ui.live.preferences import Memory
from ui.live.target_map import SHOULDERS

FRAME_MS = 25
"""A sample waits for the next frame, then for its painting: with 33 its way to the picture came
too near to the 50 ms it may take."""
WidgetT = TypeVar("WidgetT", bound=QWidget)


class TrainerWindow(Dressed, QMainWindow):
    """Shows one feed; pulls a moment forty times a second.

    Args:
        trainer: Gives the moments; its feed is closed with the window.
        memory: How the window looks, and where that is kept.
        view: The one it begins with; None: the trainee's where a plan is followed, so that what
            it hides is hidden, else the instructor's.
        leave: What to do to let another person practise; None closes the window instead.
    """

    def __init__(
        self,
        trainer: Trainer,
        memory: Memory | None = None,
        *,
        view: View | None = None,
        leave: Callable[[], None] | None = None,
    ) -> None:
        super().__init__()
        self.trainer = trainer
        self._memory = memory or Memory()
        self._leave = leave
        self._looks = Looks((panel.model for panel in PANELS), self._troubled)
        self._second: SecondWindow | None = None
        rig = trainer.feed.rig.rig
        self._title = f"{tr('rig')} {rig.id} · {tr(SHOULDERS[rig.side])}"
        self.setWindowTitle(f"perpend · {self._title}")
        self._stack = QStackedWidget()
        self.setCentralWidget(self._stack)
        self._bodies: dict[View, ViewBody] = {}
        self._view = view or first_view(trainer)
        self.setMinimumSize(960, 640)
        self.resize(1280, 800)
        self.dress()
        self._note_viewpoint()
        self._timer = QTimer(self)
        self._timer.timeout.connect(self.refresh)
        self._timer.start(FRAME_MS)

    @property
    def view(self) -> View:
        """The view that this window shows."""
        return self._view

    @property
    def second(self) -> SecondWindow | None:
        """The window with the trainee's view, None while there is none."""
        return self._second

    def panel(self, kind: type[WidgetT]) -> WidgetT:
        """Return the widget of a kind in the view that is shown.

        Raises:
            StopIteration: There is none.
        """
        return self._bodies[self._view].panel(kind)

    def refresh(self) -> None:
        """Pull a moment and draw it wherever it can be seen."""
        self.follow_the_size()
        self._tell_what_is_seen()
        moment = self.trainer.refresh()
        looks = self._looks.of(moment)
        shown, instead = _feedback(moment)
        for body in self._shown_bodies():
            body.show_feedback(shown=shown, instead=instead)
            body.show_looks(looks)

    def toggle_recording(self) -> None:
        """Start a recording, or stop and check the one that runs."""
        self.trainer.feed.toggle_recording()

    def zero(self) -> None:
        """Take the zero from the last second, or say why not."""
        self.trainer.feed.zero()

    def mark(self) -> None:
        """Mark this moment; where the plan leaves the card to the trainee, ask for it.

        So a foot switch, which has one key, is enough for every plan.
        """
        practice = self.trainer.practice
        if practice is not None and practice.may_ask:
            practice.ask()
        else:
            self.trainer.feed.mark()

    def look_from_the_other_side(self) -> None:
        """Change between the view from behind the shoulder and from its front."""
        self._memory.change(front=not self._memory.now.front)
        self._turn()
        self._note_viewpoint()

    def change_view(self) -> None:
        """Change between trainee's and instructor's view."""
        other = View.TRAINEE if self._view is View.INSTRUCTOR else View.INSTRUCTOR
        self._view = other
        self._stack.setCurrentWidget(self._bodies[other])

    def second_window(self) -> None:
        """Open the trainee's view in a window of its own, or close that."""
        if self._second is not None:
            self._second.close()
            return
        self._second = SecondWindow(self._body(View.TRAINEE), self._second_gone, self.keyPressEvent)
        self._turn()
        self._second.show_on(QGuiApplication.screens(), self.screen())

    def toggle_full_screen(self) -> None:
        """Fill the screen, or no longer."""
        self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)

    def leave_full_screen(self) -> None:
        """Fill the screen no longer."""
        self.setWindowState(self.windowState() & ~Qt.WindowState.WindowFullScreen)

    def save_picture(self) -> None:
        """Save what is shown, as pixels and as lines."""
        feed = self.trainer.feed
        save_picture_of(self._bodies[self._view], feed.out_dir, feed.tell)

    def ask_for_feedback(self) -> None:
        """Ask to see how the last repetition went, where the plan leaves that to the trainee."""
        practice = self.trainer.practice
        why_not = practice.ask() if practice is not None else tr("no plan is being followed")
        if why_not:
            self.trainer.feed.tell(why_not)

    def pause_or_resume(self) -> None:
        """Let what is done now belong to no plan, or go on with the plan."""
        practice = self.trainer.practice
        if practice is None:
            return
        if practice.state is RunState.PAUSED:
            practice.resume()
        else:
            practice.pause()

    def skip_repetition(self) -> None:
        """Go on in the plan without this repetition."""
        if self.trainer.practice is not None:
            self.trainer.practice.skip("by key")

    def repeat_repetition(self) -> None:
        """Do a repetition of the plan again."""
        if self.trainer.practice is not None:
            self.trainer.practice.repeat("by key")

    def stop_drill(self) -> None:
        """Let a stop be called in one of the next repetitions; the instructor's view says so."""
        self.trainer.arm_drill(secrets.randbits(31))

    def show_checklist(self) -> None:
        """Show the instructor's checklist, or put it away; it is in the instructor's view only."""
        if self._view is View.INSTRUCTOR:
            self.trainer.take_checklist().show_or_hide()

    def answer(self, number: int) -> None:
        """Answer an item of the checklist otherwise, where it can be seen."""
        if self._view is View.INSTRUCTOR:
            self.trainer.take_checklist().turn(number)

    def next_person(self) -> None:
        """Let another person practise on the same rig."""
        if self._leave is None:
            self.trainer.feed.tell(tr("begin without --port to let one person follow another"))
            return
        self.stop()
        self._leave()

    def stop(self) -> None:
        """Draw no more; the feed stays open."""
        self._timer.stop()
        if self._second is not None:
            self._second.close()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        action = action_of(event)
        if action is None:
            super().keyPressEvent(event)
        else:
            action(self)

    def closeEvent(self, event: QCloseEvent) -> None:
        self.stop()
        self.trainer.close()
        super().closeEvent(event)

    def _shown_bodies(self) -> list[ViewBody]:
        second = [] if self._second is None else [self._second.body]
        return [self._bodies[self._view], *second]

    def _body(self, view: View) -> ViewBody:
        feed = self.trainer.feed
        return ViewBody(
            view,
            target=feed.target,
            side=feed.rig.rig.side,
            title=self._title,
            foot=keys_in_words() if view is View.INSTRUCTOR else keys_for_the_trainee(),
            troubled=self._troubled,
        )

    def dress(self) -> None:
        """Make every panel anew, in the colours and the size of text that are wanted."""
        wanted = self._memory.now
        look.use(dark=wanted.dark, text_scale=self.fitting_scale())
        for old in self._bodies.values():
            self._stack.removeWidget(old)
            old.deleteLater()
        self._bodies = {view: self._body(view) for view in View}
        for body in self._bodies.values():
            self._stack.addWidget(body)
        self._stack.setCurrentWidget(self._bodies[self._view])
        if self._second is not None:
            self._second.wear(self._body(View.TRAINEE))
        self._turn()

    def _turn(self) -> None:
        for body in {*self._bodies.values(), *self._shown_bodies()}:
            body.look_from(self._memory.now.stand)

    def resize_text(self, by: float) -> None:
        """Make everything written so many times larger, as far as there is room."""
        super().resize_text(by)
        if self.fitting_scale() < self._memory.now.text_scale:
            self.trainer.feed.tell("text grows with the window: there is no more room in this one")

    def fitting_scale(self) -> float:
        """Return the size of text that is wanted, or the largest for which there is room."""
        second = [] if self._second is None else [self._second]
        return scale_that_fits(self._memory.now.text_scale, self, *second)

    def _note_viewpoint(self) -> None:
        self.trainer.feed.viewpoint = self._memory.now.stand.value

    def _tell_what_is_seen(self) -> None:
        """Tell the plan whether the trainee can see more than the trainee's view."""
        if self.trainer.practice is not None:
            second = self._second
            apart = second is not None and second.screen() is not self.screen()
            self.trainer.practice.uncovered = self._view is View.INSTRUCTOR and not apart

    def _second_gone(self) -> None:
        self._second = None

    def _troubled(self, error: Exception) -> None:
        kind = type(error).__name__
        self.trainer.feed.tell(said("a panel failed: {}: {}", kind, error), trouble=True)


def first_view(trainer: Trainer) -> View:
    """Return the view to begin with: the trainee's where a plan says what may be seen."""
    return View.INSTRUCTOR if trainer.practice is None else View.TRAINEE


def _feedback(moment: Moment) -> tuple[bool, str]:
    """Return whether the trainee may see how it goes, and what to say instead."""
    practice = moment.practice
    return (True, "") if practice is None else (practice.feedback_visible, practice.instead)
