"""The one thing to say now, in a few words: what to change, or that nothing is to be changed.

Upward slip comes first, then releasing early, too fast, direction, force: the order of the
criteria (`analysis.criteria`), but for steadiness, which is no matter of a moment.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np

from acquisition.health import LinkState
from analysis.repetitions import RepetitionSettings
from ui.live.elevation import arm_of
from ui.live.force_band import is_unsteady
from ui.live.moment import Moment
from ui.live.push import PushState

CALM_S = 0.3


class Tone(Enum):
    """What kind of words they are."""

    GOOD = "good"
    CHANGE = "change"
    WAIT = "wait"


@dataclass(frozen=True, slots=True)
class VerdictLook:
    """The words of now.

    Attributes:
        tone: What kind of words.
        text: The words.
    """

    tone: Tone
    text: str


WAITING = {
    PushState.TOO_LIGHT: "press more to see where it goes",
    PushState.NO_HEADING: "let the arm rest at home for a moment",
    PushState.NO_CONTACT: "put the hand on",
    PushState.NO_DATA: "nothing comes from the rig",
    PushState.NO_ZERO: "hand away, arm at home and still",
}


class VerdictModel:
    """Finds the words for a moment; must see every moment.

    While there is a direction the words change only when they have been other ones for a
    while: at a limit they would flicker, and the pictures show it at once anyway.
    """

    def __init__(self) -> None:
        self._shown = VerdictLook(Tone.WAIT, "")
        self._differs_since_s = math.inf

    def look(self, moment: Moment) -> VerdictLook:
        """Return the words of now."""
        found = verdict_of(moment)
        called = moment.drill is not None and moment.drill.letting_go
        aimed = moment.state is PushState.DIRECTION and not called
        speaking = aimed and self._shown.tone is not Tone.WAIT
        calm = speaking and found != self._shown
        now_s = float(moment.recent[-1].time_s[-1]) if moment.recent else math.inf
        self._differs_since_s = min(self._differs_since_s, now_s) if calm else math.inf
        if not calm or now_s - self._differs_since_s >= CALM_S:
            self._shown, self._differs_since_s = found, math.inf
        return self._shown


def verdict_of(moment: Moment) -> VerdictLook:
    """Return the words for a moment, whatever was said before."""
    if moment.state is PushState.NO_DATA and moment.feed.health.state is LinkState.FINISHED:
        return VerdictLook(Tone.WAIT, "the end: nothing more will come")
    if moment.drill is not None and moment.drill.letting_go:
        return _letting_go(moment)
    if moment.state is PushState.NO_CONTACT and arm_of(moment)[0] > RepetitionSettings().home_deg:
        return VerdictLook(Tone.CHANGE, "keep the hand on until the arm is down")
    if moment.state is PushState.SATURATED:
        return VerdictLook(Tone.CHANGE, "more than the rig can measure: press less")
    if moment.state is not PushState.DIRECTION:
        return VerdictLook(Tone.WAIT, WAITING[moment.state])
    change = next(filter(None, (words(moment) for words in CHANGES)), "")
    if change:
        return VerdictLook(Tone.CHANGE, change)
    return VerdictLook(Tone.GOOD, "on target: keep it")


def _letting_go(moment: Moment) -> VerdictLook:
    """Return what to say after a call to stop, when nothing is right but to let go."""
    if moment.state is PushState.NO_CONTACT:
        return VerdictLook(Tone.GOOD, "hand off: right; let the arm come down")
    return VerdictLook(Tone.CHANGE, "ease off at once")


def _upward(moment: Moment) -> str:
    over = moment.push.superior_deg > moment.target.superior_limit_deg
    return "less upward: push lower" if over else ""


def _speed(moment: Moment) -> str:
    _, speed_deg_s = arm_of(moment)
    return "slower" if abs(speed_deg_s) > moment.target.elevation_speed_limit_deg_s else ""


def _aim(moment: Moment) -> str:
    lateral, superior = moment.push.map_deg
    if np.hypot(lateral, superior) <= moment.target.cone_deg:
        return ""
    if abs(superior) > abs(lateral):
        return "too far down" if superior < 0 else "push lower"
    return "more lateral" if lateral < 0 else "less lateral"


def _force(moment: Moment) -> str:
    band = moment.target.force_band
    if moment.push.magnitude_n < band.low_n:
        return "press harder"
    return "press more lightly" if moment.push.magnitude_n > band.high_n else ""


def _steady(moment: Moment) -> str:
    return "steadier: lean in with the body" if is_unsteady(moment) else ""


CHANGES: tuple[Callable[[Moment], str], ...] = (_upward, _speed, _aim, _force, _steady)
"""In order; each gives the words for its fault, empty if there is none. Releasing early comes
before: there is no push then."""
