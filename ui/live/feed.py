"""From a port to what the screens show: owns the session, the ring and the live chain.

A screen calls `refresh` on its own clock and gets what is new; nothing is pushed into it. The
same code runs under a window, a test with its own clock, or none.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from acquisition.acceptance import check_rig_matches
from acquisition.clock import NS_PER_S, Clock, SystemClock
from acquisition.errors import AcquisitionError
from acquisition.health import Health
from acquisition.live_buffer import LiveBuffer
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.recording.writer import RecordingWriter
from acquisition.rig import RigDescription
from acquisition.session import Session
from acquisition.session_thread import SessionThread
from acquisition.transports import Transport
from analysis.live_chain import LiveChain
from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.zero import ZERO_EVENT
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM, Identity
from ui.names import new_recording_path

SILENCE_S = 0.15
"""Without a block for this long the picture says so."""


@dataclass(frozen=True, slots=True)
class FeedState:
    """What the feed knows besides the push itself.

    Attributes:
        health: Of the line.
        silent: Nothing has come for `SILENCE_S`: whatever is shown is old.
        message: What is wrong or was done last, for people; empty when all is well.
        recording: The file being written, None if none is.
        recorded_s: How long it is.
        missed: Samples that left the ring before they were drawn.
        zeroed: A zero was taken.
        heading_age_s: Since the last rest at home; NaN before the first.
    """

    health: Health
    silent: bool
    message: str
    recording: Path | None
    recorded_s: float
    missed: int
    zeroed: bool
    heading_age_s: float


class LiveFeed:
    """Feeds screens from a port.

    Args:
        transport: The closed port.
        rig: The description of the rig that must answer.
        target: What to resolve against.
        out_dir: Where recordings go.
        label: Who and what.
        clock: Another one than the machine's; then nothing runs by itself: call `step`.

    Raises on `open`: whatever keeps the port or the rig from being used.
    """

    def __init__(
        self,
        transport: Transport,
        *,
        rig: RigDescription,
        target: Target,
        out_dir: Path,
        label: TrialLabel,
        clock: Clock | None = None,
    ) -> None:
        self.rig = rig
        self.target = target
        self._out_dir = out_dir
        self._label = label
        self._clock = clock or SystemClock()
        self._session = Session(transport, clock=self._clock)
        self._thread = SessionThread(self._session) if clock is None else None
        self._ring = LiveBuffer()
        self._cursors = {FORCE_STREAM: 0, IMU_STREAM: 0}
        self._segment: int | None = None
        self._identity: Identity | None = None
        self._chain: LiveChain | None = None
        self._writer: RecordingWriter | None = None
        self._path: Path | None = None
        self._began_ns = 0
        self._missed = 0
        self._message = ""
        self._closed = False

    @property
    def delay_s(self) -> float:
        """How far the picture lags behind the hand through filtering."""
        return self._chain.delay_s if self._chain else 0.0

    def open(self) -> None:
        """Find the rig and begin to stream."""
        identity = self._session.connect()
        check_rig_matches(self.rig, identity)
        self._identity = identity
        self._chain = LiveChain(self.rig, identity, self.target)
        self._session.add_sink(self._ring)
        if self._thread is not None:
            self._thread.start()

    def step(self) -> float:
        """Do a piece of the session's work: only for a feed with a clock of its own."""
        return self._session.step()

    def refresh(self) -> ResolvedSeries | None:
        """Return the push since the last call, None if nothing new is known."""
        for name, cursor in self._cursors.items():
            window = self._ring.since(name, cursor)
            self._cursors[name] = window.cursor
            self._missed += window.missed
            if not len(window.counts) or self._chain is None:
                continue
            if self._segment is not None and window.segment[-1] != self._segment:
                self._begin_anew()
            self._segment = int(window.segment[-1])
            inside = window.segment == self._segment
            self._chain.feed(name, window.device_time_us[inside], window.counts[inside])
        return self._chain.take() if self._chain else None

    def state(self) -> FeedState:
        """Return how line, recording and zero stand."""
        health = self._session.health()
        chain = self._chain
        age = health.last_block_age_s
        return FeedState(
            health=health,
            silent=age is None or age > SILENCE_S,
            message=self._trouble() or health.message or self._message,
            recording=self._path,
            recorded_s=(self._clock.now_ns() - self._began_ns) / NS_PER_S if self._writer else 0.0,
            missed=self._missed,
            zeroed=chain.status.zeroed if chain else False,
            heading_age_s=chain.status.heading_age_s if chain else float("nan"),
        )

    def zero(self) -> None:
        """Take the zero from the last second, or say why not."""
        if self._chain is None:
            return
        refused = self._chain.zero()
        if not refused:
            self._session.mark(ZERO_EVENT, "hands off")
        self._message = f"no zero: {refused}" if refused else "zero taken"

    def mark(self, text: str = "") -> None:
        """Note this moment in the recording."""
        self._session.mark("mark", text)
        self._message = "moment marked" if self._writer else "moment marked (nothing is recorded)"

    def tell(self, message: str) -> None:
        """Show a message to the person at the screen."""
        self._message = message

    def toggle_recording(self) -> None:
        """Start a recording, or stop and check the one that runs."""
        if self._writer is None:
            self._start_recording()
        else:
            self._stop_recording()

    def close(self) -> None:
        """End everything; a recording that runs is closed properly. Twice is fine."""
        if self._closed:
            return
        self._closed = True
        if self._writer is not None and not self._session.state.ended:
            self._stop_recording()
        if self._thread is not None:
            self._thread.close()
        else:
            self._session.close()

    def _start_recording(self) -> None:
        if self._identity is None or self._session.state.ended:
            self._message = "nothing to record: no rig is connected"
            return
        path = new_recording_path(self._out_dir, self._label.person)
        try:
            self._writer = RecordingWriter(
                path,
                identity=self._identity,
                rig=self.rig,
                target_json=self.target.to_json(),
                label=self._label,
                clock=self._clock,
            )
        except AcquisitionError as error:
            self._message = f"not recording: {error}"
            return
        self._path, self._began_ns = path, self._clock.now_ns()
        self._session.add_sink(self._writer)
        self._message = f"recording {path.name}"

    def _stop_recording(self) -> None:
        writer, self._writer, self._path = self._writer, None, None
        if writer is None:
            return
        try:
            if not self._session.state.ended:
                self._session.remove_sink(writer)
            path = writer.close()
            read_recording(path)
        except AcquisitionError as error:
            self._message = f"recording not closed properly: {error}"
        else:
            self._message = f"saved and checked: {path.name}"

    def _trouble(self) -> str:
        """Return why the session ended, empty if it runs or ended well."""
        error = self._thread.error if self._thread is not None else None
        return f"stopped: {error}" if error is not None else ""

    def _begin_anew(self) -> None:
        """Forget what belongs to the stretch before: zero and heading are not to be trusted."""
        if self._identity is not None:
            self._chain = LiveChain(self.rig, self._identity, self.target)
