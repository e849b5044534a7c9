"""What came over a line, accounted for: blocks unwrapped, losses and oddities counted."""

from __future__ import annotations

from acquisition.blocks import StreamBlock
from acquisition.recording.model import LinkCounts
from acquisition.stream_tracker import MAX_TIME_US, StreamTracker
from firmware_protocol.codec import BLOCK_TYPE, MAX_BLOCK_SAMPLES, Malformed, decode
from firmware_protocol.framing import FrameFault
from firmware_protocol.messages import RigMessage, SampleBlock, Status, StreamSpec
from firmware_protocol.runs import BlockRun

COUNTER = 1 << 32
"""The rig's counters go on at 0."""
SILENT_US = 1_000_000
"""A stream that owes more than the longest block and this, while the rig goes on, is silent."""


class ClockWentBack(Exception):
    """The rig tells an earlier time than before: it has restarted."""


class Intake:
    """Keeps the accounts of one line over all its segments.

    Attributes:
        segment: Which stretch this is, −1 before the first.
        trackers: By stream number, of this segment.
        device_time_us: The rig's clock as last heard.
        block_ns: When the last block came, None before the first.
    """

    def __init__(self) -> None:
        self.segment = -1
        self.trackers: dict[int, StreamTracker] = {}
        self.device_time_us = 0
        self.block_ns: int | None = None
        self._tally = dict.fromkeys(LinkCounts.__slots__, 0)
        self._overrun_samples: int | None = None
        self._overrun_us = 0
        self._began_us: int | None = None
        self._status_us = 0

    @property
    def counts(self) -> LinkCounts:
        """The accounts so far."""
        return LinkCounts(**self._tally)

    def begin_segment(self, streams: tuple[StreamSpec, ...]) -> None:
        """Expect every stream to count from 0 again."""
        self.segment += 1
        self._began_us = None
        self._status_us = 0
        self.trackers = {spec.stream_id: StreamTracker(spec, self.segment) for spec in streams}

    def silent_streams(self) -> tuple[str, ...]:
        """Return which streams have brought nothing for long, though the rig's time goes on."""
        if self._began_us is None:
            return ()
        return tuple(
            tracker.spec.name
            for tracker in self.trackers.values()
            if self.device_time_us - max(tracker.last_us, self._began_us)
            > SILENT_US + MAX_BLOCK_SAMPLES * 1e6 / tracker.spec.rate_hz
        )

    def _go_on_to(self, device_time_us: int) -> None:
        self.device_time_us = device_time_us
        if self._began_us is None:
            self._began_us = device_time_us

    def sort(self, item: RigMessage | FrameFault | Malformed) -> RigMessage | None:
        """Count a frame; return its message, None if it holds none."""
        if isinstance(item, FrameFault):
            self._tally["bad_frames"] += 1
            return None
        self._tally["frames"] += 1
        if isinstance(item, Malformed):
            self._tally["unknown_messages"] += 1
            return None
        return item

    def drop(self, raw: SampleBlock) -> None:
        """Account for a block between two segments; before the first it is not ours."""
        self._tally["dropped_by_host_samples"] += raw.sample_count * (self.segment >= 0)

    def take_run(self, run: BlockRun, now_ns: int) -> list[StreamBlock] | None:
        """Return a run as one block of arrays for each stream.

        Returns:
            None, and nothing is counted, unless every block of it is plainly the next of its
            stream, and there is nothing to say of any status: then `sort` and `take` them one
            by one, which has the same outcome.
        """
        statuses = self._plain_statuses(run)
        blocks = None if statuses is None else self._plain_blocks(run, now_ns)
        if blocks is None or statuses is None:
            return None
        self._tally["frames"] += len(run.sealed)
        for status in statuses:
            self.take_status(status)
        for stream_id, block in blocks.items():
            self.trackers[stream_id].accept_run(block)
            self.block_ns = now_ns
        if run.kinds[-1] == BLOCK_TYPE:
            self._go_on_to(blocks[run.sealed[-1][1]].end_us)
        return list(blocks.values())

    def _plain_statuses(self, run: BlockRun) -> list[Status] | None:
        """Return the statuses of a rig that streams on, None if it does not or cannot be told."""
        statuses, last_us = [], self._status_us
        for payload in run.statuses():
            status = decode(payload)
            if not isinstance(status, Status) or not status.streaming:
                return None
            if not last_us <= status.device_time_us < MAX_TIME_US:
                return None
            last_us = status.device_time_us
            statuses.append(status)
        return statuses

    def _plain_blocks(self, run: BlockRun, now_ns: int) -> dict[int, StreamBlock] | None:
        blocks = {}
        for stream_id, sealed in run.blocks().items():
            tracker = self.trackers.get(stream_id)
            block = None if tracker is None else tracker.plain_run(sealed, now_ns)
            if block is None:
                return None
            blocks[stream_id] = block
        return blocks

    def take(self, raw: SampleBlock, now_ns: int) -> StreamBlock | None:
        """Return a block as arrays, None if it comes twice, too late, or makes no sense.

        Raises:
            ClockWentBack: The rig must have restarted; the block is dropped, and counted.
        """
        tracker = self.trackers.get(raw.stream_id)
        if tracker is None or not tracker.fits(raw):
            self._tally["unknown_messages"] += 1
            return None
        if tracker.clock_went_back(raw):
            self.drop(raw)
            raise ClockWentBack
        tracked = tracker.take(raw, now_ns)
        self._tally["lost_samples"] += tracked.lost - tracked.reordered
        self._tally["reordered_samples"] += tracked.reordered
        self._tally["repeated_samples"] += tracked.repeated
        if tracked.block is not None:
            self.block_ns = now_ns
            self._go_on_to(tracked.block.end_us)
        return tracked.block

    def _count_overrun(self, status: Status) -> None:
        """Add what the rig dropped since the status before; its counter has 32 bits.

        It begins at 0 with power-up and on command: then all of it is new.
        """
        before, self._overrun_samples = self._overrun_samples, status.overrun_samples
        before_us, self._overrun_us = self._overrun_us, status.device_time_us
        if before is None:
            return
        more = (status.overrun_samples - before) % COUNTER
        anew = status.device_time_us < before_us or more >= COUNTER // 2
        self._tally["rig_overrun_samples"] += status.overrun_samples if anew else more

    def take_status(self, status: Status) -> None:
        """Keep the rig's time, and what it had to drop since the status before.

        Raises:
            ClockWentBack: The rig must have restarted.
        """
        self._count_overrun(status)
        if status.device_time_us >= MAX_TIME_US:
            return
        self._go_on_to(status.device_time_us)
        last_us, self._status_us = self._status_us, status.device_time_us
        if status.device_time_us < last_us:
            raise ClockWentBack
