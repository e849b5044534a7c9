"""The window: the only place that knows Qt. Nothing of Qt is imported before it is asked for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ui.errors import UserError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from acquisition.recording.model import TrialLabel
    from acquisition.rig import RigDescription
    from acquisition.sinks import SinkMaker
    from analysis.target import Target
    from analysis.trial import Trial
    from ui.live.flow import Flow, Ways
    from ui.live.moment import Trainer

__all__ = [
    "grab_guide_pictures",
    "grab_review_window",
    "grab_window",
    "open_guided_window",
    "open_live_window",
    "open_review_window",
    "use_language",
]


def open_live_window(
    port: str,
    *,
    rig: RigDescription,
    target: Target,
    out_dir: Path,
    label: TrialLabel,
    also: SinkMaker | None = None,
    prepare: Callable[[Trainer], None] | None = None,
) -> int:
    """Open the trainer window on a port and stay until it is closed.

    Args:
        port: URL of the port.
        rig: The description of the rig that must answer.
        target: What to show against.
        out_dir: Where recordings go.
        label: Who and what.
        also: Makes another listener of the session once the rig is known.
        prepare: Done with the trainer once the rig streams, such as beginning a plan.

    Returns:
        The exit code.

    Raises:
        AcquisitionError: The port or the rig cannot be used.
        ImportError: Qt is not installed.
    """
    from ui.desktop.application import run_window

    return run_window(
        port, rig=rig, target=target, out_dir=out_dir, label=label, also=also, prepare=prepare
    )


def open_guided_window(flow: Flow) -> int:
    """Open the window that leads from choosing the rig to the review; stay until it is closed.

    Args:
        flow: At its first stage; closed here.

    Returns:
        The exit code.

    Raises:
        ImportError: Qt is not installed.
    """
    from ui.desktop.guided import run_guided

    return run_guided(flow)


def open_review_window(trials: Sequence[Trial], *, out_dir: Path) -> int:
    """Open the review of one recording, or of two beside each other; stay until it is closed.

    Args:
        trials: One or two, analysed.
        out_dir: Where pictures go.

    Returns:
        The exit code.

    Raises:
        ImportError: Qt is not installed.
    """
    from ui.desktop.application import run_review

    return run_review(trials, out_dir=out_dir)


def grab_window(
    path: Path,
    port: str,
    *,
    seconds: float,
    target: Target | None = None,
    size: tuple[int, int] = (1280, 800),
    keys: str = "",
    plan: str = "",
) -> None:
    """Write a PNG of the window as it looks after some seconds of a virtual rig.

    Args:
        path: Where to; replaced if it exists.
        port: URL of a virtual rig.
        seconds: Of the rig's time.
        target: To show against; None takes the default.
        size: Of the window, pixels.
        keys: Pressed a second before the end, such as ``R``.
        plan: Followed from the beginning; empty for none.

    Raises:
        AcquisitionError: The URL names no virtual rig.
    """
    from ui.desktop.grab import grab

    grab(path, port, seconds=seconds, target=target, size=size, keys=keys, plan=plan)


def grab_review_window(
    path: Path, recordings: Sequence[Path], *, at_s: float, size: tuple[int, int] = (1280, 800)
) -> None:
    """Write a PNG of the review of one recording, or of two beside each other.

    Args:
        path: Where to; replaced if it exists.
        recordings: One or two.
        at_s: What moment of the first one is shown.
        size: Of the window, pixels.

    Raises:
        RecordingError: One cannot be read.
        NotAnalysable: One cannot be resolved.
    """
    from ui.desktop.grab import grab_review

    grab_review(path, recordings, at_s=at_s, size=size)


def grab_guide_pictures(
    folder: Path, port: str, ways: Ways, *, person: str, size: tuple[int, int] = (1280, 800)
) -> tuple[Path, ...]:
    """Write a PNG of each screen from choosing the rig to the question who practises.

    Args:
        folder: Where to; what has their names is replaced.
        port: URL of a virtual rig.
        ways: How rigs are reached.
        person: Code that is typed.
        size: Of the window, pixels.

    Returns:
        What was written.

    Raises:
        UserError: A stage is not reached.
    """
    from ui.desktop.grab_guide import grab_guide

    return grab_guide(folder, port, ways, person=person, size=size)


def use_language(code: str) -> None:
    """Speak a language in the windows that are opened from now on.

    Args:
        code: Such as ``de`` or ``de_AT``; ``en`` needs no translation.

    Raises:
        UserError: There is no translation.
        ImportError: Qt is not installed.
    """
    from PySide6.QtCore import QLocale

    known = {path.stem.partition("_")[2] for path in Path(__file__).parent.glob("perpend_*.qm")}
    known.add("en")
    if not {code, code.partition("_")[0]} & known:
        raise UserError(f"no translation {code!r}; there are: {', '.join(sorted(known))}")
    QLocale.setDefault(QLocale(code))
