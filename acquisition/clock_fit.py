"""The rig's clock on the host's, from questions and answers.

Each exchange holds four times: asked (host), received and sent (rig), answered (host). The rig's
clock was read somewhere inside, so the middle is wrong by at most half the way there and back;
a late answer says little. So only the quickest exchanges of each stretch of time count, and a
line through their middles gives offset and drift (the idea of NTP, RFC 5905, section 10: the
sample with the least delay is the best).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STRETCHES = 12
"""The exchanges are cut into so many stretches; the quickest of each counts."""
MIN_EXCHANGES = 2
SLOW = 5.0
"""A stretch whose quickest exchange took so many times the usual is left out: ours."""


@dataclass(frozen=True, slots=True)
class SyncExchange:
    """One question and its answer.

    Attributes:
        asked_ns: Host monotonic clock.
        received_us: The rig's clock when the question was whole.
        sent_us: The rig's clock when the answer was handed to the line.
        answered_ns: Host monotonic clock when the answer was whole.
        segment: Which stretch of the recording; the rig's clock may begin anew with each.
    """

    asked_ns: int
    received_us: int
    sent_us: int
    answered_ns: int
    segment: int = 0

    @property
    def delay_s(self) -> float:
        """Time on the way, both ways together."""
        return (self.answered_ns - self.asked_ns) * 1e-9 - (self.sent_us - self.received_us) * 1e-6


@dataclass(frozen=True, slots=True)
class ClockFit:
    """host time = reference + rate · (rig time − rig reference).

    Attributes:
        device_us: Reference on the rig's clock.
        host_ns: The host's clock at that moment.
        rate: Host seconds in a rig second.
        residual_s: RMS of the exchanges used about the line.
        bound_s: Half the least delay: the line may be shifted as a whole by no more.
        used: How many exchanges the line rests on.
    """

    device_us: float
    host_ns: float
    rate: float
    residual_s: float
    bound_s: float
    used: int

    @property
    def drift_ppm(self) -> float:
        """How much too slow the rig's clock runs, parts per million."""
        return (self.rate - 1.0) * 1e6

    def host_times_ns(self, device_us: Floats) -> Floats:
        """Return when, by the host's clock, the rig's clock showed these times, shape (n,)."""
        return np.asarray(self.host_ns + self.rate * (device_us - self.device_us) * 1e3)


def fit_clock(exchanges: Sequence[SyncExchange]) -> ClockFit:
    """Fit the line.

    Args:
        exchanges: In order, of one stretch of the rig's clock without restart.

    Raises:
        ValueError: There are fewer than two.
    """
    if len(exchanges) < MIN_EXCHANGES:
        raise ValueError(f"{len(exchanges)} exchanges make no line: at least {MIN_EXCHANGES}")
    device_us = np.array([(e.received_us + e.sent_us) / 2 for e in exchanges])
    host_ns = np.array([(e.asked_ns + e.answered_ns) / 2 for e in exchanges])
    delay_s = np.array([e.delay_s for e in exchanges])
    use = _quickest(device_us, delay_s)
    x = (device_us[use] - device_us[use[0]]) * 1e-6
    y = (host_ns[use] - host_ns[use[0]]) * 1e-9
    weights = 1.0 / np.maximum(delay_s[use], 1e-6)
    rate, start = np.polyfit(x, y, 1, w=weights)
    residual = y - (start + rate * x)
    return ClockFit(
        device_us=float(device_us[use[0]]),
        host_ns=float(host_ns[use[0]] + start * 1e9),
        rate=float(rate),
        residual_s=float(np.sqrt(np.average(residual**2, weights=weights))),
        bound_s=float(delay_s[use].min() / 2.0),
        used=len(use),
    )


@dataclass(frozen=True, slots=True)
class SegmentClock:
    """How the rig's clock ran in one segment of a recording.

    Attributes:
        segment: Which stretch of the recording.
        answers: How many exchanges there were.
        fit: The line through the best of them.
    """

    segment: int
    answers: int
    fit: ClockFit


def fit_segments(exchanges: Sequence[SyncExchange]) -> tuple[SegmentClock, ...]:
    """Fit the line of each segment in which the rig answered twice or more, in order.

    Args:
        exchanges: In order, of all segments.
    """
    parts: dict[int, list[SyncExchange]] = {}
    for one in exchanges:
        parts.setdefault(one.segment, []).append(one)
    return tuple(
        SegmentClock(segment, len(part), fit_clock(part))
        for segment, part in sorted(parts.items())
        if len(part) >= MIN_EXCHANGES and part[-1].received_us > part[0].sent_us
    )


def rate_bounds(exchanges: Sequence[SyncExchange]) -> tuple[float, float]:
    """Return between what the rate lies, host seconds in a rig second, whatever the delays were.

    The rig read its clock after it was asked and before it was answered; of any two exchanges
    this leaves a least and a greatest rate. The first is above the second only if the clock does
    not run evenly.

    Args:
        exchanges: In order, of one stretch of the rig's clock without restart.

    Raises:
        ValueError: There are fewer than two, or the rig's clock does not go on between them.
    """
    if len(exchanges) < MIN_EXCHANGES:
        raise ValueError(f"{len(exchanges)} exchanges bound no rate: at least {MIN_EXCHANGES}")
    device_us = np.array([(e.received_us + e.sent_us) / 2 for e in exchanges])
    quick = [exchanges[n] for n in _quickest(device_us, np.array([e.delay_s for e in exchanges]))]
    pairs = [
        (one, later)
        for number, one in enumerate(quick)
        for later in quick[number + 1 :]
        if later.received_us > one.sent_us
    ]
    if not pairs:
        raise ValueError("the rig's clock does not go on from one exchange to the next")
    least = max((b.asked_ns - a.answered_ns) * 1e-3 / (b.received_us - a.sent_us) for a, b in pairs)
    most = min((b.answered_ns - a.asked_ns) * 1e-3 / (b.sent_us - a.received_us) for a, b in pairs)
    return least, most


def _quickest(device_us: Floats, delay_s: Floats) -> NDArray[np.int64]:
    """Return the number of the quickest exchange in each stretch of time, rising."""
    edges = np.linspace(device_us[0], device_us[-1], STRETCHES + 1)
    stretch = np.clip(np.searchsorted(edges, device_us, side="right") - 1, 0, STRETCHES - 1)
    best = [
        members[np.argmin(delay_s[members])]
        for number in range(STRETCHES)
        if len(members := np.flatnonzero(stretch == number))
    ]
    quick = np.array(best, dtype=np.int64)
    # A stretch that was slow throughout (an adapter saving its bytes up) says nothing.
    kept = quick[delay_s[quick] <= SLOW * np.median(delay_s[quick])]
    return kept if len(kept) >= MIN_EXCHANGES else quick
