"""An invented class at the virtual rig over some days: who learns what, and how people differ.

Codes only; nobody real is behind them, and all numbers are our own choice.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
import numpy as np

from acquisition.clock import ManualClock
from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.transports.virtual import VirtualPort
from acquisition.virtual_rig.rigs import default_rig
from acquisition.virtual_rig.trainees import HandHabit, Trainee, blend, trainee
from acquisition.virtual_rig.virtual_rig import VirtualRig

FIRST_DAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
DAYS_APART = 7
TRIAL_MINUTES = 5
KINDS = ("T02", "T09", "T01", "T05", "T08", "T10")
"""What is wrong with the people at first, in turn."""
MODEL = "E01"
FORGOTTEN = 0.15
"""Share of what was learned that is gone at the test of retention."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviations of how a hand differs, between people or from day to day.

    Attributes:
        force_n: Of the force.
        azimuth_deg: Of the aim.
        superior_deg: Of the aim.
    """

    force_n: float
    azimuth_deg: float
    superior_deg: float


PEOPLE = Spread(force_n=5.0, azimuth_deg=2.0, superior_deg=1.5)
DAYS = Spread(force_n=2.0, azimuth_deg=1.0, superior_deg=0.8)


@dataclass(frozen=True, slots=True)
class Sitting:
    """One trial of one person of the class.

    Attributes:
        label: Who and what.
        started: When.
        person: How the hand is by then.
        side: Of the rig.
        seed: Makes the rest.
        repetitions: How many.
    """

    label: TrialLabel
    started: datetime
    person: Trainee
    side: str
    seed: int
    repetitions: int

    @property
    def file_name(self) -> str:
        """Name of its recording."""
        return f"{self.label.person}_{self.label.trial:02d}.h5"


def sittings(
    people: int = 6, *, days: int = 3, trials: int = 3, repetitions: int = 3, seed: int = 1
) -> Iterator[Sitting]:
    """Yield the trials of a class, person by person.

    Each begins with a test without help, practises on every day but the last, and on the last
    is tested without help, then on the other side.

    Args:
        people: How many.
        days: A week apart; at least two.
        trials: Of practice on each day of practice.
        repetitions: In each trial.
        seed: Another, another class.
    """
    for number in range(people):
        code = f"T{number + 21:02d}"
        rng = np.random.default_rng([seed, number])
        start = trainee(KINDS[number % len(KINDS)])
        slowness = float(rng.uniform(0.8, 2.0)) * trials * repetitions
        own = _shifted(start.hand, PEOPLE, rng)
        practised, trial = 0, 0
        for day in range(days):
            today = _shifted(HandHabit(force_n=40.0), DAYS, rng)
            for condition, side in _programme(day, days, trials):
                kept = 1.0 - FORGOTTEN if day == days - 1 else 1.0
                share = kept * (1.0 - math.exp(-practised / slowness))
                hand = blend(own, trainee(MODEL).hand, share)
                hand = msgspec.structs.replace(
                    hand,
                    force_n=max(15.0, hand.force_n + today.force_n - 40.0),
                    azimuth_deg=hand.azimuth_deg + today.azimuth_deg - 30.0,
                    superior_deg=hand.superior_deg + today.superior_deg + 5.0,
                )
                trial += 1
                yield Sitting(
                    label=TrialLabel(code, condition, "invented", trial),
                    started=FIRST_DAY
                    + timedelta(days=DAYS_APART * day, minutes=TRIAL_MINUTES * trial + 60 * number),
                    person=replace(start, code=code, hand=hand, model=None),
                    side=side,
                    seed=1000 * number + trial,
                    repetitions=repetitions,
                )
                practised += repetitions if condition == "with_feedback" else 0


def record_sitting(folder: Path, sitting: Sitting, *, top_deg: float, target_json: str) -> Path:
    """Record a trial of the class and return the file.

    Args:
        folder: Where to.
        sitting: The trial.
        top_deg: How high the arm is raised.
        target_json: The target to keep with it.

    Raises:
        RecordingError: It is there already, or cannot be written.
    """
    rig = default_rig(sitting.side, 3)
    virtual = VirtualRig(
        rig, sitting.person, seed=sitting.seed, repetitions=sitting.repetitions, top_deg=top_deg
    )
    return record_trial(
        VirtualPort(f"virtual rig of {sitting.label.person}", virtual, speed=math.inf),
        folder / sitting.file_name,
        rig=rig,
        target_json=target_json,
        label=sitting.label,
        clock=ManualClock(sitting.started),
    ).path


def _programme(day: int, days: int, trials: int) -> list[tuple[str, str]]:
    """Return condition and side of each trial of a day."""
    if day == days - 1:
        return [("retention", "right"), ("transfer_side", "left")]
    first = [("baseline", "right")] if day == 0 else []
    return [*first, *[("with_feedback", "right")] * trials]


def _shifted(hand: HandHabit, spread: Spread, rng: np.random.Generator) -> HandHabit:
    force, azimuth, superior = np.clip(rng.standard_normal(3), -2.0, 2.0).tolist()
    return msgspec.structs.replace(
        hand,
        force_n=hand.force_n + spread.force_n * force,
        azimuth_deg=hand.azimuth_deg + spread.azimuth_deg * azimuth,
        superior_deg=hand.superior_deg + spread.superior_deg * superior,
    )
