"""The trainer window: places the widgets, hands them pictures, and listens to keys."""

from __future__ import annotations

import math
from collections.abc import Callable

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QCloseEvent, QKeyEvent
from PySide6.QtWidgets import QGridLayout, QLabel, QMainWindow, QVBoxLayout, QWidget

from acquisition.health import LinkState
from analysis.target import Target
from ui.desktop.gauge import Gauge, Scale
from ui.desktop.look import BAD, GOOD, INK, PAPER, QUIET, font
from ui.desktop.map_view import MapView
from ui.desktop.traces import Traces
from ui.live.phases import MovementPhase
from ui.live.screen import Picture, PushState, TrainerModel

FRAME_MS = 33
SPEED_SPAN = 2.5
KEYS = "R record · Z zero (hands off) · space mark · F11 full screen · Q quit"
CAUTION = "training aid on a rig · never on a person · your school's rules apply"


class TrainerWindow(QMainWindow):
    """Shows one feed; pulls a picture thirty times a second."""

    def __init__(self, model: TrainerModel) -> None:
        super().__init__()
        self._model = model
        target, rig = model.target, model.feed.rig
        self._map = MapView(target, rig.rig.side)
        self._verdict = self._text(20, bold=True)
        self._banner = self._text(11, bold=True)
        self._line = self._text(9)
        self._gauges = [(Gauge(scale), value) for scale, value in gauges_for(target)]
        self._traces = Traces(target)
        self._keys: dict[int, Callable[[], object]] = {
            Qt.Key.Key_R: model.feed.toggle_recording,
            Qt.Key.Key_Z: model.feed.zero,
            Qt.Key.Key_Space: model.feed.mark,
            Qt.Key.Key_F11: self._toggle_full_screen,
            Qt.Key.Key_Escape: self.showNormal,
            Qt.Key.Key_Q: self.close,
        }
        self._lay_out(f"rig {rig.rig.id} · {rig.rig.side} shoulder")
        self._timer = QTimer(self)
        self._timer.timeout.connect(self.refresh)
        self._timer.start(FRAME_MS)

    @property
    def verdict_text(self) -> str:
        """The big words below the map."""
        return self._verdict.text()

    @property
    def banner_text(self) -> str:
        """Trouble, or what was done last."""
        return self._banner.text()

    def refresh(self) -> None:
        """Pull a picture and draw it."""
        picture = self._model.refresh()
        self._map.show_picture(picture)
        self._traces.show_picture(picture)
        for gauge, value in self._gauges:
            gauge.show_value(*value(picture))
        self._say(self._verdict, *verdict(picture, self._model.target))
        self._banner.setText(banner(picture))
        self._line.setText(status_line(picture))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        action = self._keys.get(event.key())
        if action is None or event.isAutoRepeat():
            super().keyPressEvent(event)
        else:
            action()

    def closeEvent(self, event: QCloseEvent) -> None:
        self._timer.stop()
        self._model.feed.close()
        super().closeEvent(event)

    def _lay_out(self, title: str) -> None:
        self.setWindowTitle(f"perpend · {title}")
        body = QWidget()
        body.setStyleSheet(f"background: {PAPER.name()}; color: {INK.name()};")
        grid = QGridLayout(body)
        grid.setContentsMargins(16, 10, 16, 10)
        grid.setHorizontalSpacing(18)
        head = self._text(11)
        head.setText(title)
        keys, caution = self._text(9), self._text(9)
        keys.setText(KEYS)
        caution.setText(CAUTION)
        for quiet in (keys, caution):
            quiet.setStyleSheet(f"color: {QUIET.name()};")
        right = QVBoxLayout()
        for gauge, _ in self._gauges:
            right.addWidget(gauge)
        right.addWidget(self._traces, stretch=1)
        grid.addWidget(head, 0, 0)
        grid.addWidget(self._banner, 0, 1)
        grid.addWidget(self._map, 1, 0)
        grid.addLayout(right, 1, 1)
        grid.addWidget(self._verdict, 2, 0, Qt.AlignmentFlag.AlignHCenter)
        grid.addWidget(self._line, 2, 1)
        grid.addWidget(keys, 3, 0)
        grid.addWidget(caution, 3, 1)
        grid.setColumnStretch(0, 5)
        grid.setColumnStretch(1, 4)
        grid.setRowStretch(1, 1)
        self.setCentralWidget(body)
        self.resize(1280, 800)
        self.setMinimumSize(960, 640)

    def _text(self, points: float, *, bold: bool = False) -> QLabel:
        label = QLabel()
        label.setFont(font(points, bold=bold))
        label.setWordWrap(points < 20)
        return label

    def _say(self, label: QLabel, text: str, colour: str) -> None:
        label.setText(text)
        label.setStyleSheet(f"color: {colour};")

    def _toggle_full_screen(self) -> None:
        if self.isFullScreen():
            self.showNormal()
        else:
            self.showFullScreen()


