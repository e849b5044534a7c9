"""How line, recording and zero stand, in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from acquisition.health import LinkState
from acquisition.recording.disk import WARN_MINUTES
from analysis.said import listed, said
from firmware_protocol.messages import FORCE_STREAM
from ui.live.feed import FeedState
from ui.live.moment import Moment


@dataclass(frozen=True, slots=True)
class HealthLook:
    """One look at the line.

    Attributes:
        line: Connection, age of the newest sample, rate, loss, heading.
        well: It streams, and nothing was lost.
        recording: Seconds and rows; empty while nothing is recorded.
        banner: What is wrong, was done last, or else which file is being written.
        trouble: The banner tells of trouble.
    """

    line: str
    well: bool
    recording: str
    banner: str
    trouble: bool


class HealthModel:
    """Puts line and recording into words."""

    def look(self, moment: Moment) -> HealthLook:
        """Return the line of now."""
        feed = moment.feed
        streaming = feed.health.state is LinkState.STREAMING
        return HealthLook(
            line=listed(" · ", _parts(feed)),
            well=streaming and not feed.silent and not lost_samples(feed),
            recording=_recording(feed),
            banner=feed.message or _file(feed),
            trouble=feed.trouble,
        )


def lost_samples(feed: FeedState) -> int:
    """Return how many samples were lost anywhere on the way to the screen."""
    return feed.health.counts.missing_samples + feed.missed


def _parts(feed: FeedState) -> list[str]:
    parts = [feed.health.state.value]
    if feed.health.last_block_age_s is not None:
        parts.append(said("newest {} old", _age(feed.health.last_block_age_s)))
    rate_hz = feed.health.rates_hz.get(FORCE_STREAM)
    if rate_hz is not None:
        parts.append(f"{rate_hz:.0f} Hz")
    parts.append(said("{} lost", lost_samples(feed)))
    if math.isfinite(feed.heading_age_s):
        parts.append(said("heading {} s old", f"{feed.heading_age_s:.0f}"))
    return parts


def _age(seconds: float) -> str:
    return f"{seconds * 1e3:.0f} ms" if seconds < 1.0 else f"{seconds:.0f} s"


def _recording(feed: FeedState) -> str:
    recording = feed.recording
    if recording.path is None:
        return ""
    minutes, seconds = divmod(int(recording.seconds), 60)
    rows = f"{recording.rows:,}".replace(",", "\u202f")
    left = f"{recording.minutes_left:.0f}"
    little = said("disk {} min", left) if recording.minutes_left < WARN_MINUTES else ""
    return listed(" · ", (f"{minutes}:{seconds:02d}", said("{} rows", rows), little))


def _file(feed: FeedState) -> str:
    path = feed.recording.path
    return "" if path is None else said("recording {}", path.name)
