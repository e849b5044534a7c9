"""The rig's clock on the host's while it streams: when did what the rig tells of happen.

From questions and answers as soon as there are two, by `clock_fit`; over a short time by the
quickest answer alone, as a rate cannot be had from it. From a source that does not answer (a
recording played back) by the block that came with the least delay: that is late by this delay,
but not by that of every block.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from acquisition.blocks import StreamBlock
from acquisition.clock_fit import MIN_EXCHANGES, ClockFit, SyncExchange, fit_clock

Floats = NDArray[np.float64]

KEPT_EXCHANGES = 120
RATE_FROM_S = 20.0
"""From how long a stretch on a rate is fitted: a delay uncertain by 2 ms is then 100 ppm."""
PATIENCE_US = 3_000_000
"""So long answers are waited for before the arrival of blocks has to do."""


class LiveClock:
    """Maps the rig's clock to the host's, within one segment."""

    def __init__(self) -> None:
        self._exchanges: deque[SyncExchange] = deque(maxlen=KEPT_EXCHANGES)
        self._fit: ClockFit | None = None
        self._first_us: int | None = None
        self._last_us = 0
        self._least: tuple[int, int] | None = None

    @property
    def answers(self) -> int:
        """How many answers it rests on; 0: on the arrival of blocks."""
        return len(self._exchanges) if self._fit is not None else 0

    @property
    def known(self) -> bool:
        """Whether times can be told."""
        first_us = self._last_us if self._first_us is None else self._first_us
        return self._fit is not None or self._last_us - first_us >= PATIENCE_US

    def hear_block(self, block: StreamBlock) -> None:
        """Note when a block arrived."""
        first_us, last_us = int(block.device_time_us[0]), int(block.device_time_us[-1])
        self._first_us = first_us if self._first_us is None else self._first_us
        self._last_us = max(self._last_us, last_us)
        least = self._least
        if least is None or block.arrival_ns - last_us * 1000 < least[1] - least[0] * 1000:
            self._least = last_us, block.arrival_ns

    def hear(self, exchange: SyncExchange) -> None:
        """Take a question and its answer."""
        self._exchanges.append(exchange)
        if len(self._exchanges) >= MIN_EXCHANGES:
            self._fit = _fit(list(self._exchanges))

    def host_times_ns(self, device_us: Floats) -> Floats:
        """Return when, by the host's clock, the rig's clock showed these times, shape (n,).

        Raises:
            ValueError: Nothing was heard yet.
        """
        if self._fit is not None:
            return self._fit.host_times_ns(device_us)
        if self._least is None:
            raise ValueError("no block was heard yet")
        at_us, at_ns = self._least
        return np.asarray(at_ns + (device_us - at_us) * 1e3)


def _fit(exchanges: list[SyncExchange]) -> ClockFit:
    if exchanges[-1].asked_ns - exchanges[0].asked_ns >= RATE_FROM_S * 1e9:
        return fit_clock(exchanges)
    best = min(exchanges, key=lambda one: one.delay_s)
    return ClockFit(
        device_us=(best.received_us + best.sent_us) / 2,
        host_ns=(best.asked_ns + best.answered_ns) / 2,
        rate=1.0,
        residual_s=0.0,
        bound_s=best.delay_s / 2,
        used=1,
    )
