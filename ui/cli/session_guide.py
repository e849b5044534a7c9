"""What ``perpend live`` without a port leads through: the ways of other verbs, for the screens."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.said import said
from ui.cli.arguments import rig_for
from ui.cli.check import QUIET_S, findings_as_they_come
from ui.cli.ports import answer_of, listed
from ui.live.flow import Choice, Say, Ways

if TYPE_CHECKING:
    from acquisition.record import RecordProgress
    from acquisition.rig import RigDescription
    from analysis.target import Target
    from analysis.trial import QualityFinding

HANDS_OFF = "hands off, the arm hanging"
PUSH = "now push backward and a little outward, about 30 N, and hold it"


def ways(description: Path | None = None) -> Ways:
    """Return how rigs are reached.

    Args:
        description: Of the rig, where the screen names none.
    """
    return Ways(
        ports=ports_that_answer,
        rig_for=lambda url, named: rig_for(url, named or description),
        check=check_in_words,
    )


def ports_that_answer() -> Sequence[Choice]:
    """Return the serial ports here with who answers; those with a rig first."""
    found = listed()
    if not found:
        return ()
    with ThreadPoolExecutor(max_workers=len(found)) as pool:
        for entry, answer in zip(
            found, pool.map(answer_of, [one["url"] for one in found]), strict=True
        ):
            entry.update(answer)
    found.sort(key=lambda entry: entry.get("rig") is None)
    return tuple(Choice(entry["url"], _words(entry)) for entry in found)


def check_in_words(
    url: str, rig: RigDescription, target: Target, say: Say
) -> Iterator[QualityFinding]:
    """Test a rig, saying when to keep the hands off and when to push."""
    from acquisition.transports import transport_for
    from acquisition.transports.held import HeldPort

    def progress(done: RecordProgress) -> None:
        say(HANDS_OFF if done.seconds < QUIET_S else PUSH)

    say(HANDS_OFF)
    with HeldPort(transport_for(url)) as line:
        yield from findings_as_they_come(line, rig, target, progress)


def _words(entry: dict[str, Any]) -> str:
    if entry.get("rig"):
        return said("rig {} · {}", entry["rig"], entry["description"])
    return said("{} · no rig here: {}", entry["description"], entry.get("why_not", ""))
