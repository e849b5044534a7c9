"""From a port to what the screens show: owns the session, the ring and the live chain.

A screen calls `refresh` on its own clock and gets what is new; nothing is pushed into it. The
same code runs under a window, a test with its own clock, or none.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from acquisition.acceptance import check_rig_matches
from acquisition.clock import NS_PER_S, Clock, SystemClock
from acquisition.errors import RigError
from acquisition.health import Health
from acquisition.live_buffer import LiveBuffer, Window
from acquisition.recording.model import TrialLabel
from acquisition.rig import RigDescription
from acquisition.session import Session
from acquisition.session_thread import SessionThread
from acquisition.sinks import SinkMaker
from acquisition.transports import Transport
from acquisition.transports.base import HearsCalls
from analysis.live_chain import LiveChain
from analysis.series import ResolvedSeries
from analysis.target import Target
from analysis.zero import ZERO_EVENT
from firmware_protocol.messages import FORCE_STREAM, IMU_STREAM
from ui.live.leaning import LEVELLED, leaning
from ui.live.recorder import Recorder, RecordingState

SILENCE_S = 0.15
"""Without a resolved sample for this long the picture says so."""
VIEW_EVENT = "view"
"""Kind of the event that says from where the shoulder was shown."""
NOTE_S = 6.0
"""A message that tells of no trouble goes away after this."""


@dataclass(frozen=True, slots=True)
class FeedState:
    """What the feed knows besides the push itself.

    Attributes:
        health: Of the line.
        age_s: Since the newest resolved sample came, infinite before the first.
        message: What is wrong or was done last, for people; empty when there is nothing.
        trouble: The message tells of trouble.
        recording: How the recording stands.
        missed: Samples that left the ring before they were drawn.
        zeroed: A zero was taken.
        heading_age_s: Since the last rest at home; infinite before the first.
    """

    health: Health
    age_s: float = math.inf
    message: str = ""
    trouble: bool = False
    recording: RecordingState = field(default_factory=RecordingState)
    missed: int = 0
    zeroed: bool = False
    heading_age_s: float = math.inf

    @property
    def silent(self) -> bool:
        """Whatever could be shown is old."""
        return self.age_s > SILENCE_S


@dataclass(frozen=True, slots=True)
class _Note:
    text: str = ""
    trouble: bool = False
    stays: bool = True
    told_ns: int = 0


class LiveFeed:
    """Feeds screens from a port.

    Args:
        transport: The closed port.
        rig: The description of the rig that must answer.
        target: What to resolve against.
        out_dir: Where recordings go.
        label: Who and what.
        also: Makes another listener once the rig is known.
        clock: Another one than the machine's; then nothing runs by itself: call `step`.

    Attributes:
        rig: The description in use.
        target: What is resolved against.
        out_dir: Where recordings go.
    """

    def __init__(
        self,
        transport: Transport,
        *,
        rig: RigDescription,
        target: Target,
        out_dir: Path,
        label: TrialLabel,
        also: SinkMaker | None = None,
        clock: Clock | None = None,
    ) -> None:
        self.rig = rig
        self._also = also
        self.target = target
        self.out_dir = out_dir
        self._viewpoint = ""
        self._viewpoint_noted_in: Path | None = None
        self._clock = clock or SystemClock()
        self._transport = transport
        self._session = Session(transport, clock=self._clock)
        self._thread = SessionThread(self._session) if clock is None else None
        self._recorder = Recorder(
            self._session,
            rig=rig,
            target=target,
            label=label,
            out_dir=out_dir,
            clock=self._clock,
            tell=self.tell,
            aside=clock is None,
        )
        self._ring = LiveBuffer()
        second = (rig.stabiliser.stream,) if rig.stabiliser else ()
        self._cursors = dict.fromkeys((FORCE_STREAM, IMU_STREAM, *second), 0)
        self._chain: LiveChain | None = None
        self._segment = -1
        self._levelled = 0
        self._newest_ns: int | None = None
        self._missed = 0
        self._note = _Note()
        self._closed = False

    @property
    def failure(self) -> str:
        """Why the session ended, or what was not recorded; empty if nothing failed."""
        error = self._thread.error if self._thread is not None else None
        return f"stopped: {error}" if error is not None else self._recorder.failure

    def open(self) -> None:
        """Find the rig and begin to stream.

        Raises:
            AcquisitionError: The port or the rig cannot be used.
            NotAnalysable: The rig does not offer what a direction needs.
        """
        identity = self._session.connect()
        check_rig_matches(self.rig, identity)
        self._chain = self._new_chain()
        self._session.add_sink(self._ring)
        if self._also is not None:
            self._session.add_sink(self._also(identity))
        if self._thread is not None:
            self._thread.start()

    def step(self) -> float:
        """Do a piece of the session's work: only for a feed with a clock of its own."""
        return self._session.step()

    def refresh(self) -> ResolvedSeries | None:
        """Return the push since the last call, None if nothing new is known."""
        if self._chain is None:
            return None
        windows = {name: self._ring.since(name, at) for name, at in self._cursors.items()}
        self._begin_anew_after_a_loss(windows.values())
        for name, window in windows.items():
            self._cursors[name] = window.cursor
            self._missed += window.missed
            now = window.segment == self._segment
            self._chain.feed(name, window.device_time_us[now], window.counts[now])
        new = self._chain.take()
        if self._chain.status.levelled > self._levelled:
            self.tell(LEVELLED)
        self._levelled = self._chain.status.levelled
        if new is not None and len(new):
            self._newest_ns = self._clock.now_ns()
        return new

    def state(self) -> FeedState:
        """Return how line, recording and zero stand."""
        health = self._session.health()
        recording = self._recorder.state()
        if recording.path is not None and recording.path != self._viewpoint_noted_in:
            self._note_viewpoint(recording.path)
        note = self._standing(health)
        newest_ns, chain = self._newest_ns, self._chain
        return FeedState(
            health=health,
            age_s=math.inf if newest_ns is None else (self._clock.now_ns() - newest_ns) / NS_PER_S,
            message=note.text,
            trouble=note.trouble,
            recording=recording,
            missed=self._missed,
            zeroed=chain is not None and chain.status.zeroed,
            heading_age_s=chain.status.heading_age_s if chain else math.inf,
        )

    @property
    def label(self) -> TrialLabel:
        """Who and what the next recording is."""
        return self._recorder.label

    @label.setter
    def label(self, label: TrialLabel) -> None:
        self._recorder.label = label

    @property
    def viewpoint(self) -> str:
        """From where the shoulder is shown, in words; noted in every recording."""
        return self._viewpoint

    @viewpoint.setter
    def viewpoint(self, viewpoint: str) -> None:
        self._viewpoint = viewpoint
        self._note_viewpoint(self._recorder.state().path)

    def zero(self) -> str:
        """Take the zero from the last second; return, and tell, why not, empty if it was taken."""
        if self._chain is None:
            return "no rig is connected"
        refused = self._chain.zero()
        if not refused:
            self._session.mark(ZERO_EVENT, "hands off")
        text = f"no zero: {refused}" if refused else "zero taken"
        self.tell(text, trouble=bool(refused), stays=False)
        return refused

    def mark(self, text: str = "") -> None:
        """Note this moment in the recording."""
        self._session.mark("mark", text)
        kept = self._recorder.state().path is not None
        self.tell("moment marked" if kept else "moment marked, but nothing is being recorded")

    def note_event(self, kind: str, text: str) -> float:
        """Note an event in the recording; return when it was on the time axis of the push.

        Args:
            kind: A lower-case word.
            text: At most `acquisition.session.MAX_EVENT_BYTES` long.

        Returns:
            Seconds, as in `analysis.series.ResolvedSeries.time_s`, with the host's clock bridging
            the time since the newest block came; NaN before there is a series.
        """
        event = self._session.mark(kind, text)
        age_s = self._session.health().last_block_age_s
        if self._chain is None or age_s is None:
            return math.nan
        return self._chain.time_s(event.device_time_us) + age_s

    def call_stop(self, kind: str, text: str) -> float:
        """Call out that the movement has become uncomfortable, as `note_event`.

        A person at a virtual rig hears it too.
        """
        if isinstance(self._transport, HearsCalls):
            self._transport.hear_stop()
        return self.note_event(kind, text)

    def tell(self, text: str, *, trouble: bool = False, stays: bool | None = None) -> None:
        """Show a message to the person at the screen; from any thread.

        Args:
            text: The message.
            trouble: Something is wrong.
            stays: Until the next one; otherwise it goes away after a while. None: as trouble does.
        """
        self._note = _Note(text, trouble, trouble if stays is None else stays, self._clock.now_ns())

    @property
    def saved(self) -> Path | None:
        """The recording that was saved and checked last, None if there is none."""
        return self._recorder.saved

    def forget_saved(self) -> None:
        """Let what another person recorded be nobody's review."""
        self._recorder.saved = None
        self._recorder.failure = ""

    def wait_for_recorder(self) -> None:
        """Wait until what was asked of the recorder is done; not from a screen's thread."""
        self._recorder.wait()

    def toggle_recording(self) -> None:
        """Start a recording, or stop and check the one that runs."""
        self._recorder.toggle()

    def close(self) -> None:
        """End everything; a recording that runs is closed properly. Twice is fine."""
        if self._closed:
            return
        self._closed = True
        self._recorder.close()
        if self._thread is not None:
            self._thread.close()
        else:
            self._session.close()

    def _note_viewpoint(self, recording: Path | None) -> None:
        self._viewpoint_noted_in = recording
        if recording is not None and self._viewpoint:
            self._session.mark(VIEW_EVENT, self._viewpoint)

    def _begin_anew_after_a_loss(self, windows: Iterable[Window]) -> None:
        """Forget zero and heading when the line was away: the rig may have been switched off."""
        newest = max((int(one.segment[-1]) for one in windows if len(one.segment)), default=-1)
        if newest > self._segment:
            if self._segment >= 0:
                self._chain = self._new_chain()
            self._segment = newest

    def _new_chain(self) -> LiveChain:
        if self._session.identity is None:
            raise RigError("no rig is connected")
        return LiveChain(self.rig, self._session.identity, self.target)

    def _standing(self, health: Health) -> _Note:
        """Return what is to be said now: the line's trouble first, then the rig's."""
        if self._thread is not None and self._thread.error is not None:
            return _Note(self.failure, trouble=True)
        if health.message:
            return _Note(health.message, trouble=True)
        if self._chain is not None and (where := leaning(self._chain.status)):
            return _Note(where, trouble=True)
        note = self._note
        old = self._clock.now_ns() - note.told_ns > NOTE_S * NS_PER_S
        return _Note() if old and not note.stays else note