Shown = Callable[[Picture], tuple[float, str]]


def gauges_for(target: Target) -> list[tuple[Scale, Shown]]:
    """Return the gauges of the window, and what each shows of a picture. A new one is a line."""
    limit, band = target.superior_limit_deg, target.force_band
    fastest = target.elevation_speed_limit_deg_s
    return [
        (
            Scale(
                "Upward", "°", -20, 20, (-20, limit), (-20, -10, 0, 10, 20), decimals=0, signed=True
            ),
            lambda picture: (picture.superior_deg, upward_word(picture, limit)),
        ),
        (
            Scale("Force", "N", 0, 2 * band.high_n, (band.low_n, band.high_n),
                  (0, band.low_n, band.high_n, 2 * band.high_n)),
            lambda picture: (picture.force_n, _force_word(picture, band.low_n, band.high_n)),
        ),
        (
            Scale("Elevation", "°", 0, 180, (0, 180), (0, 30, 60, 90, 120, 150, 180)),
            lambda picture: (picture.elevation_deg, _phase_word(picture)),
        ),
        (
            Scale("Speed", "°/s", 0, SPEED_SPAN * fastest, (0, fastest), (0, fastest, 2 * fastest)),
            lambda picture: (
                abs(picture.speed_deg_s),
                "too fast" if abs(picture.speed_deg_s) > fastest else "",
            ),
        ),
    ]  # fmt: skip


def upward_word(picture: Picture, limit_deg: float) -> str:
    """Return what the upward part means, in a word or two."""
    if not math.isfinite(picture.superior_deg):
        return ""
    force = f"{picture.superior_force_n:+.1f} N".replace("-", "−")
    return f"slipping upward, {force}" if picture.superior_deg > limit_deg else f"fine, {force}"


def _force_word(picture: Picture, low_n: float, high_n: float) -> str:
    unmeasured = (PushState.NO_CONTACT, PushState.NO_DATA, PushState.NO_ZERO)
    if picture.state in unmeasured or not math.isfinite(picture.force_n):
        return str(picture.state.value)
    if picture.force_n < low_n:
        return "press harder"
    return "press more lightly" if picture.force_n > high_n else "in the band"


def _phase_word(picture: Picture) -> str:
    if picture.state is PushState.NO_DATA:
        return ""
    done = f"{picture.repetitions} done" if picture.repetitions else ""
    phase = picture.phase.value if picture.phase is not MovementPhase.HOME else "arm at home"
    return " · ".join(filter(None, (phase, done)))


def verdict(picture: Picture, target: Target) -> tuple[str, str]:
    """Return the big words below the map, and their colour."""
    if picture.state is not PushState.DIRECTION:
        return picture.state.value, QUIET.name()
    if picture.on_target:
        return "on target: keep it", GOOD.name()
    if picture.superior_deg > target.superior_limit_deg:
        return "▾ lower: no upward push", BAD.name()
    if math.hypot(*picture.map_deg) > target.cone_deg:
        return _way_back(picture), BAD.name()
    return (
        "press harder" if picture.force_n < target.force_band.low_n else "press more lightly"
    ), (BAD.name())


def _way_back(picture: Picture) -> str:
    lateral, superior = picture.map_deg
    if abs(superior) > abs(lateral):
        return "▴ less far down" if superior < 0 else "▾ lower"
    return "further outward" if lateral < 0 else "less far outward"


def banner(picture: Picture) -> str:
    """Return what the line has to say on top: trouble, or what was done last."""
    feed = picture.feed
    if feed.recording is not None:
        return f"● recording {feed.recorded_s:.0f} s · {feed.message}"
    return feed.message


def status_line(picture: Picture) -> str:
    """Return connection, age of the newest sample, loss and heading in one line."""
    feed, counts = picture.feed, picture.feed.health.counts
    age = feed.health.last_block_age_s
    parts = [feed.health.state.value]
    if feed.health.state is LinkState.STREAMING and age is not None:
        parts.append(f"newest sample {age * 1e3:.0f} ms old")
    lost = counts.lost_samples + counts.rig_overrun_samples + counts.dropped_by_host_samples
    parts.append(f"{lost + feed.missed} samples lost")
    if math.isfinite(feed.heading_age_s):
        parts.append(f"heading {feed.heading_age_s:.0f} s old")
    return " · ".join(parts)
