"""What a line did to the blocks is what the accounts say: lost, doubled, out of order, anew."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquisition.clock import ManualClock
from acquisition.intake import Intake
from acquisition.recording.model import LinkCounts
from acquisition.session import Session
from acquisition.stream_tracker import RECENT_GAPS, StreamTracker
from acquisition.transports.scripted import Line, ScriptedTransport
from firmware_protocol.codec import encode
from firmware_protocol.framing import encode_frame
from firmware_protocol.messages import Identity, SampleBlock, Status, StreamSpec

SHARED = [HealthCheck.function_scoped_fixture]  # none of the fixtures keeps anything


@dataclass(frozen=True)
class Mishap:
    """What happens to some blocks in a row.

    Attributes:
        arrives: Which of them arrive, in this order.
        lost: Which of them never do.
        late: Which come after a later one.
        again: Which come a second time.
    """

    arrives: tuple[int, ...]
    lost: tuple[int, ...] = ()
    late: tuple[int, ...] = ()
    again: tuple[int, ...] = ()


MISHAPS = {
    "none": Mishap((0,)),
    "lost": Mishap((1,), lost=(0,)),
    "twice": Mishap((0, 0), again=(0,)),
    "twice, later": Mishap((0, 1, 2, 0), again=(0,)),
    "swapped": Mishap((1, 0), late=(0,)),
    "three late": Mishap((1, 2, 3, 0), late=(0,)),
    "backward": Mishap((2, 1, 0), late=(1, 0)),
    "swapped, and twice": Mishap((1, 0, 0), late=(0,), again=(0,)),
    "swapped beside a loss": Mishap((3, 1), lost=(0, 2), late=(1,)),
}


@dataclass
class Truth:
    """What the test did, in samples."""

    sent: int = 0
    lost: int = 0
    late: int = 0
    again: int = 0


def stretch(
    names: list[str], sizes: Iterator[int], block: Any, truth: Truth
) -> Iterator[SampleBlock]:
    """Yield what arrives between two starts, its last block unharmed, and keep the truth."""
    number = 0
    for name in [*names, "none"]:
        mishap = MISHAPS[name]
        blocks = []
        for _ in {*mishap.arrives, *mishap.lost}:
            blocks.append(block(number, next(sizes)))
            number += blocks[-1].sample_count
        counts = [one.sample_count for one in blocks]
        truth.sent += sum(counts)
        truth.lost += sum(counts[at] for at in mishap.lost)
        truth.late += sum(counts[at] for at in mishap.late)
        truth.again += sum(counts[at] for at in mishap.again)
        yield from (blocks[at] for at in mishap.arrives)


def restart(identity: Identity, boots: int) -> list[Line]:
    """Return what tells a host in mid-stream that the rig begins anew."""
    anew = replace(identity, boot_count=identity.boot_count + boots)
    return [anew, encode_frame(encode(anew))]


@settings(deadline=None, max_examples=150, suppress_health_check=SHARED)
@given(
    plan=st.lists(st.lists(st.sampled_from(list(MISHAPS)), max_size=12), min_size=1, max_size=4),
    dice=st.randoms(use_true_random=False),
)
def test_every_mishap_is_counted_for_what_it_was(
    make_raw: Any,
    make_collector: Any,
    run: Any,
    identity: Identity,
    force_spec: StreamSpec,
    plan: list[list[str]],
    dice: Any,
) -> None:
    truth, script = Truth(), list[Line]()
    sizes = iter(lambda: dice.randint(1, 30), 0)
    for boots, names in enumerate(plan):
        if boots:
            script += restart(identity, boots)
        script += stretch(names, sizes, lambda *at: make_raw(force_spec, *at), truth)
    clock, collector = ManualClock(), make_collector()
    session = Session(ScriptedTransport(identity, script, clock=clock), clock=clock)
    session.add_sink(collector)

    run(session, clock)

    counts: LinkCounts = collector.counts
    assert counts.lost_samples == truth.lost
    assert counts.reordered_samples == truth.late
    assert counts.repeated_samples == truth.again
    assert collector.kinds == ["lost", "resumed"] * (len(plan) - 1)
    assert counts.missing_samples == truth.lost + truth.late
    recorded = sum(len(block) for block in collector.blocks)
    assert recorded + counts.missing_samples == truth.sent
    assert sorted(collector.numbers) == collector.numbers
    assert (counts.bad_frames, counts.unknown_messages, counts.dropped_by_host_samples) == (0, 0, 0)


def test_a_block_that_comes_into_a_gap_long_past_is_a_repetition(
    make_raw: Any, force_spec: StreamSpec
) -> None:
    tracker = StreamTracker(force_spec, 0)
    for number in range(1, 2 * RECENT_GAPS + 4, 2):  # every other block is missing
        tracker.take(make_raw(force_spec, number * 20), 0)

    long_past, recent = (tracker.take(make_raw(force_spec, at * 20), 0) for at in (0, 4))

    assert (long_past.repeated, long_past.reordered) == (20, 0)
    assert (recent.repeated, recent.reordered) == (0, 20)


def test_a_block_that_fills_a_gap_in_part_only_is_a_repetition(
    make_raw: Any, force_spec: StreamSpec
) -> None:
    tracker = StreamTracker(force_spec, 0)
    for number in (0, 40):
        tracker.take(make_raw(force_spec, number), 0)

    wide, narrow, rest = (
        tracker.take(make_raw(force_spec, *at), 0) for at in ((10, 20), (25, 10), (20, 5))
    )

    assert (wide.repeated, wide.reordered) == (20, 0)
    assert (narrow.reordered, rest.reordered) == (10, 5)


def test_what_comes_late_for_a_gap_before_a_recording_leaves_its_own_accounts_alone() -> None:
    before = LinkCounts(frames=10, lost_samples=20)
    late = LinkCounts(frames=12, reordered_samples=20)
    late_and_lost = LinkCounts(frames=12, lost_samples=5, reordered_samples=20)

    assert late.since(before) == LinkCounts(frames=2)
    assert late_and_lost.since(before).missing_samples == 5


def test_what_the_rig_dropped_is_missing_once_though_its_numbers_jump_as_well(
    run: Any, make_session: Any, clock: ManualClock, collector: Any, raw: Any
) -> None:
    """Of 60 samples that never came the rig says that it dropped 40."""
    script = [Status(1, True, 100), raw(0), raw(80), Status(200_000, True, 140), raw(100)]

    run(make_session(*script), clock)

    counts = collector.counts
    assert (counts.lost_samples, counts.rig_overrun_samples) == (60, 40)
    assert (counts.missing_samples, counts.lost_on_line_samples) == (60, 20)


def test_what_the_rig_dropped_last_is_missing_before_a_number_jumps() -> None:
    assert LinkCounts(lost_samples=0, rig_overrun_samples=40).missing_samples == 40


@pytest.mark.parametrize(
    ("before", "after", "dropped"),
    [
        (Status(1_000, True, 2**32 - 5), Status(2_000, True, 10), 15),
        (Status(1_000, True, 100), Status(2_000, True, 40), 40),
        (Status(9_000, True, 10), Status(2_000, True, 40), 40),
    ],
    ids=["its counter wraps", "counters restarted", "switched off and on"],
)
def test_what_the_rig_dropped_is_counted_through_its_counter_s_every_new_beginning(
    identity: Identity, before: Status, after: Status, dropped: int
) -> None:
    intake = Intake()
    intake.begin_segment(identity.streams)
    intake.take_status(before)
    if after.device_time_us < before.device_time_us:
        intake.begin_segment(identity.streams)

    intake.take_status(after)

    assert intake.counts.rig_overrun_samples == dropped
