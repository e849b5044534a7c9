"""Records one trial from a port into a file, and says how it went."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from acquisition.acceptance import check_rig_matches
from acquisition.blocks import StreamBlock
from acquisition.clock import Clock, SystemClock
from acquisition.errors import TransportLost
from acquisition.link import SILENT_EVENT
from acquisition.recording.model import Event, LinkCounts, TrialLabel
from acquisition.recording.naming import refuse_taken
from acquisition.recording.raw_log import RAW_LOG_EVENT, Kind, RawLogWriter
from acquisition.recording.writer import RecordingWriter
from acquisition.rig import RigDescription
from acquisition.session import COMPLETE, Session, SessionThread
from acquisition.sinks import SinkBase, SinkMaker
from acquisition.transports import Transport, transport_for
from acquisition.transports.logged import LoggedPort

PATIENCE_S = 30.0
"""A cable is plugged in again within this, or not at all."""
PROGRESS_INTERVAL_S = 0.1


@dataclass(frozen=True, slots=True)
class RecordProgress:
    """How far a recording is.

    Attributes:
        seconds: Recorded so far, by the rig's clock.
        samples: Of all streams together.
        lost_samples: Wherever they were lost.
        minutes_left: For so long the disk has room.
        trouble: What is wrong with the line, empty while it is well.
    """

    seconds: float
    samples: int
    lost_samples: int
    minutes_left: float = math.inf
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class RecordOutcome:
    """How a recording went.

    Attributes:
        path: The closed file.
        status: ``complete`` or ``stopped: <reason>``, as in the file.
        counts: The accounts of this recording.
        seconds: Recorded, by the rig's clock.
        interrupted: By the keyboard.
        breaks: How often the line or the rig was away meanwhile.
        silent: What fell silent while the rest went on, a sentence for each time.
    """

    path: Path
    status: str
    counts: LinkCounts
    seconds: float
    interrupted: bool
    breaks: int = 0
    silent: tuple[str, ...] = ()

    @property
    def whole(self) -> bool:
        """Whether it ended as meant, without a break, and not one sample is missing."""
        trouble = self.lost_samples or self.breaks or self.silent
        return self.status == COMPLETE and not trouble

    @property
    def lost_samples(self) -> int:
        """Samples missing, wherever they were lost."""
        return self.counts.missing_samples


def record_trial(
    source: str | Transport,
    out: Path,
    *,
    rig: RigDescription,
    target_json: str = "",
    label: TrialLabel = TrialLabel(),  # noqa: B008 - frozen
    seconds: float | None = None,
    raw_log: bool = False,
    also: SinkMaker | None = None,
    clock: Clock | None = None,
    progress: Callable[[RecordProgress], None] = lambda _: None,
) -> RecordOutcome:
    """Record until the source is finished, *seconds* are had, Ctrl-C, or the line stays away.

    Args:
        source: Port URL, or a closed transport.
        out: The file; neither it nor its part file may exist.
        rig: The description of the rig that must answer.
        target_json: The target to keep with the recording, empty if none.
        label: Who and what.
        seconds: Of the rig's time; None: no limit, and Ctrl-C is then the way to end.
        raw_log: Keep the very bytes of the line beside the file, see `recording.raw_log`.
        also: Makes another listener once the rig is known.
        clock: Another one than the machine's.
        progress: Called now and then with what is recorded so far.

    Raises:
        PortError: The port cannot be opened.
        RigError: Nothing usable answers.
        DescriptionError: *rig* describes another rig.
        RecordingError: The file cannot be written; what was recorded is in its part file.
        TransportLost: The line went away before the rig was known.
    """
    refuse_taken(out)
    clock = clock or SystemClock()
    transport = transport_for(source) if isinstance(source, str) else source
    log = RawLogWriter(out, clock=clock) if raw_log else None
    session = Session(
        transport if log is None else LoggedPort(transport, log), clock=clock, patience_s=PATIENCE_S
    )
    try:
        identity = session.connect()
        check_rig_matches(rig, identity)
        if also is not None:
            session.add_sink(also(identity))
        writer = RecordingWriter(
            out, identity=identity, rig=rig, target_json=target_json, label=label, clock=clock
        )
    except BaseException:
        session.close("stopped: it never began")
        if log is not None:
            log.discard()
        raise
    watch = _StopWatch(session, seconds)
    session.add_sink(watch)
    session.add_sink(writer)
    cut_short = COMPLETE if seconds is None else "stopped: by the keyboard, before the time was up"
    with _belonging(log, writer, session):
        interrupted = _run(
            session,
            lambda: progress(
                replace(
                    watch.progress,
                    minutes_left=writer.minutes_left,
                    trouble=session.health().message,
                )
            ),
            if_interrupted=cut_short,
        )
    return RecordOutcome(
        path=writer.close(),
        status=session.status,
        counts=watch.counts,
        seconds=watch.seconds,
        interrupted=interrupted,
        breaks=watch.breaks,
        silent=tuple(watch.silent),
    )


@contextmanager
def _belonging(
    log: RawLogWriter | None, writer: RecordingWriter, session: Session
) -> Iterator[None]:
    """Say in the recording and its raw log that they belong together; close the log at the end."""
    if log is None:
        yield
        return
    log.add(Kind.RECORDING, writer.uuid.encode())
    session.mark(RAW_LOG_EVENT, "the bytes of the line are kept beside this recording")
    try:
        yield
    finally:
        log.close()


def _run(session: Session, report: Callable[[], None], *, if_interrupted: str) -> bool:
    """Step to the end in a thread of its own, where Ctrl-C cannot tear a write apart."""
    thread = SessionThread(session)
    interrupted = False
    thread.start()
    try:
        while not thread.wait(PROGRESS_INTERVAL_S):
            report()
    except KeyboardInterrupt:
        interrupted = True
        session.finish(if_interrupted)
    finally:
        thread.close()
    report()
    if thread.error is not None and not isinstance(thread.error, TransportLost):
        raise thread.error
    return interrupted


class _StopWatch(SinkBase):
    """Counts the rig's time in all segments, keeps the accounts, and ends when enough is had."""

    def __init__(self, session: Session, limit_s: float | None) -> None:
        self._session = session
        self._limit_s = limit_s
        self._segment = -1
        self._from_us = 0
        self._earlier_us = 0
        self._last_us = 0
        self._samples = 0
        self._counts_before: LinkCounts | None = None
        self._counts = LinkCounts()
        self.breaks = 0
        self.silent: list[str] = []

    @property
    def counts(self) -> LinkCounts:
        return self._counts.since(self._counts_before or LinkCounts())

    @property
    def seconds(self) -> float:
        return (self._earlier_us + self._last_us - self._from_us) * 1e-6

    @property
    def progress(self) -> RecordProgress:
        return RecordProgress(self.seconds, self._samples, self.counts.missing_samples)

    def on_block(self, block: StreamBlock) -> None:
        self._samples += len(block)
        if block.segment != self._segment:
            self.breaks += self._segment >= 0
            self._earlier_us += self._last_us - self._from_us
            self._from_us = self._last_us = int(block.device_time_us[0])
            self._segment = block.segment
        self._last_us = max(self._last_us, block.end_us)
        if self._limit_s is not None and self.seconds >= self._limit_s:
            self._session.finish()

    def on_event(self, event: Event) -> None:
        if event.kind == SILENT_EVENT:
            self.silent.append(event.text)

    def on_step(self, counts: LinkCounts) -> None:
        self._counts_before = self._counts_before or counts
        self._counts = counts
