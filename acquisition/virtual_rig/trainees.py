"""Invented people at the virtual rig: how a hand of each kind behaves, as data.

Codes only; nobody real is behind them. `trainees.toml` lists those that ship.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, TypeVar

import msgspec
from msgspec import Meta

from acquisition.errors import DescriptionError
from acquisition.toml_records import read_toml, to_record

Positive = Annotated[float, Meta(gt=0)]
NotNegative = Annotated[float, Meta(ge=0)]
Degrees = Annotated[float, Meta(ge=-180, le=180)]
Habit = TypeVar("Habit", "HandHabit", "ArmHabit", "Spread")

TREMBLE_WAVES = 5
WANDER_WAVES = 3
SPREAD_LIMIT = 2.5
"""Draws beyond so many SDs are cut: a demonstration must not fall over by a rare one."""
SHIPPED = Path(__file__).with_name("trainees.toml")


class _Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A table of the file: a misspelt key is an error, not a default."""


class HandHabit(_Table, frozen=True, kw_only=True):
    """``[CODE.hand]``: the push. Defaults are a steady, well-aimed hand.

    Attributes:
        force_n: Magnitude while holding.
        force_change_percent: Slow change from the first touch to letting go.
        wander_n: SD of slow variation, slower than 0.5 Hz.
        tremble_n: SD of tremble of the magnitude, 3 to 10 Hz.
        tremble_deg: SD of tremble of each direction angle.
        azimuth_deg: 0 straight back, + lateral, at home.
        azimuth_drift_deg_per_10deg: Change with elevation.
        superior_deg: + upward, at home.
        superior_drift_deg_per_10deg: Change with elevation.
        drift_from_deg: Elevation from which the hand drifts.
        approach_s: From first touch to full force.
        full_force_s: When full force is reached, from the start of the raise; − before.
        release_after_home_s: When letting go begins, from coming home.
        release_elevation_deg: Lets go here on the way down; 0 holds until home.
        release_s: How long letting go takes.
        contact_slip_deg_per_10deg: How far the contact climbs on the head, seen from its
            centre, with elevation.
    """

    force_n: Annotated[float, Meta(gt=0, le=250)] = 40.0
    force_change_percent: Annotated[float, Meta(gt=-100, le=100)] = 0.0
    wander_n: NotNegative = 0.6
    tremble_n: NotNegative = 0.4
    tremble_deg: NotNegative = 0.4
    azimuth_deg: Degrees = 30.0
    azimuth_drift_deg_per_10deg: Degrees = 0.0
    superior_deg: Annotated[float, Meta(ge=-89, le=89)] = -5.0
    superior_drift_deg_per_10deg: Degrees = 0.0
    drift_from_deg: Annotated[float, Meta(ge=0, le=180)] = 0.0
    approach_s: Positive = 1.0
    full_force_s: Annotated[float, Meta(ge=-30, le=30)] = -1.5
    release_after_home_s: NotNegative = 0.8
    release_elevation_deg: Annotated[float, Meta(ge=0, le=180)] = 0.0
    release_s: Positive = 0.6
    contact_slip_deg_per_10deg: Degrees = 0.0


class ArmHabit(_Table, frozen=True, kw_only=True):
    """``[CODE.arm]``: how the arm is raised. Speeds are means; the peak is 1.875 times that."""

    raise_deg_s: Annotated[float, Meta(gt=0, le=400)] = 14.0
    lower_deg_s: Annotated[float, Meta(gt=0, le=400)] = 14.0
    top_pause_s: NotNegative = 1.0


class StabiliserHabit(_Table, frozen=True, kw_only=True):
    """``[CODE.stabiliser]``: the hand on the scapula block, on rigs with a cell under it.

    Attributes:
        force_n: Magnitude; 0 stays away.
        tremble_n: SD of its tremble, 3 to 10 Hz.
        release_share: Lets go after this share of the movement; 0 stays to the end.
    """

    force_n: Annotated[float, Meta(ge=0, le=250)] = 18.0
    tremble_n: Annotated[float, Meta(ge=0, le=5)] = 0.3
    release_share: Annotated[float, Meta(ge=0, le=1)] = 0.0


