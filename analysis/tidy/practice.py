"""Where each recording stands: in which session of its person, after how much practice."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any

from analysis.errors import StudyError
from analysis.tidy.result import target_hash

SESSION_GAP_H = 4.0
"""Longer between the beginnings of two recordings of a person is another session. Ours: a lesson
and its break are shorter, and the night is longer."""
PRACTICE, BASELINE, RETENTION, TRANSFER = "practice", "baseline", "retention", "transfer"
SET_ASIDE = "set_aside"
WORDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        TRANSFER: ("transfer",),
        RETENTION: ("retention", "post test", "posttest", "follow up", "followup"),
        BASELINE: ("baseline", "pre test", "pretest"),
    }
)
"""Words that make a condition, or the name of a block of a practice plan, a test of what was
learned, wherever they stand in it; the first that is found counts. All others are practice. Tests
are not counted as practice and take no part in a learning curve."""
BEFORE = "before"
"""A name that begins so is a baseline too."""


@dataclass(frozen=True, slots=True)
class Head:
    """What is known of a recording beside its measures.

    Attributes:
        name: File, from the folder of the study.
        key: What its result is kept under.
        person: Code, or empty.
        started_utc: ISO 8601.
        uuid: Of the recording.
        target: Short name of the target.
        practised: How many repetitions of practice it holds, as `practised_in` counts them.
    """

    name: str
    key: str
    person: str
    started_utc: str
    uuid: str
    target: str
    practised: int


@dataclass(frozen=True, slots=True)
class Place:
    """Where a recording stands among those of its person.

    Attributes:
        name: As in `Head`.
        key: As in `Head`.
        person: As in `Head`.
        session: From 1.
        practised_before: Repetitions of practice before this recording.
    """

    name: str
    key: str
    person: str
    session: int
    practised_before: int


def head_of(name: str, key: str, result: Mapping[str, Any]) -> Head:
    """Return what is to be known of a result to place its recording."""
    facts = result["recording"]
    return Head(
        name=name,
        key=key,
        person=facts["person"],
        started_utc=facts["started_utc"],
        uuid=facts["uuid"],
        target=target_hash(result["target"]),
        practised=sum(practised_in(result)),
    )


def roles_of(result: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what each repetition of a recording stands for."""
    condition = role_of(result["recording"]["condition"])
    return tuple(_role(condition, one.get("practice")) for one in result["repetitions"])


def practised_in(result: Mapping[str, Any]) -> tuple[bool, ...]:
    """Return which repetitions of a recording count as practised: unfinished ones do not."""
    return tuple(
        role == PRACTICE and bool(one["complete"])
        for role, one in zip(roles_of(result), result["repetitions"], strict=True)
    )


def role_of(name: str) -> str:
    """Return what a condition stands for. ``retention_1_week`` is a retention too.

    Case and the signs between words do not matter: ``delayed-retention``, ``Pre_test``.
    """
    words = " ".join(re.findall(r"[^\W\d_]+|\d+", name.lower()))
    for role, known in WORDS.items():
        if any(f" {word} " in f" {words} " for word in known):
            return role
    return BASELINE if words.split(" ", maxsplit=1)[0] == BEFORE else PRACTICE


def placed(heads: Iterable[Head], session_gap_h: float = SESSION_GAP_H) -> list[Place]:
    """Return where each recording stands, by person, then time, then name.

    Args:
        heads: The recordings.
        session_gap_h: A longer pause between beginnings makes a new session.

    Raises:
        StudyError: A recording has no date that can be read.
    """
    places: list[Place] = []
    person: str | None = None
    session, practised, before = 0, 0, datetime.min.replace(tzinfo=UTC)
    for head in sorted(heads, key=lambda one: (one.person, one.started_utc, one.name)):
        started = _started(head)
        if head.person != person:
            person, session, practised = head.person, 1, 0
        elif (started - before).total_seconds() > session_gap_h * 3600.0:
            session += 1
        before = started
        places.append(Place(head.name, head.key, head.person, session, practised))
        practised += head.practised
    return places


def _role(of_recording: str, practice: Mapping[str, Any] | None) -> str:
    if practice is None:
        return of_recording
    if practice.get("set_aside"):
        return SET_ASIDE
    return of_recording if of_recording != PRACTICE else role_of(practice["block_name"])


def _started(head: Head) -> datetime:
    try:
        return datetime.fromisoformat(head.started_utc).replace(tzinfo=UTC)
    except ValueError as cause:
        raise StudyError(
            f"{head.name}: began at {head.started_utc!r}, which is no date, so its session is "
            "not known; leave it out"
        ) from cause
