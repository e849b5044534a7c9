"""The review: a recording played back in the views of the live window, or two beside each other.

The second follows the first by elevation, not by time: both always show the same place of the
movement.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QCloseEvent, QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QMainWindow, QVBoxLayout, QWidget

from analysis.said import said
from analysis.trial import Trial
from ui.desktop import look
from ui.desktop.dressed import Dressed
from ui.desktop.keys import LOOK_KEYS, Key, action_of, keys_in_words
from ui.desktop.pictures import save_picture_of
from ui.desktop.review_side import ReviewSide, message_line
from ui.desktop.scrubber import Scrubber
from ui.desktop.view_body import label, scale_that_fits
from ui.desktop.words import tr
from ui.live.alignment import same_place_s
from ui.live.preferences import Memory

FRAME_MS = 33
FINE_S, COARSE_S = 0.1, 1.0
SPEEDS = (0.25, 0.5, 1.0, 2.0, 4.0)
REAL_TIME = SPEEDS.index(1.0)
RUN_UP_S = 0.5
"""A repetition is shown from so long before the arm leaves home."""


class ReviewWindow(Dressed, QMainWindow):
    """Plays one recording, or two.

    Args:
        trials: One or two, analysed.
        out_dir: Where pictures go.
        memory: How the window looks.
    """

    def __init__(
        self, trials: Sequence[Trial], *, out_dir: Path, memory: Memory | None = None
    ) -> None:
        super().__init__()
        self._memory = memory or Memory()
        self._out_dir = out_dir
        self._speed = REAL_TIME
        self.setWindowTitle(f"perpend · {tr('review')}")
        self.setMinimumSize(960, 640)
        self.resize(1280, 800)
        self._trials = tuple(trials)
        self.sides: list[ReviewSide] = []
        self.dress()
        self._timer = QTimer(self)
        self._timer.timeout.connect(self._tick)
        self._timer.start(FRAME_MS)
        self.playing = False
        self.next_repetition(0)
        self.refresh()

    def dress(self) -> None:
        """Make every view anew, in the colours and the size of text that are wanted."""
        look.use(dark=self._memory.now.dark, text_scale=self.fitting_scale())
        stood_s = [side.playback.position_s for side in self.sides]
        alone = len(self._trials) == 1
        self.sides = [self._side(one, place, alone=alone) for place, one in enumerate(self._trials)]
        for side, position_s in zip(self.sides, stood_s, strict=False):
            side.playback.jump(position_s)
        self.scrubber = Scrubber(self._trials[0])
        self.scrubber.moved.connect(self.jump)
        self._message = message_line()
        self._body = QWidget()
        self._lay_out()
        self._turn()

    def fitting_scale(self) -> float:
        """Return the size of text that is wanted, or the largest that there is room for."""
        return scale_that_fits(self._memory.now.text_scale, self)

    def refresh(self) -> None:
        """Draw where it stands."""
        self.follow_the_size()
        self.scrubber.show_place(self.sides[0].playback.position_s)
        for side in self.sides:
            side.refresh()

    def jump(self, time_s: float) -> None:
        """Look at another time of the first recording."""
        self.sides[0].playback.jump(time_s)
        self._follow()

    def step(self, seconds: float) -> None:
        """Look so much later, or earlier."""
        self.jump(self.sides[0].playback.position_s + seconds)

    def next_repetition(self, by: int = 1) -> None:
        """Look at the beginning of another repetition."""
        first = self.sides[0].playback
        now = first.repetition()
        if now is not None:
            self._choose_row(0, now.number - 1 + by)

    def play_or_pause(self) -> None:
        """Let it run, or stop it; at the end it begins again."""
        first = self.sides[0].playback
        if not self.playing and first.at_end:
            self.jump(0.0)
        self.playing = not self.playing
        self._tell(tr("playing") if self.playing else tr("paused"))

    def change_speed(self, by: int) -> None:
        """Play faster or slower."""
        self._speed = min(len(SPEEDS) - 1, max(0, self._speed + by))
        self._tell(f"{tr('speed')} {SPEEDS[self._speed]:g} ×")

    def look_from_the_other_side(self) -> None:
        """Change between the view from behind the shoulder and from its front."""
        self._memory.change(front=not self._memory.now.front)
        self._turn()

    def save_picture(self) -> None:
        """Save what is shown, as pixels and as lines."""
        save_picture_of(self._body, self._out_dir, lambda text, **_: self._tell(tr(text)))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        action = action_of(event, REVIEW_KEYS)
        if action is None:
            super().keyPressEvent(event)
        else:
            action(self)
            self.refresh()

    def closeEvent(self, event: QCloseEvent) -> None:
        self._timer.stop()
        super().closeEvent(event)

    def _tick(self) -> None:
        first = self.sides[0].playback
        if self.playing:
            first.advance(FRAME_MS / 1000.0 * SPEEDS[self._speed])
            self._follow(playing=True)
            if first.at_end:
                self.play_or_pause()
        self.refresh()

    def _follow(self, *, playing: bool = False) -> None:
        """Let the second recording stand where the first does."""
        if len(self.sides) == 1:
            return
        first, second = (side.playback for side in self.sides)
        mine, its = first.repetition(), second.repetition()
        if mine is None or its is None:
            return
        there_s = same_place_s(first.position_s, first.trial, mine, second.trial, its)
        ahead_s = there_s - second.position_s
        if playing and 0.0 <= ahead_s < COARSE_S:
            second.advance(ahead_s)
        elif ahead_s:
            second.jump(there_s)

    def _choose_row(self, place: int, row: int) -> None:
        playback = self.sides[place].playback
        repetitions = playback.trial.repetitions
        if 0 <= row < len(repetitions):
            start = repetitions[row].spans.raising.start
            playback.jump(float(playback.trial.series.time_s[start]) - RUN_UP_S)
            # The second keeps its repetition, but stands where the first does.
            self._follow()

    def _side(self, trial: Trial, place: int, *, alone: bool) -> ReviewSide:
        chosen: Callable[[int], object] = lambda row: self._choose_row(place, row)  # noqa: E731
        return ReviewSide(trial, chosen, self._troubled, alone=alone)

    def _turn(self) -> None:
        for side in self.sides:
            side.look_from(self._memory.now.stand)

    def _tell(self, text: str) -> None:
        self._message.setText(text)

    def _troubled(self, error: Exception) -> None:
        self._tell(f"▲ {tr(said('a panel failed: {}: {}', type(error).__name__, error))}")

    def _lay_out(self) -> None:
        body = self._body
        body.setPalette(look.paper())
        body.setAutoFillBackground(True)
        body.setAccessibleName(tr("review"))
        rows = QVBoxLayout(body)
        beside = QHBoxLayout()
        beside.setSpacing(24)
        for side in self.sides:
            beside.addWidget(side, 1)
        rows.addLayout(beside, 1)
        rows.addWidget(self.scrubber)
        foot = QHBoxLayout()
        keys = label(keys_in_words(REVIEW_KEYS), 9, look.QUIET.name())
        keys.setWordWrap(True)
        foot.addWidget(keys, 1)
        foot.addWidget(self._message, 0, Qt.AlignmentFlag.AlignRight)
        rows.addLayout(foot)
        self.setCentralWidget(body)


def _do(name: str, *args: Any) -> Callable[[Any], object]:
    return lambda window: getattr(window, name)(*args)


REVIEW_KEYS: tuple[Key, ...] = (
    Key(("Space",), "play or pause", _do("play_or_pause")),
    Key(("Left",), "", _do("step", -FINE_S)),
    Key(("Right",), "back and on (with Shift further)", _do("step", FINE_S), shown="← →"),
    Key(("Shift+Left",), "", _do("step", -COARSE_S)),
    Key(("Shift+Right",), "", _do("step", COARSE_S)),
    Key(("Up", "PgUp"), "", _do("next_repetition", -1)),
    Key(("Down", "PgDown"), "repetition before and after", _do("next_repetition", 1), shown="↑ ↓"),
    Key(("+", "="), "faster", _do("change_speed", 1)),
    Key(("-",), "slower", _do("change_speed", -1)),
    Key(("V",), "other side", _do("look_from_the_other_side")),
    Key(("S",), "save picture", _do("save_picture")),
    *LOOK_KEYS,
    Key(("Q", "Esc"), "close", _do("close")),
)
"""A new one is a line; what it does is a method of the window."""
