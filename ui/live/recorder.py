"""Recordings started and stopped from a screen, on a session that runs anyway.

Unlike under ``perpend record`` the picture goes on when a recording fails: the disk may be full,
the lesson need not end. Files are made, closed and read back aside, so that a slow disk does
not hold up the picture.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from acquisition.blocks import StreamBlock
from acquisition.clock import NS_PER_S, Clock
from acquisition.errors import RecordingError
from acquisition.recording.index import next_trial
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.recording.writer import RecordingWriter
from acquisition.rig import RigDescription
from acquisition.session import COMPLETE, Session
from analysis.said import said
from analysis.target import Target
from firmware_protocol.messages import FORCE_STREAM
from ui.names import new_recording_path

Job = Callable[[], None]


class Tells(Protocol):
    """Shows a message to the person at the screen."""

    def __call__(self, text: str, *, trouble: bool = False) -> None:
        """Show it."""
        ...


@dataclass(frozen=True, slots=True)
class RecordingState:
    """How the recording stands.

    Attributes:
        path: The file being written, None if none is.
        seconds: How long it has run.
        rows: Force samples in it.
        minutes_left: For so long the disk has room.
    """

    path: Path | None = None
    seconds: float = 0.0
    rows: int = 0
    minutes_left: float = math.inf


class ScreenRecording(RecordingWriter):
    """A recording whose failure does not end the session.

    Attributes:
        rows: Force samples so far.
        ended_as: The status it was closed with; empty while it runs.
    """

    critical = False
    rows = 0
    ended_as = ""

    def on_block(self, block: StreamBlock) -> None:
        """Append samples."""
        super().on_block(block)
        if block.spec.name == FORCE_STREAM:
            self.rows += len(block.counts)

    def close(self, status: str = COMPLETE) -> Path:
        """Finish the file; also called by the session, when it ends or this failed."""
        try:
            return super().close(status)
        finally:
            self.ended_as = self.ended_as or status


class Recorder:
    """Starts, stops and checks recordings.

    Args:
        session: What is recorded; its rig is known.
        rig: The description in use.
        target: Written into the files.
        label: Likewise.
        out_dir: Where they go.
        clock: Times and dates them.
        tell: Takes what becomes of them.
        aside: Work with files goes to a thread; False does it in place.

    Attributes:
        failure: What was not recorded, or not saved; empty if nothing.
        saved: The recording that was saved and checked last, None before the first.
        label: Who and what the next recording is. A person's trials are numbered by what the
            folder of the day holds, unless the label has a number.
    """

    def __init__(
        self,
        session: Session,
        *,
        rig: RigDescription,
        target: Target,
        label: TrialLabel,
        out_dir: Path,
        clock: Clock,
        tell: Tells,
        aside: bool,
    ) -> None:
        self.failure = ""
        self.saved: Path | None = None
        self._session = session
        self.label = label
        self._rig, self._target = rig, target
        self._out_dir = out_dir
        self._clock = clock
        self._tell = tell
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="recorder") if aside else None
        self._wanted = False
        self._writer: ScreenRecording | None = None
        self._path: Path | None = None
        self._began_ns = 0

    def toggle(self) -> None:
        """Start a recording, or stop and check the one that runs."""
        self._wanted = not self._wanted
        self._do(self._start if self._wanted else self._stop)

    def state(self) -> RecordingState:
        """Return how it stands; notices when a recording ended by itself."""
        writer, path = self._writer, self._path
        if writer is None or path is None:
            return RecordingState()
        if writer.ended_as and self._wanted:
            self._wanted = False
            self._do(self._stop)
        seconds = (self._clock.now_ns() - self._began_ns) / NS_PER_S
        return RecordingState(path, seconds, writer.rows, writer.minutes_left)

    def wait(self) -> None:
        """Wait until everything asked so far is done."""
        if self._pool is not None:
            self._pool.submit(lambda: None).result()

    def close(self) -> None:
        """Stop and check what runs, and wait for it."""
        if self._wanted:
            self.toggle()
        if self._pool is not None:
            self._pool.shutdown(wait=True)

    def _do(self, job: Job) -> None:
        if self._pool is None:
            self._in_words(job)
        else:
            self._pool.submit(self._in_words, job)

    def _in_words(self, job: Job) -> None:
        try:
            job()
        except Exception as error:  # noqa: BLE001 - the top of a thread: told, not lost
            self._wanted = False
            self._fail(said("not recorded: {}", error))

    def _fail(self, text: str) -> None:
        self.failure = text
        self._tell(text, trouble=True)

    def _start(self) -> None:
        identity = self._session.identity
        if identity is None or self._session.state.ended:
            raise RecordingError("no rig is connected")
        path = new_recording_path(self._out_dir, self.label.person)
        label = self._numbered(path.parent)
        writer = ScreenRecording(
            path,
            identity=identity,
            rig=self._rig,
            target_json=self._target.to_json(),
            label=label,
            clock=self._clock,
        )
        self._path, self._began_ns, self._writer = path, self._clock.now_ns(), writer
        self._session.add_sink(writer)
        self._tell(said("recording {}", path.name))

    def _numbered(self, folder: Path) -> TrialLabel:
        label = self.label
        if not label.person or label.trial:
            return label
        return replace(label, trial=next_trial(folder, label.person))

    def _stop(self) -> None:
        writer, self._writer = self._writer, None
        if writer is None:
            return
        self._tell("saving and checking")
        try:
            with contextlib.suppress(ValueError):  # it failed, and the session has let it go
                self._session.remove_sink(writer)
        finally:
            path = writer.close()
        if writer.ended_as != COMPLETE:
            self._fail(said("recording {}; what came before is in {}", writer.ended_as, path.name))
            return
        found = read_recording(path).streams[FORCE_STREAM].counts
        if len(found) != writer.rows:
            raise RecordingError(f"{path}: holds {len(found)} rows, {writer.rows} were written")
        self.saved = path
        self._tell(said("saved and checked: {}", path.name))
