"""Notes in a new recording that the hand is away, as soon as that has been seen in it.

The zero of the screen is often taken before a recording begins. What is analysed afterwards must
not have to guess which rest was one with the hand off: the event says so, and the analysis still
looks whether the cell was quiet then.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from analysis.repetition_settings import RepetitionSettings
from analysis.series import ResolvedSeries
from analysis.zero import ZERO_EVENT, ZERO_EVENT_S
from ui.live.feed import LiveFeed

SEEN_S = ZERO_EVENT_S + 0.3
"""Longer than what the event stands for: blocks come in late."""
HOME_RAD = float(np.deg2rad(RepetitionSettings().home_deg))


class ZeroNote:
    """Follows what comes; must see every new row.

    Args:
        feed: Told of the event.
    """

    def __init__(self, feed: LiveFeed) -> None:
        self._feed = feed
        self._path: Path | None = None
        self._rested_s = 0.0
        self._noted = False

    def follow(self, new: ResolvedSeries) -> None:
        """Note it once in each recording."""
        state = self._feed.state()
        path = state.recording.path
        if path != self._path:
            self._path, self._rested_s, self._noted = path, 0.0, False
        if path is None or self._noted or not state.zeroed:
            return
        away = not new.contact.any() and not new.missing.any()
        home = bool((new.elevation_rad < HOME_RAD).all())
        self._rested_s = self._rested_s + len(new) / new.fs_hz if away and home else 0.0
        if self._rested_s >= SEEN_S:
            self._feed.note_event(ZERO_EVENT, "hands off")
            self._noted = True
