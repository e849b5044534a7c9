"""The table of how the rig's clock ran, from the table of questions and answers, and back."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquisition.clock_fit import ClockFit, SegmentClock, SyncExchange, fit_segments
from acquisition.recording import layout


def exchanges_of(sync: NDArray[Any]) -> tuple[SyncExchange, ...]:
    """Return rows of ``/sync`` as exchanges."""
    return tuple(
        SyncExchange(*row)
        for row in sync.tolist()
        if row[0]  # the host's clock is never 0; a row without is the torn end of a part file
    )


def clock_rows(sync: NDArray[Any]) -> NDArray[np.void]:
    """Return what stands in ``/clock`` of a recording with these rows of ``/sync``."""
    rows = [
        (
            one.segment,
            one.answers,
            one.fit.used,
            one.fit.device_us,
            one.fit.host_ns,
            one.fit.rate,
            one.fit.residual_s,
            one.fit.bound_s,
        )
        for one in fit_segments(exchanges_of(sync))
    ]
    return np.array(rows, dtype=layout.CLOCK_DTYPE)


def clocks_of(clock: NDArray[Any]) -> tuple[SegmentClock, ...]:
    """Return rows of ``/clock`` as they were fitted."""
    return tuple(
        SegmentClock(segment, answers, ClockFit(device_us, host_ns, rate, residual, bound, used))
        for segment, answers, used, device_us, host_ns, rate, residual, bound in clock.tolist()
    )