class Spread(_Table, frozen=True, kw_only=True):
    """``[CODE.spread]``: standard deviations from one repetition to the next."""

    top_deg: NotNegative = 2.0
    force_percent: Annotated[float, Meta(ge=0, le=20)] = 3.0
    azimuth_deg: NotNegative = 1.0
    superior_deg: NotNegative = 0.7
    speed_percent: Annotated[float, Meta(ge=0, le=20)] = 5.0
    timing_s: Annotated[float, Meta(ge=0, le=0.3)] = 0.1


class Learning(_Table, frozen=True, kw_only=True):
    """``[CODE.learning]``: comes nearer to *model*; 1/e of the way is left after *repetitions*."""

    model: str
    repetitions: Positive


class _Entry(_Table, frozen=True, kw_only=True):
    fault: Annotated[str, Meta(min_length=1, max_length=60)]
    about: str
    hand: HandHabit = HandHabit()
    arm: ArmHabit = ArmHabit()
    spread: Spread = Spread()
    stabiliser: StabiliserHabit = StabiliserHabit()
    learning: Learning | None = None

    def __post_init__(self) -> None:
        weakest = self.hand.force_n * min(1.0, 1.0 + self.hand.force_change_percent / 100.0)
        weakest *= 1.0 - SPREAD_LIMIT * self.spread.force_percent / 100.0
        waves = peak_of_waves(self.hand.tremble_n, TREMBLE_WAVES)
        waves += peak_of_waves(self.hand.wander_n, WANDER_WAVES)
        if weakest <= waves:
            raise ValueError("wander_n and tremble_n would turn the push into a pull")


@dataclass(frozen=True, slots=True)
class Trainee:
    """One invented person.

    Attributes:
        code: ``T01``, ``E01``, …
        fault: What is wrong, in a few words; ``none`` for an expert.
        about: One sentence.
        hand: The push.
        arm: The movement.
        spread: How repetitions differ.
        model: Whom the trainee comes nearer to with practice, if anyone.
        learning_repetitions: How fast.
        stabiliser: The other hand.
    """

    code: str
    fault: str
    about: str
    hand: HandHabit
    arm: ArmHabit
    spread: Spread
    model: Trainee | None = None
    learning_repetitions: float = 1.0
    stabiliser: StabiliserHabit = StabiliserHabit()  # noqa: RUF009 - frozen


def peak_of_waves(sd: float, waves: int) -> float:
    """Return the most that a sum of equal sinusoids of that SD can reach."""
    return float(sd * (2.0 * waves) ** 0.5)


def blend(own: Habit, model: Habit, share: float) -> Habit:
    """Return habits *share* of the way from *own* to *model*."""
    goal = msgspec.structs.asdict(model)
    return type(own)(
        **{
            name: (1.0 - share) * value + share * goal[name]
            for name, value in msgspec.structs.asdict(own).items()
        }
    )


def load_trainees(path: Path) -> dict[str, Trainee]:
    """Read a file of trainees.

    Raises:
        DescriptionError: It is missing or broken, a key is wrong, or a model is not there.
    """
    entries = to_record(
        read_toml(path, DescriptionError),
        dict[Annotated[str, Meta(pattern=r"^[A-Z][0-9]{2}$")], _Entry],
        where=path,
        error=DescriptionError,
    )
    found: dict[str, Trainee] = {}
    for code, entry in entries.items():
        # A model stands before its learners, so nobody learns in a circle.
        model = entry.learning and entry.learning.model
        if model and model not in found:
            raise DescriptionError(f"{path}: {code}: model {model!r} must stand before it")
        found[code] = Trainee(
            code,
            entry.fault,
            entry.about,
            entry.hand,
            entry.arm,
            entry.spread,
            found[model] if model else None,
            entry.learning.repetitions if entry.learning else 1.0,
            entry.stabiliser,
        )
    return found


TRAINEES: Mapping[str, Trainee] = MappingProxyType(load_trainees(SHIPPED))
"""Those that ship, by code."""


def trainee(code: str) -> Trainee:
    """Return a trainee that ships.

    Raises:
        DescriptionError: No such code.
    """
    if code not in TRAINEES:
        raise DescriptionError(f"no trainee {code!r}; there are {', '.join(TRAINEES)}")
    return TRAINEES[code]
