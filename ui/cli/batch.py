"""Going through several recordings: one that is bad is told and skipped, the others go on."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from ui.cli.exit_codes import DONE, FAILED, INCOMPLETE
from ui.errors import UserError

if TYPE_CHECKING:
    from analysis.reference.evidence import RecordingEvidence
    from analysis.target import Target
    from analysis.trial import Trial

Result = TypeVar("Result")


def recordings_in(paths: Iterable[Path], *, left: bool = False) -> list[Path]:
    """Return the files named, and the recordings inside the folders named, each once.

    Args:
        paths: Files and folders.
        left: Those too that recorders left that were killed, or are at work.

    Raises:
        UserError: A folder holds no recording.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = _also_left(path) if left else sorted(path.rglob("*.h5"))
            if not inside:
                raise UserError(f"{path}: holds no recording (*.h5)")
            found += inside
        else:
            found.append(path)
    return list(dict.fromkeys(found))


def _also_left(folder: Path) -> list[Path]:
    from acquisition.recording.index import recording_files

    return list(recording_files(folder))


class Batch:
    """Several recordings, done one after another.

    Args:
        verb: Who is at work, for messages.
        files: The recordings.
        doing: What is done with each, for the progress line.
    """

    def __init__(self, verb: str, files: list[Path], doing: str) -> None:
        self._verb, self._files, self._doing = verb, files, doing
        self._bad = 0

    def done(self, work: Callable[[Path], Result]) -> Iterator[Result]:
        """Yield what *work* gives for each recording that is good.

        Raises:
            UserError: The only recording there is is bad.
        """
        from acquisition.errors import AcquisitionError
        from analysis.errors import AnalysisError
        from ui.cli.progress import tracked

        with closing(tracked(self._files, self._doing)) as paths:
            for path in paths:
                try:
                    result = work(path)
                except (AcquisitionError, AnalysisError) as error:
                    text = str(error) if str(path) in str(error) else f"{path}: {error}"
                    if len(self._files) == 1:
                        raise UserError(text) from error
                    self._skip(text)
                else:
                    yield result

    @property
    def exit_code(self) -> int:
        """How it went; to be asked at the end."""
        if not self._bad:
            return DONE
        return FAILED if self._bad == len(self._files) else INCOMPLETE

    def _skip(self, text: str) -> None:
        self._bad += 1
        print(f"perpend {self._verb}: skipped {text}", file=sys.stderr)


def trial_of(path: Path, target: Target | None) -> Trial:
    """Return a recording measured, against its own target if *target* is None.

    Raises:
        AcquisitionError: It cannot be read.
        AnalysisError: It cannot be measured.
    """
    from acquisition.recording.reader import read_recording
    from analysis.pipeline import analyse

    return analyse(read_recording(path), target)


def evidence_in(path: Path, target: Target | None) -> RecordingEvidence:
    """Return what a recording tells beside others, measured as by `trial_of`.

    Raises:
        AcquisitionError: It cannot be read, or was changed after it was closed.
        AnalysisError: It cannot be measured.
    """
    from acquisition.recording.reader import read_unchanged
    from analysis.pipeline import analyse
    from analysis.reference.evidence import evidence_of

    return evidence_of(analyse(read_unchanged(path), target))
